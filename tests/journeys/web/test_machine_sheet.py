"""Journeys over the sheet of a machine in a real browser: what it is, what its readings say, and how it is mended.

What the figures are worth is checked elsewhere; here it is checked that a builder sees them and can act on them.
"""

import re

import pytest
from playwright.sync_api import expect

from conftest import accessibility_faults, fork_workbench, keep_picture
from dryfit.app.qualification_records import QUALIFICATION
from dryfit.app.qualify import Choices, qualify_machine
from dryfit.store.ledger import LEDGER_NAME, open_ledger
from support.projects import PORTAL, document, part_row, write_project
from support.read_artefacts import BEARABLE, FAULTS, UNKNOWN_MACHINE, write_artefact, write_readings

pytestmark = pytest.mark.browser

SIZES = {"wide": {"width": 1425, "height": 900}, "narrow": {"width": 820, "height": 1180}}
expect.set_options(timeout=60_000)
SLIP = 5, 122.4  # place in the plan, and what is read there instead of about 92 mm
FIRST = (-0.001, 0.0, 0.0, 0.03, 0.10, -0.02, 0.05, 0.15)
SECOND = (-0.001, 0.0, 0.0, 0.03, 0.16, -0.02, 0.05, 0.15)


@pytest.fixture(scope="module")
def served(tmp_path_factory):
    """Machine tall, read and not qualified, one reading a slip; machine short, qualified twice; spare, not begun."""
    folder = tmp_path_factory.mktemp("machines") / "portal"
    short = UNKNOWN_MACHINE.split("[[machine]]")[1].replace('"tall"', '"short"')
    parts = "".join(part_row(name) for name in PORTAL if name != "lintel")
    parts += part_row("lintel", machine='"short"')
    write_project(
        folder,
        document(machine=f"{UNKNOWN_MACHINE}\n[[machine]]{short}", parts=parts, characteristics=BEARABLE),
    )
    for figures, days in ((FIRST, 90), (SECOND, 0)):
        write_readings(folder, write_artefact(folder, "short", 1), figures, seed=3 + days, days_ago=days)
        report = qualify_machine(folder, "short", Choices(keep=True))
    records = write_readings(folder, write_artefact(folder, "tall", 1), FAULTS, changed=dict([SLIP]))
    bench = fork_workbench(folder)
    try:
        bench.wait_until_it_answers()
        yield bench, {"slip": records[SLIP[0]], "short": report.qualification.record}
    finally:
        bench.end()


@pytest.fixture
def bench(served):
    return served[0]


def open_machine(page, bench, machine):
    page.goto(f"{bench.url}/machine?show={machine}")
    expect(page.locator(".machine-sheet")).to_be_visible()
    expect(page.locator(".waiting")).to_have_count(0)


def qualifications(bench, machine):
    with open_ledger(bench.folder / LEDGER_NAME) as ledger:
        return [record for record in ledger.records(QUALIFICATION) if record.payload["machine"] == machine]


def test_the_tick_of_the_chain_and_a_line_of_the_hold_point_lead_to_it(bench, page):
    page.goto(bench.url + "/hold")
    page.locator("table.checks").get_by_role("link", name="short").first.click()
    expect(page.locator(".machine-head .heading")).to_contain_text("short: qualified on")
    expect(page.locator(".chain [aria-current]")).to_have_text("machine")
    page.locator(".chain").get_by_role("link", name="machine").click()
    expect(page).to_have_url(re.compile(r"/machine$"))


def test_a_machine_not_begun_says_what_comes_next(bench, page):
    open_machine(page, bench, "spare")
    expect(page.locator(".machine-head .state-cell, .machine-head .state")).to_contain_text("not checked")
    expect(page.get_by_role("region", name="readings")).to_contain_text("dryfit artefact spare")
    assert page.get_by_role("button", name="Qualify from these readings").count() == 0
    assert page.get_by_role("link", name="Take readings on the bench").count() == 0


def test_what_it_is_and_whence_its_figures_come(served, page):
    bench, records = served
    open_machine(page, bench, "short")
    facts = page.get_by_role("region", name="what it is")
    expect(facts).to_contain_text("500 x 500 x 600 mm")
    expect(facts).to_contain_text(f"ledger record {records['short']}")
    figures = page.get_by_role("region", name="figures")
    expect(figures.locator("th").last).to_have_text("last time")
    lean = figures.locator("tr").filter(has_text="lean of the upright toward X")
    expect(lean).to_contain_text(re.compile(r"0\.1[5-7]\d*\("))
    over = page.get_by_role("region", name="over time")
    assert over.locator("svg").count() == 8
    assert over.locator("svg circle.point").count() == 16


def test_the_lean_is_drawn_with_its_sign_as_large_as_is_chosen(bench, page):
    open_machine(page, bench, "short")
    drawing = page.get_by_role("region", name="what it is").locator("svg")
    expect(drawing).to_contain_text("leans to +X")
    page.get_by_role("button", name="100 times as large").click()
    expect(drawing).to_contain_text("faults drawn 100 times as large")
    page.get_by_role("button", name="as large as they are").press("Enter")
    expect(drawing).to_contain_text("faults drawn as large as they are")


