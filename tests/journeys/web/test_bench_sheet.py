"""Journeys over the bench in a real browser: readings one number at a time, and the routine before a long print."""

import pytest
from playwright.sync_api import expect

from conftest import accessibility_faults, fork_workbench, keep_picture
from dryfit.app.preflight_records import PREFLIGHT
from dryfit.app.reading_records import READING, readings_of
from dryfit.store.ledger import LEDGER_NAME, open_ledger
from support.read_artefacts import write_artefact, write_unknown

pytestmark = pytest.mark.browser

SIZES = {"wide": {"width": 1425, "height": 900}, "narrow": {"width": 820, "height": 1180}}
expect.set_options(timeout=40_000)


@pytest.fixture(scope="module")
def served(tmp_path_factory):
    """A workbench on an artefact that nobody has read yet; each test reads a measure of its own."""
    folder = write_unknown(tmp_path_factory.mktemp("bench") / "portal")
    artefact = write_artefact(folder)
    bench = fork_workbench(folder)
    try:
        bench.wait_until_it_answers()
        yield bench, artefact
    finally:
        bench.end()


def open_measure(page, bench, number):
    page.goto(f"{bench.url}/bench?machine=tall&measure={number}")
    expect(page.locator(".bench-figure h2")).to_contain_text(f"Measure {number}:")


def readings(served, number):
    bench, (record, body) = served
    with open_ledger(bench.folder / LEDGER_NAME) as ledger:
        counting = readings_of(ledger.records(READING), "tall", record)
    return [item for item in counting if body.measure(item.measure).number == number]


def near(served, number, off=0.0):
    """What the instrument would show of a measure, as typed."""
    _, (_, body) = served
    return f"{body.measures[number - 1].length_mm + off:.2f}"


def press(page, words):
    names = {".": "decimal point", "-": "minus"}
    for letter in words:
        page.get_by_role("button", name=names.get(letter, letter), exact=True).first.click()
    page.get_by_role("button", name="enter", exact=True).click()


def voice(page):
    return page.locator(".voice")


def test_a_number_is_taken_by_the_keys_and_the_voice_says_how_it_lies(served, page):
    bench, _ = served
    open_measure(page, bench, 1)
    expect(page.locator(".bench-figure svg .on-disc")).to_have_text("1")
    page.get_by_label("temperature").fill("21.5")
    page.get_by_label("who reads").fill("R")
    press(page, near(served, 1, 0.02))
    expect(voice(page)).to_contain_text("first of two")
    expect(page.locator(".bench-figure h2")).to_contain_text("Measure 2:")
    page.get_by_role("button", name="Previous").click()
    expect(page.locator(".step-rows")).to_contain_text("second of two")
    press(page, near(served, 1, 0.05))
    expect(voice(page)).to_contain_text("second of two, 0.03 apart, good")
    expect(page.locator(".bench-figure h2")).to_contain_text("Measure 2:")
    expect(page.locator(".bench-last tbody tr").first).to_contain_text("21.5")
    expect(page.get_by_label("temperature")).to_have_value("21.5")
    first, second = readings(served, 1)
    assert (first.temp_c, first.by, second.by) == (21.5, "R", "R")
    assert second.value_mm == float(near(served, 1, 0.05))


def test_a_decimal_slip_is_asked_about_and_can_be_confirmed(served, page):
    bench, _ = served
    open_measure(page, bench, 3)
    slip = near(served, 3).replace(".", "")
    press(page, slip)
    asked = page.get_by_role("region", name="is it so?")
    expect(asked).to_contain_text("has the decimal point slipped?")
    expect(page.get_by_role("textbox", name="reading")).to_have_value(slip)
    assert readings(served, 3) == []
    page.get_by_role("button", name="Read it again").click()
    expect(page.get_by_role("textbox", name="reading")).to_have_value("")
    press(page, slip)
    page.get_by_role("button", name=f"it is so: record {slip}").click()
    expect(voice(page)).to_contain_text("first of two")
    (reading,) = readings(served, 3)
    assert reading.is_confirmed


def test_what_is_no_number_is_refused_in_place(served, page):
    bench, _ = served
    open_measure(page, bench, 4)
    press(page, "4.1.2")
    expect(page.locator(".bench-entry .refusal")).to_contain_text('"4.1.2" is no number')
    assert readings(served, 4) == []


def test_the_last_reading_is_taken_back_by_a_correcting_record(served, page):
    bench, _ = served
    open_measure(page, bench, 5)
    undo = page.get_by_role("button", name="take back the last reading of this bench")
    expect(undo).to_be_disabled()
    press(page, near(served, 5))
    expect(voice(page)).to_contain_text("Measure 5")
    undo.click()
    expect(voice(page)).to_contain_text("Taken back")
    expect(page.locator(".step-rows")).to_contain_text("first of two")
    assert readings(served, 5) == []
    with open_ledger(bench.folder / LEDGER_NAME) as ledger:
        last = ledger.latest(READING).payload
    assert last["is_withdrawn"]
    assert last["corrects"] is not None


