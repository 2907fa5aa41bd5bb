"""Journeys over the schedule sheet in a real browser: find, trace, decide, take back, add, and see what it touches.

What the adjustment is worth is checked elsewhere; here it is checked that a builder sees it and can act on it.
"""

import re
import subprocess
import tomllib
from collections import Counter

import pytest
from playwright.sync_api import expect

from conftest import COMMAND, accessibility_faults, fork_workbench, keep_picture
from dryfit.app.ledger_reading import read_records
from support.schedules import FEATURE, large_network, write_schedule

pytestmark = pytest.mark.browser

SIZES = {"wide": {"width": 1425, "height": 900}, "narrow": {"width": 820, "height": 1180}}
MOST_TABS = 120
TRACE = "section[aria-label='trace']"
expect.set_options(timeout=40_000)


def serve(folder):
    bench = fork_workbench(folder)
    bench.wait_until_it_answers()
    return bench


@pytest.fixture(scope="module")
def seen(tmp_path_factory):
    """A small project that is only looked at."""
    bench = serve(write_schedule(tmp_path_factory.mktemp("seen") / "net", feature=FEATURE))
    yield bench
    bench.end()


@pytest.fixture
def bench(tmp_path):
    """One that is changed."""
    bench = serve(write_schedule(tmp_path / "net", feature=FEATURE))
    yield bench
    bench.end()


def open_schedule(page, bench, address="/schedule"):
    page.goto(bench.url + address)
    expect(page.locator(".network-frame svg")).to_be_visible()


def rows(page):
    return page.locator("table.dimensions tbody tr")


def document_of(bench):
    return bench.folder.joinpath("project.toml").read_text(encoding="utf-8")


def tab_to(page, name):
    for _ in range(MOST_TABS):
        page.keyboard.press("Tab")
        found = page.evaluate(
            """() => { const e = document.activeElement; const field = e.closest('label');
            return e.getAttribute('aria-label')
              || (field ? field.querySelector('span').textContent : e.textContent.trim()) }"""
        )
        if found == name:
            return
    raise AssertionError(f"the keyboard does not reach {name}")


def test_the_chain_and_the_hold_point_lead_to_it(seen, page):
    page.goto(seen.url + "/hold")
    tick = page.locator(".chain .link").filter(has=page.get_by_text("schedule", exact=True))
    expect(tick).to_contain_text("5 dimensions, 1 suspect")
    expect(tick).to_contain_text("stop")
    page.locator("table.checks").get_by_role("link", name="guide", exact=True).click()
    expect(page.locator(TRACE)).to_contain_text("Trace of overall")
    expect(page.locator(".chain [aria-current]")).to_have_text("schedule")
    page.goto(seen.url + "/")
    expect(page.locator(".step").filter(has_text="schedule, guide").get_by_role("link")).to_have_attribute(
        "href", "/schedule?show=guide"
    )


def test_the_same_words_as_the_command_line(seen, page):
    open_schedule(page, seen)
    done = subprocess.run(
        [COMMAND[0], "schedule", "--unrecorded"],
        cwd=seen.folder,
        capture_output=True,
        encoding="utf-8",
        timeout=120,
    )
    assert done.returncode == 1, done.stderr
    said = Counter(done.stdout.split())
    for place in (
        ".schedule-head .heading",
        "[aria-label='suspects'] .sentence",
        "[aria-label='agreement'] .sentence",
    ):
        for words in page.locator(place).all_inner_texts():
            assert not Counter(re.sub(r"^(stop|caution|pass|not checked)\s", "", words).split()) - said, place
    for row in rows(page).all():
        cells = row.locator("td").all_text_contents()
        for cell in (*cells[1:6], cells[-1]):
            assert not Counter(cell.split()) - said, cell


def test_dimensions_are_filtered_by_words_state_and_source(seen, page):
    open_schedule(page, seen)
    expect(rows(page)).to_have_count(5)
    page.get_by_role("searchbox").fill("post-1")
    expect(rows(page)).to_have_count(1)
    expect(rows(page)).to_contain_text("drum")
    expect(page.get_by_role("searchbox")).to_have_value("post-1")
    page.get_by_role("searchbox").fill("")
    page.get_by_label("state", exact=True).select_option("not checked")
    expect(rows(page)).to_have_count(1)
    expect(rows(page)).to_contain_text("crown")
    page.get_by_label("state", exact=True).select_option("")
    page.get_by_label("source or photograph").select_option("tape")
    expect(page.locator(".filter [role='status']")).to_have_text("3 of 5 dimensions")