def test_ellipses_stand_with_the_band_that_the_project_bears(bench, page):
    open_machine(page, bench, "short")
    known = page.get_by_role("region", name="how well its squareness is known")
    assert known.locator("svg path.ellipse").count() == 3
    assert known.locator("tbody tr").count() == 3


def test_what_to_turn_says_side_and_thickness_and_draws_it(bench, page):
    open_machine(page, bench, "short")
    turn = page.get_by_role("region", name="what to turn")
    expect(turn).to_contain_text(re.compile(r"Put \d\.\d+\(\d+\) mm under their feet on the \+X side"))
    expect(turn.locator("svg.dryfit-sheet")).to_contain_text("raise the +X feet")


def test_corrected_copies_are_shown_with_their_difference_and_can_be_left(bench, page):
    before = bench.folder.joinpath("project.toml").read_text()
    open_machine(page, bench, "short")
    page.get_by_role("button", name="make corrected copies: show the difference first").click()
    expect(page.locator(".diff .added").first).to_contain_text("compensated")
    page.get_by_role("button", name="leave it: nothing is written").click()
    expect(page.locator(".diff")).to_have_count(0)
    assert bench.folder.joinpath("project.toml").read_text() == before
    assert not bench.folder.joinpath("compensated").exists()


def test_numbers_for_a_firmware_are_one_touch_away(bench, page):
    open_machine(page, bench, "short")
    page.get_by_text("the figures in numbers for a firmware").click()
    expect(page.get_by_role("region", name="or mend the meshes")).to_contain_text("tangent XZ")


def test_a_suspect_leads_to_its_measure_on_the_bench(served, page):
    bench, _ = served
    open_machine(page, bench, "tall")
    page.get_by_role("link", name="Read it again").click()
    expect(page.locator(".bench-figure h2")).to_contain_text("Measure 6")


def test_a_suspect_is_left_out_with_a_reason_and_the_rest_qualifies(served, page):
    bench, records = served
    open_machine(page, bench, "tall")
    expect(page.locator(".machine-head .heading")).to_contain_text("never qualified")
    suspect = page.get_by_role("region", name=f"suspect: record {records['slip']}")
    expect(suspect).to_contain_text("is off by")
    expect(page.get_by_role("region", name="readings").locator("svg .s-stop")).to_have_count(1)
    leave = page.get_by_role("button", name=f"leave out record {records['slip']}")
    leave.click()
    expect(page.locator(".said")).to_contain_text("Say why")
    # Nothing is recorded while it is undecided.
    page.get_by_role("button", name="Qualify from these readings").click()
    expect(page.locator(".said")).to_contain_text("Nothing was recorded")
    assert qualifications(bench, "tall") == []
    suspect.get_by_role("textbox").fill("the jaws were tilted")
    leave.click()
    expect(page.get_by_role("region", name="readings")).to_contain_text("agree with one set of figures")
    page.get_by_role("button", name="Qualify from these readings").click()
    expect(page.locator(".machine-head .heading")).to_contain_text("tall: qualified on")
    expect(page.get_by_role("region", name="what it is").locator("svg")).to_contain_text("leans to +X")
    (record,) = qualifications(bench, "tall")
    assert record.payload["left_out"] == [{"record": records["slip"], "because": "the jaws were tilted"}]
    assert abs(record.payload["figures"]["skew_xz_deg"] - 0.6) < 0.05
    expect(page.locator(".said")).to_contain_text(f"ledger record {record.id}")
    # The fit sheet forecasts with it, without a reload of anybody's.
    page.goto(bench.url + "/fit?show=plumb")
    expect(page.locator("table.rows")).to_contain_text(re.compile(r"-0\.[56]\d*\("))


def test_a_qualification_by_another_process_changes_the_sheet_by_itself(bench, page):
    open_machine(page, bench, "short")
    report = qualify_machine(bench.folder, "short", Choices(keep=True))
    expect(page.locator(".machine-head .heading")).to_contain_text(
        f"ledger record {report.qualification.record}"
    )


def test_it_is_accessible_and_whole_in_both_sizes_and_themes_and_prints(bench, page):
    open_machine(page, bench, "short")
    for size, viewport in SIZES.items():
        page.set_viewport_size(viewport)
        for theme in ("light", "dark"):
            page.emulate_media(color_scheme=theme)
            page.wait_for_timeout(150)
            keep_picture(page, f"machine-sheet-{size}-{theme}")
            if (size, theme) in (("wide", "light"), ("narrow", "dark")):
                assert accessibility_faults(page) == [], f"{size}, {theme}"
        assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth"), size
    page.emulate_media(media="print")
    expect(page.get_by_role("button", name="Qualify from these readings")).to_be_hidden()
    expect(page.get_by_role("region", name="what it is").locator("svg")).to_be_visible()
