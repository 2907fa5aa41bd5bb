"""Journeys over the parts as built in a real browser: enter a print, decide on a reading, see what it taught.

What conditioning is worth is checked elsewhere; here it is checked that a builder sees it and can act on it.
"""

import re
import subprocess
from collections import Counter

import pytest
from playwright.sync_api import expect

from conftest import COMMAND, accessibility_faults, fork_workbench, keep_picture
from dryfit.app.bond_records import BOND, HANDWORK
from dryfit.app.ledger_reading import read_records
from dryfit.app.print_records import prints_of
from dryfit.app.reading_decisions import OWN_SHAPE, READING_DECISION
from dryfit.app.remedying import REMEDY
from support.at_the_bench import number_of, proposed, read_part, write_printed

pytestmark = pytest.mark.browser

SIZES = {"wide": {"width": 1425, "height": 900}, "narrow": {"width": 820, "height": 1180}}
MOST_TABS = 120
expect.set_options(timeout=40_000)


@pytest.fixture(scope="module")
def bench(tmp_path_factory):
    """A portal of which two parts are printed and one is read, with a reading that contradicts the others."""
    folder = write_printed(tmp_path_factory.mktemp("as-built") / "portal", "lintel", "post-1")
    first = proposed(folder, "lintel")
    read_part(folder, "lintel", first.number, first.expected_mm, first.expected_mm + 0.01)
    read_part(folder, "lintel", number_of(folder, "lintel", "lintel-length"), first.expected_mm + 2.4)
    started = fork_workbench(folder)
    started.wait_until_it_answers()
    yield started
    started.end()


def open_board(page, bench, part=""):
    page.goto(f"{bench.url}/as-built" + (f"?show={part}" if part else ""))
    expect(page.locator(".board")).to_be_visible()
    expect(page.locator(".model-says p").first).to_contain_text("triangles shown")


def lane_of(page, part):
    lane = page.locator(".board-lane").filter(has=page.get_by_role("button", name=part, exact=True))
    return lane.locator(".board-head")


def panel(page):
    return page.get_by_role("region", name="part", exact=True)


def tab_to(page, name):
    for _ in range(MOST_TABS):
        page.keyboard.press("Tab")
        found = page.evaluate(
            """() => { const e = document.activeElement; const field = e.closest('label');
            return e.getAttribute('aria-label')
              || (field?.querySelector('span')?.textContent ?? e.textContent.trim()) }"""
        )
        if found == name:
            return
    raise AssertionError(f"the keyboard does not reach {name}")


def test_the_chain_leads_to_the_board_and_parts_are_coloured_by_their_state(bench, page):
    page.goto(bench.url + "/")
    tick = page.locator(".chain .link").filter(has=page.get_by_text("as built", exact=True))
    expect(tick).to_contain_text("2 of 4 printed, 1 measured")
    tick.get_by_role("link").click()
    expect(page.locator(".chain [aria-current]")).to_have_text("as built")
    expect(lane_of(page, "lintel")).to_contain_text("rejected")
    expect(lane_of(page, "post-1")).to_contain_text("printed")
    expect(lane_of(page, "post-2")).to_contain_text("not printed")
    expect(page.locator(".model-view select").nth(1)).to_have_value("built")
    rows = page.evaluate("document.querySelector('.model-view').drawing.parts.size")
    assert rows == 4
    marks = page.evaluate(
        "[...document.querySelector('.model-view').drawing.parts.values()].map(p => [p.row.id, p.row.built])"
    )
    assert dict(marks)["lintel"] == "rejected"
    assert dict(marks)["base"] == "not printed"


