"""Journeys over the bench with a printed part on it: what to read now, the keys, undo, and what the forecast learns."""

import pytest
from playwright.sync_api import expect

from conftest import accessibility_faults, fork_workbench, keep_picture
from dryfit.app.ledger_reading import read_records
from dryfit.app.reading_records import READING, readings_of
from dryfit.view.digits import write_number
from support.at_the_bench import board_of, proposed, write_printed

pytestmark = pytest.mark.browser

expect.set_options(timeout=40_000)
NAMES = {".": "decimal point", "-": "minus"}


@pytest.fixture(scope="module")
def bench(tmp_path_factory):
    """A portal with a lintel that nobody has read yet."""
    folder = write_printed(tmp_path_factory.mktemp("part-bench") / "portal", "lintel", "post-1")
    started = fork_workbench(folder)
    started.wait_until_it_answers()
    yield started
    started.end()


def open_bench(page, bench, measure=""):
    page.goto(f"{bench.url}/bench?part=lintel" + (f"&measure={measure}" if measure else ""))
    expect(page.locator(".bench-figure h2")).to_contain_text("Measure")


def press(page, words):
    for letter in words:
        page.get_by_role("button", name=NAMES.get(letter, letter), exact=True).first.click()
    page.get_by_role("button", name="enter", exact=True).click()


def counting(bench):
    return readings_of(read_records(bench.folder, READING), None, 1)


def test_what_is_worth_most_comes_first_and_is_read_by_the_keys(bench, page):
    first = proposed(bench.folder, "lintel")
    open_bench(page, bench)
    expect(page.locator(".bench-figure h2")).to_contain_text(f"Measure {first.number}:")
    expect(page.locator(".bench-figure svg .disc")).to_be_visible()
    expect(page.locator(".step-rows")).to_contain_text("expected")
    expect(page.locator(".bench-progress")).to_contain_text("lintel, print 1")
    worth = page.get_by_role("region", name="worth measuring")
    expect(worth).to_contain_text("measures,")
    expect(worth.get_by_role("link", name="lintel").first).to_have_attribute("href", "/bench?part=lintel")
    page.get_by_label("temperature").fill("20")
    page.get_by_label("reading", exact=True).focus()
    press(page, f"{first.expected_mm:.2f}")
    expect(page.locator(".voice")).to_contain_text("first of two")
    (reading,) = counting(bench)
    assert (reading.part, reading.temp_c, reading.value_mm) == ("lintel", 20.0, round(first.expected_mm, 2))
    expect(page.locator(".bench-last")).to_contain_text(write_number(round(first.expected_mm, 2)))
    # The forecast learns of it while the bench stays as it is.
    tick = page.locator(".chain .link").filter(has=page.get_by_text("as built", exact=True))
    expect(tick).to_contain_text("2 of 4 printed, 1 measured")
    expect(page.get_by_label("temperature")).to_have_value("20")
    page.goto(f"{bench.url}/as-built?show=lintel")
    taught = page.get_by_role("region", name="what the readings taught")
    expect(taught).to_contain_text("It rests on 1 reading of printed parts")
    expect(taught.locator(".before-after > li").first.locator("svg.limits")).to_have_count(2)


def test_an_unlikely_value_is_queried_confirmed_and_taken_back(bench, page):
    open_bench(page, bench, "lintel-length")
    before = len(counting(bench))
    page.keyboard.type("203.5")
    page.keyboard.press("Enter")
    query = page.locator(".doubt")
    expect(query).to_contain_text("Is it so?")
    assert len(counting(bench)) == before
    query.get_by_role("button", name="it is so: record 203.5").click()
    expect(page.locator(".voice")).to_contain_text("203.5 mm")
    assert counting(bench)[-1].is_confirmed
    assert board_of(bench.folder).part("lintel").state == "rejected"
    undo = page.get_by_role("button", name="take back the last reading of this bench")
    expect(undo).to_be_enabled()
    undo.click()
    expect(page.locator(".voice")).to_contain_text("Taken back: 203.5 mm")
    assert len(counting(bench)) == before


def test_machines_and_printed_parts_are_chosen_at_the_top(bench, page):
    open_bench(page, bench)
    page.get_by_label("printed part").select_option("post-1")
    page.wait_for_url("**/bench?part=post-1")
    expect(page.locator(".bench-progress")).to_contain_text("post-1, print 2")
    page.get_by_role("link", name="post-1 on the board")
    page.goto(f"{bench.url}/bench?part=base")
    expect(page.locator(".refusal")).to_contain_text("there is no good print of the part")
    expect(page.get_by_role("link", name="base on the board")).to_be_visible()


@pytest.mark.parametrize(("width", "theme"), [(1425, "light"), (820, "dark")])
def test_it_can_be_read_by_all(bench, page, width, theme):
    page.set_viewport_size({"width": width, "height": 1000})
    page.emulate_media(color_scheme=theme)
    open_bench(page, bench)
    expect(page.get_by_role("region", name="worth measuring")).to_be_visible()
    assert accessibility_faults(page) == []
    assert page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth") <= 0
    keep_picture(page, f"part-bench-{width}-{theme}")