def test_a_trace_shows_sources_and_leads_on_to_what_hangs_on_it(seen, page):
    open_schedule(page, seen)
    page.get_by_role("button", name="drum", exact=True).click()
    trace = page.locator(TRACE)
    expect(trace.locator(".heading").first).to_contain_text("Trace of drum")
    line = trace.locator("tbody tr").filter(has_text="levels").first
    expect(line).to_contain_text("3650 mm within 17 mm, uniform")
    assert page.url.endswith("/schedule?show=drum")
    expect(trace.get_by_role("link", name="post-height")).to_have_attribute("href", "/parts?show=post-height")
    expect(trace.get_by_role("link", name="post-1", exact=True)).to_have_attribute(
        "href", "/parts?show=post-1"
    )
    expect(trace.get_by_role("link", name="plumb")).to_have_attribute("href", "/fit?show=plumb")


def test_a_node_of_the_network_is_chosen(seen, page):
    open_schedule(page, seen)
    page.locator(".network [data-dimension='sill'] text").click()
    expect(page.locator(TRACE)).to_contain_text("Trace of sill")
    expect(page.locator(".network [data-dimension='drum']")).to_have_class("faded")
    page.locator(".network [data-observation='guide'] text").first.click()
    expect(page.locator(TRACE)).to_contain_text("Trace of overall")


def test_what_to_measure_next_is_worked_out_when_asked(seen, page):
    open_schedule(page, seen)
    panel = page.get_by_role("region", name="what to measure next")
    panel.get_by_role("textbox").fill("5 cubits")
    panel.get_by_role("button").click()
    expect(panel.locator(".refusal")).to_contain_text("not read as a length")
    panel.get_by_role("textbox").fill("5 mm")
    panel.get_by_role("button").click()
    expect(panel.locator("table tbody tr").first).to_contain_text("5")
    expect(panel).to_contain_text("as asked")


def test_a_suspect_is_left_out_with_a_reason_noted_and_taken_back(bench, page):
    open_schedule(page, bench)
    page.get_by_role("region", name="changes").get_by_role("button").click()
    expect(page.get_by_role("region", name="changes")).to_contain_text("Nothing changed since")
    page.get_by_role("button", name="leave out: guide").first.click()
    form = page.get_by_role("region", name="decision about guide")
    expect(form.locator("tbody tr").filter(has_text="overall")).to_be_visible()
    form.get_by_role("button", name="record the decision").click()
    expect(form.locator(".refusal")).to_contain_text("a decision needs its reason")
    form.get_by_role("textbox").fill("it counts the weather vane")
    form.get_by_role("button", name="record the decision").click()
    expect(page.locator("[aria-label='suspects']")).to_have_count(0)
    expect(page.get_by_role("region", name="decisions")).to_contain_text("it counts the weather vane")
    changes = page.get_by_role("region", name="changes")
    expect(changes).to_contain_text("features post-height; parts post-1")
    expect(page.locator(".network .net-gone")).to_have_count(1)
    page.get_by_role("button", name="overall", exact=True).click()
    expect(page.locator(f"{TRACE} tr.left-out")).to_contain_text("guide")
    page.get_by_role("region", name="decisions").get_by_role("button", name="take back: guide").click()
    page.get_by_role("button", name="record the decision").click()
    expect(page.locator("[aria-label='suspects']")).to_contain_text("guide")
    verbs = [record.payload["verb"] for record in read_records(bench.folder, "decision")]
    assert verbs == ["without", "restore"]