def test_a_part_shows_prints_readings_acceptance_and_what_they_taught(bench, page):
    open_board(page, bench)
    page.get_by_role("button", name="lintel", exact=True).click()
    expect(panel(page)).to_contain_text("record 1, lintel on")
    expect(panel(page).get_by_role("region", name="acceptance").locator("svg.limits").first).to_be_visible()
    expect(panel(page).get_by_role("region", name="acceptance")).to_contain_text("rejected")
    expect(panel(page).get_by_role("region", name="readings")).to_contain_text("confirmed")
    assert page.url.endswith("/as-built?show=lintel")
    taught = page.get_by_role("region", name="what the readings taught")
    row = taught.locator(".before-after > li").first
    expect(row.locator("svg.limits")).to_have_count(2)
    expect(row).to_contain_text("outside")
    expect(panel(page).get_by_role("link", name="read it at the bench")).to_have_attribute(
        "href", "/bench?part=lintel"
    )


def test_the_same_words_as_the_command_line(bench, page):
    open_board(page, bench, "lintel")
    done = subprocess.run(
        [COMMAND[0], "forecast", "--unrecorded"],
        cwd=bench.folder,
        capture_output=True,
        encoding="utf-8",
        timeout=120,
    )
    said = Counter(done.stdout.split())
    suspects = page.get_by_role("region", name="suspects").locator(".sentence").all_inner_texts()
    taught = (
        page.get_by_role("region", name="what the readings taught").locator("> .sentence").all_inner_texts()
    )
    assert suspects
    assert taught
    for words in (*suspects, *taught):
        assert not Counter(re.sub(r"^(stop|caution|pass|not checked)\s", "", words).split()) - said, words


def test_a_print_is_entered_corrected_and_taken_back_and_another_tab_sees_it(bench, context, page):
    other = context.new_page()
    open_board(other, bench)
    open_board(page, bench, "post-2")
    page.get_by_role("button", name="enter a print of post-2").click()
    form = page.get_by_role("region", name="print of post-2")
    form.get_by_role("button", name="enter it: print of post-2").click()
    expect(form.locator(".refusal")).to_contain_text("what became of the print is not stated")
    form.get_by_label("result").select_option("failed")
    form.get_by_label("hours").fill("two")
    form.get_by_role("button", name="enter it: print of post-2").click()
    expect(form.locator(".refusal")).to_contain_text("is no number")
    form.get_by_label("hours").fill("2.5")
    form.get_by_label("failed or stopped at, mm").fill("31")
    form.get_by_label("because").fill("came off the bed")
    form.get_by_role("button", name="enter it: print of post-2").click()
    expect(lane_of(page, "post-2")).to_contain_text("failed")
    expect(lane_of(other, "post-2")).to_contain_text("failed")
    expect(panel(page)).to_contain_text("failed at 31 mm (came off the bed), 2.5 h")
    (made,) = prints_of(read_records(bench.folder, "print"), "post-2")
    assert (made.hours, made.failed_at_mm, made.machine) == (2.5, 31.0, "tall")
    page.get_by_role("button", name=f"correct print {made.record}").click()
    form = page.get_by_role("region", name=f"correction of print {made.record}")
    form.get_by_label("result").select_option("good")
    form.get_by_role("button", name=re.compile("correct it")).click()
    expect(lane_of(page, "post-2")).to_contain_text("printed")
    page.get_by_role("button", name=f"take back print {made.record}", exact=True).click()
    page.get_by_role("button", name=f"take it back: print {made.record}").click()
    expect(lane_of(page, "post-2")).to_contain_text("not printed")
    expect(lane_of(other, "post-2")).to_contain_text("not printed")
    other.close()