def test_the_keyboard_alone_reads_and_goes_on(served, page):
    bench, _ = served
    open_measure(page, bench, 7)
    page.keyboard.type(near(served, 7) + "9")
    page.keyboard.press("Backspace")
    page.keyboard.press("Enter")
    expect(voice(page)).to_contain_text("Measure 7")
    (reading,) = readings(served, 7)
    assert reading.value_mm == float(near(served, 7))
    page.get_by_role("button", name="next measure").press("Enter")
    expect(page.locator(".bench-figure h2")).to_contain_text("Measure 8:")
    page.get_by_role("button", name="previous measure").press("Enter")
    expect(page.locator(".bench-figure h2")).to_contain_text("Measure 7:")


def test_a_second_tablet_sees_what_the_first_took(served, context, page):
    bench, _ = served
    open_measure(page, bench, 9)
    other = context.new_page()
    open_measure(other, bench, 9)
    expect(other.locator(".step-rows")).to_contain_text("first of two")
    press(page, near(served, 9))
    expect(voice(page)).to_contain_text("first of two")
    expect(other.locator(".step-rows")).to_contain_text("second of two")
    press(other, near(served, 9, 0.02))
    expect(voice(other)).to_contain_text("second of two, 0.02 apart")
    assert len(readings(served, 9)) == 2


def test_a_measure_is_chosen_on_the_strip_and_another_instrument_for_it(served, page):
    bench, _ = served
    open_measure(page, bench, 10)
    page.get_by_role("button", name="measure 59: 0 of 2 read").click()
    expect(page.locator(".bench-figure h2")).to_contain_text("gap of the square")
    page.get_by_label("instrument", exact=True).select_option("dial-indicator")
    expect(page.locator(".step-rows")).to_contain_text("heel")
    press(page, "-0.4")
    expect(voice(page)).to_contain_text("Measure 59, -0.4 mm")
    (reading,) = readings(served, 59)
    assert (reading.instrument, reading.value_mm) == ("dial-indicator", -0.4)


def test_a_bench_without_an_artefact_says_what_comes_next(served, page):
    bench, _ = served
    page.goto(bench.url + "/bench?machine=spare")
    expect(page.locator(".refusal")).to_contain_text("dryfit artefact spare")
    expect(page.get_by_role("button", name="enter", exact=True)).to_be_hidden()
    page.get_by_role("link", name="sheet of spare").last.click()
    expect(page.locator(".machine-head .heading")).to_contain_text("spare")


def test_the_routine_is_ticked_measured_and_recorded(served, page):
    bench, _ = served
    page.goto(bench.url + "/bench?machine=tall&do=preflight")
    expect(page.locator(".bench-report .heading").first).to_contain_text("never checked")
    page.get_by_label("hour meter of the machine, h").click()
    for letter in "120":
        page.get_by_role("button", name=letter, exact=True).click()
    for item in ("fasteners of", "bed clean", "nozzle clean", "filament dry"):
        page.get_by_role("group", name=item).get_by_role("button", name="in order", exact=False).first.click()
    belts = page.get_by_role("group", name="belts tight")
    belts.get_by_role("button", name="not in order").click()
    belts.get_by_role("textbox").fill("left one slack")
    page.get_by_label("height of the gap over the stock").fill("280")
    page.get_by_label("stock along X, blade up").first.click()
    press(page, "-0.2")
    # Enter goes on to the next field.
    press(page, "0.1")
    page.get_by_role("button", name="Record this check").click()
    expect(page.locator(".said")).to_contain_text("Recorded: ledger record")
    expect(page.locator(".bench-report table").first).to_contain_text("left one slack")
    with open_ledger(bench.folder / LEDGER_NAME) as ledger:
        check = ledger.latest(PREFLIGHT).payload
    assert check["hours"] == 120.0
    answers = {item["item"]: (item["answer"], item["words"]) for item in check["items"]}
    assert answers["belts"] == ("wrong", "left one slack")
    assert answers["fasteners"] == ("ok", "")
    assert [(item["plane"], item["gap_mm"]) for item in check["squares"]] == [("xz", -0.2), ("yz", 0.1)]


def test_a_check_that_cannot_be_is_refused_and_nothing_is_recorded(served, page):
    bench, _ = served
    with open_ledger(bench.folder / LEDGER_NAME) as ledger:
        before = len(ledger.records(PREFLIGHT))
    page.goto(bench.url + "/bench?machine=tall&do=preflight")
    page.get_by_role("button", name="Record this check").click()
    expect(page.locator(".said .refusal")).to_contain_text("no hours are given")
    with open_ledger(bench.folder / LEDGER_NAME) as ledger:
        assert len(ledger.records(PREFLIGHT)) == before


@pytest.mark.parametrize("do", ["", "preflight"])
def test_it_is_accessible_and_whole_in_both_sizes_and_themes(served, page, do):
    bench, _ = served
    page.goto(f"{bench.url}/bench?machine=tall&do={do}")
    expect(page.get_by_role("button", name="enter", exact=True)).to_be_visible()
    expect(page.locator(".waiting")).to_have_count(0)
    for size, viewport in SIZES.items():
        page.set_viewport_size(viewport)
        for theme in ("light", "dark"):
            page.emulate_media(color_scheme=theme)
            page.wait_for_timeout(150)
            keep_picture(page, f"bench-{do or 'readings'}-{size}-{theme}")
            if (size, theme) in (("wide", "light"), ("narrow", "dark")):
                assert accessibility_faults(page) == [], f"{size}, {theme}"
        assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth"), size
        box = page.get_by_role("button", name="5", exact=True).first.bounding_box()
        assert min(box["width"], box["height"]) >= 44.0, "a thumb's width"