def test_an_observation_is_added_and_changed_with_the_difference_shown(bench, page):
    before = document_of(bench)
    open_schedule(page, bench)
    page.get_by_role("button", name="Add an observation").click()
    form = page.get_by_role("region", name="observation", exact=True)
    form.get_by_label("its name").fill("rope")
    form.get_by_label("what was measured").fill("drumm")
    form.get_by_label("value", exact=True).fill("11 ft 11 3/4 in")
    form.get_by_label("std", exact=True).fill("20 mm")
    expect(form.locator(".refusal")).to_contain_text('did you mean "drum"?')
    form.get_by_label("what was measured").fill("drum")
    expect(form.locator(".faults")).to_contain_text("Understood as drum = 3651(20) mm")
    expect(form.get_by_label("its name")).to_have_value("rope")
    form.get_by_role("button", name="Show the difference").click()
    expect(form.locator(".diff .added").filter(has_text="rope")).to_be_visible()
    assert document_of(bench) == before
    form.get_by_role("button", name="write it to project.toml").click()
    expect(page.locator(".network [data-observation='rope']")).to_be_visible()
    page.get_by_role("button", name="drum", exact=True).click()
    expect(page.locator(TRACE)).to_contain_text("Trace of drum")
    page.get_by_role("button", name="change tape: in a form").click()
    expect(form.get_by_label("value", exact=True)).to_have_value("3660 mm")
    form.get_by_label("how well it is known").select_option("within")
    form.get_by_label("within", exact=True).fill("30 mm")
    form.get_by_role("button", name="Show the difference").click()
    form.get_by_role("button", name="write it to project.toml").click()
    expect(page.locator(TRACE)).to_contain_text("3660 mm within 30 mm, uniform")
    after = document_of(bench)
    assert 'id = "tape"  # in the rain' in after
    added = {row["id"]: row for row in tomllib.loads(after)["observation"]}
    assert added["rope"] == {"id": "rope", "of": "drum", "value": "11 ft 11 3/4 in", "std": "20 mm"}
    assert "std" not in added["tape"]


def test_a_pasted_table_is_checked_and_written(bench, page):
    open_schedule(page, bench)
    page.get_by_role("button", name="Take a table of observations").click()
    area = page.get_by_label("the table, as CSV")
    area.fill("id,of,value,std\nplumb.line,crown,1.2 m,\n")
    page.get_by_role("button", name="check the table: show the difference first").click()
    expect(page.locator(".outcome .refusal")).to_contain_text("how well the value is known")
    area.fill("id,of,value,std\nplumb.line,crown,1.2 m,5 mm\n")
    page.get_by_role("button", name="check the table: show the difference first").click()
    page.get_by_role("button", name="write them to project.toml").click()
    expect(page.locator(".network [data-observation='plumb.line']")).to_be_visible()
    assert "plumb.line" in document_of(bench)


def test_the_keyboard_alone_decides(bench, page):
    open_schedule(page, bench)
    tab_to(page, "keep knowingly: guide")
    page.keyboard.press("Enter")
    form = page.get_by_role("region", name="decision about guide")
    expect(form.get_by_role("textbox")).to_be_focused()
    page.keyboard.type("the plate on the wall says so")
    page.keyboard.press("Enter")
    expect(page.get_by_role("region", name="decisions")).to_contain_text("the plate on the wall says so")
    expect(page.locator(".chain .link").filter(has_text="1 suspect")).to_be_visible()
    tab_to(page, "sill")
    page.keyboard.press("Enter")
    expect(page.locator(TRACE)).to_contain_text("Trace of sill")


def test_it_is_accessible_and_whole_in_both_sizes_and_themes(seen, page):
    open_schedule(page, seen)
    page.get_by_role("button", name="leave out: guide").first.click()
    expect(page.get_by_role("region", name="decision about guide").locator("tbody")).to_be_visible()
    page.get_by_role("button", name="Add an observation").click()
    for size, theme in (("wide", "light"), ("narrow", "dark")):
        page.set_viewport_size(SIZES[size])
        page.emulate_media(color_scheme=theme)
        page.wait_for_timeout(150)
        keep_picture(page, f"schedule-form-{size}-{theme}")
        assert accessibility_faults(page) == [], f"{size}, {theme}"
        assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth"), size


def test_a_large_network_is_shown_and_scrolled_in_its_frame(tmp_path, page):
    bench = serve(large_network(tmp_path / "large"))
    try:
        open_schedule(page, bench)
        expect(rows(page)).to_have_count(40)
        frame = page.locator(".network-frame")
        assert frame.evaluate("e => e.scrollHeight > 2 * e.clientHeight")
        assert accessibility_faults(page) == []
        keep_picture(page, "schedule-large")
    finally:
        bench.end()