def test_a_suspect_is_left_out_with_a_reason_and_counted_again(bench, page):
    open_board(page, bench, "lintel")
    suspects = page.get_by_role("region", name="suspects")
    leave_out = suspects.get_by_role("button", name=re.compile("^leave out: record")).first
    record = re.search(r"record (\d+)", leave_out.get_attribute("aria-label")).group(1)
    leave_out.click()
    page.get_by_role("button", name="record the decision").click()
    expect(suspects.locator(".refusal")).to_contain_text("no reason is given")
    suspects.get_by_role("textbox").fill("the jaws were tilted")
    page.get_by_role("button", name="record the decision").click()
    expect(suspects).to_have_count(0)
    expect(panel(page)).to_contain_text(f"Record {record} is left out: the jaws were tilted")
    panel(page).get_by_role("button", name=re.compile("^count again")).click()
    panel(page).get_by_role("region", name=f"decision about record {record}").get_by_role("textbox").fill(
        "they were not"
    )
    page.get_by_role("button", name="record the decision").click()
    expect(page.get_by_role("region", name="suspects")).to_be_visible()
    told = [record.payload["because"] for record in read_records(bench.folder, READING_DECISION)]
    assert told == ["the jaws were tilted", "they were not"]


def test_a_print_is_off_for_a_reason_of_its_own_and_is_so_no_longer(bench, page):
    open_board(page, bench, "lintel")
    panel(page).get_by_role("button", name="lintel is off for a reason of its own").click()
    form = panel(page).get_by_role("region", name="the print is off for a reason of its own")
    form.get_by_label("Off by about, mm").fill("much")
    page.get_by_role("button", name="record the decision").click()
    expect(form.locator(".refusal")).to_contain_text("is no size above 0 mm")
    form.get_by_label("Off by about, mm").fill("2")
    page.get_by_role("button", name="record the decision").click()
    expect(form.locator(".refusal")).to_contain_text("no reason is given")
    form.get_by_label("for a reason of its own").fill("one corner came off the bed")
    form.get_by_label("for a reason of its own").press("Enter")
    said = "Taken as off for a reason of its own, by about 2 mm: one corner came off the bed"
    expect(panel(page)).to_contain_text(said)
    taught = page.get_by_role("region", name="what the readings taught")
    expect(taught).to_contain_text("lintel is taken as off for a reason of its own, by about 2 mm")
    panel(page).get_by_role("button", name="lintel is as its machine makes it").click()
    form = panel(page).get_by_role("region", name="the print is as its machine makes it")
    form.get_by_role("textbox").fill("measured warm")
    page.get_by_role("button", name="record the decision").click()
    expect(panel(page)).not_to_contain_text(said)
    told = [record.payload["std_mm"] for record in read_records(bench.folder, OWN_SHAPE)]
    assert told == [2.0, 0.0]


def test_remedies_are_listed_and_the_hold_point_of_a_joint_is_shown(bench, page):
    open_board(page, bench, "lintel")
    page.get_by_role("button", name="look for remedies of lintel").click()
    found = page.get_by_role("region", name="remedies found")
    expect(found).to_contain_text("lintel")
    hold = page.get_by_role("button", name=re.compile("^hold point before bonding")).first
    joint = hold.get_attribute("aria-label").removeprefix("hold point before bonding ")
    hold.click()
    lines = page.get_by_role("region", name=f"hold point before bonding {joint}")
    expect(lines).to_contain_text("before bonding")
    expect(lines.locator("table tbody tr").first).to_be_visible()


def test_a_remedy_is_taken_done_and_taken_back(bench, page):
    open_board(page, bench, "lintel")
    page.get_by_role("button", name="look for remedies of lintel").click()
    found = page.get_by_role("region", name="remedies found")
    expect(found).to_be_visible()
    rows = found.locator("table").first.locator("tbody tr").all_inner_texts()
    number = next(place for place, row in enumerate(rows, 1) if re.search("sand|shim", row))
    page.get_by_role("button", name=f"take remedy {number}", exact=True).click()
    form = page.get_by_role("region", name=f"decision for remedy {number}")
    form.get_by_role("button", name="record the decision").click()
    expect(form.locator(".refusal")).to_contain_text("a decision needs its reason")
    form.get_by_label(re.compile("because")).fill("it is out of sight")
    form.get_by_role("button", name="record the decision").click()
    remedies = panel(page).get_by_role("region", name="remedies", exact=True)
    expect(remedies).to_contain_text("it is out of sight")
    (taken,) = read_records(bench.folder, REMEDY)
    assert (taken.payload["part"], taken.payload["because"]) == ("lintel", "it is out of sight")
    remedies.get_by_role("button", name=f"remedy {taken.id} is done").click()
    expect(remedies.get_by_role("button", name=f"remedy {taken.id} is done")).to_have_count(0)
    (worked,) = read_records(bench.folder, HANDWORK)
    assert worked.payload["remedy"] == taken.id
    remedies.get_by_role("button", name=f"take back the handwork of remedy {taken.id}").click()
    expect(remedies.get_by_role("button", name=f"remedy {taken.id} is done")).to_be_visible()
    remedies.get_by_role("button", name=f"take back remedy {taken.id}").click()
    expect(remedies.get_by_role("button", name=f"take back remedy {taken.id}")).to_have_count(0)


def test_a_bond_is_entered_although_there_is_a_stop_and_taken_back(bench, page):
    open_board(page, bench, "lintel")
    page.get_by_role("button", name="enter the bond of post-1:lintel").click()
    form = page.get_by_role("region", name="bond of post-1:lintel")
    enter = form.get_by_role("button", name="enter that post-1:lintel was bonded")
    form.get_by_label("parts and room, C").fill("warm")
    form.get_by_label("gaps, mm: mean, or by contact").fill("0.12")
    enter.click()
    expect(form.locator(".refusal")).to_contain_text('"warm" is no number')
    form.get_by_label("parts and room, C").fill("21")
    enter.click()
    expect(form.locator(".refusal")).to_contain_text("stop")
    form.get_by_label("why, although its hold point has a stop").fill("it is a trial")
    enter.click()
    joints = panel(page).get_by_role("region", name="joints")
    expect(joints.get_by_role("button", name=re.compile("^take back bond"))).to_be_visible()
    (bond,) = read_records(bench.folder, BOND)
    assert bond.payload["joint"] == "post-1:lintel"
    joints.get_by_role("button", name=f"take back bond {bond.id}").click()
    expect(joints.get_by_role("button", name="enter the bond of post-1:lintel")).to_be_visible()


def test_a_dry_fit_is_entered_and_taken_back(bench, page):
    open_board(page, bench, "lintel")
    page.get_by_role("button", name="enter a dry fit of post-1:lintel").click()
    form = page.get_by_role("region", name="dry fit of post-1:lintel")
    form.get_by_label("how it went").select_option("goes")
    form.get_by_label("gaps, mm: mean, or by contact").fill("wide")
    form.get_by_role("button", name="enter the dry fit of post-1:lintel").click()
    expect(form.locator(".refusal")).to_contain_text('"wide" is no gap')
    form.get_by_label("gaps, mm: mean, or by contact").fill("0.10")
    form.get_by_role("button", name="enter the dry fit of post-1:lintel").click()
    joints = panel(page).get_by_role("region", name="joints")
    expect(joints).to_contain_text("goes, gaps 0.100(20) mm")
    joints.get_by_role("button", name=re.compile("^take back dry fit")).click()
    expect(joints).not_to_contain_text("goes, gaps")


def test_everything_is_reached_by_the_keyboard(bench, page):
    open_board(page, bench)
    tab_to(page, "post-1")
    page.keyboard.press("Enter")
    expect(panel(page)).to_contain_text("post-1: printed")
    tab_to(page, "enter a print of post-1")
    page.keyboard.press("Enter")
    expect(page.get_by_label("result")).to_be_focused()


@pytest.mark.parametrize(("size", "theme"), [("wide", "light"), ("narrow", "dark")])
def test_it_can_be_read_by_all(bench, page, size, theme):
    page.set_viewport_size(SIZES[size])
    page.emulate_media(color_scheme=theme)
    open_board(page, bench, "lintel")
    assert accessibility_faults(page) == []
    assert page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth") <= 0
    keep_picture(page, f"as-built-{size}-{theme}")
