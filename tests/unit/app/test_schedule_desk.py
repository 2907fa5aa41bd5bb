"""Decisions foreseen and made, the schedule noted, measurements ranked, all on an open project."""

import pytest

from dryfit.app.ledger_reading import read_records
from dryfit.app.links import report_links
from dryfit.app.live import LiveProject
from dryfit.app.machine_page import read_marks
from dryfit.app.schedule import Options, schedule_folder
from dryfit.app.schedule_desk import decide, foresee_decision, note_schedule, rank_measurements
from dryfit.app.schedule_report import ScheduleReport
from dryfit.base.errors import ComputationRefused, ReferenceUnknown
from dryfit.web.words import link_figure, sheet_of
from support.schedules import FEATURE, write_schedule


@pytest.fixture
def folder(tmp_path):
    return write_schedule(tmp_path, feature=FEATURE)


@pytest.fixture
def snapshot(folder):
    return LiveProject(folder).load()


def test_a_decision_is_foreseen_as_it_comes_out(folder, snapshot):
    outlook = foresee_decision(snapshot, "without", "guide")
    assert read_records(folder, "decision") == ()
    after = decide(folder, "without", "guide", "it counts the vane")
    sizes = {item.id: item.prototype_mm for item in after.dimensions}
    foreseen = {item.id: item.prototype_then_mm for item in outlook.moved}
    assert foreseen["overall"].value == pytest.approx(sizes["overall"].value)
    assert foreseen["drum"].std == pytest.approx(sizes["drum"].std)
    assert outlook.p_then == pytest.approx(after.p_value)
    assert outlook.p_now == pytest.approx(snapshot.schedule.p_value)
    assert "sill" not in foreseen


def test_leaving_out_the_only_source_is_foreseen_as_unknown(snapshot):
    (moved,) = foresee_decision(snapshot, "without", "lone").moved
    assert (moved.id, moved.prototype_then_mm) == ("sill", None)


def test_a_decision_without_its_reason_is_refused_and_not_recorded(folder):
    with pytest.raises(ReferenceUnknown):
        decide(folder, "without", "guide", " ")
    assert read_records(folder, "decision") == ()


def test_opening_records_no_schedule_and_changes_stay_until_it_is_noted(folder):
    live = LiveProject(folder)
    assert live.load().schedule.since == ""
    note_schedule(folder)
    decide(folder, "without", "guide", "it counts the vane")
    for _ in range(2):
        changed = [item.id for item in live.load().schedule.changes]
        assert "drum" in changed
    drum = next(item for item in live.load().schedule.changes if item.id == "drum")
    assert (drum.touched.features, drum.touched.parts) == (("post-height",), ("post-1",))
    note_schedule(folder)
    assert live.load().schedule.changes == ()


def test_records_about_the_evidence_are_seen_by_whoever_watches_the_ledger(folder):
    before = read_marks(folder).schedule
    decide(folder, "without", "guide", "it counts the vane")
    after = read_marks(folder)
    assert after.schedule > before
    assert after.qualification == 0
    note_schedule(folder)
    assert read_marks(folder).schedule > after.schedule


def test_the_link_of_the_chain_has_a_state_and_one_figure(folder, snapshot):
    def link(snapshot):
        return report_links(snapshot.opened, snapshot.report, None, snapshot.schedule).link("schedule")

    assert (link(snapshot).state, link_figure(link(snapshot))) == ("stop", "5 dimensions, 1 suspect")
    decide(folder, "without", "guide", "it counts the vane")
    now = LiveProject(folder).load()
    assert (link(now).state, link_figure(link(now))) == ("not checked", "5 dimensions, 1 unknown")


def test_evidence_that_gives_no_schedule_is_a_stop_and_says_why(folder):
    text = folder.joinpath("project.toml").read_text("utf-8")
    rows = "".join(
        f'[[observation]]\nid = "e{size}"\nof = "sill"\nvalue = "{size} mm"\nstd = 0\n' for size in (900, 901)
    )
    folder.joinpath("project.toml").write_text(text + rows, "utf-8")
    snapshot = LiveProject(folder).load()
    assert isinstance(snapshot.schedule, ComputationRefused)
    link = report_links(snapshot.opened, snapshot.report, None, snapshot.schedule).link("schedule")
    assert (link.state, link_figure(link)) == ("stop", "5 dimensions, no schedule")


def test_a_project_without_dimensions_says_so(tmp_path):
    from support.projects import write_project

    snapshot = LiveProject(write_project(tmp_path)).load()
    assert isinstance(snapshot.schedule, ScheduleReport)
    link = report_links(snapshot.opened, snapshot.report, None, snapshot.schedule).link("schedule")
    assert (link.state, link_figure(link)) == ("not checked", "no dimension")


def test_measurements_are_ranked_as_the_command_ranks_them_with_progress(folder, snapshot):
    seen = []
    worth = rank_measurements(snapshot, "5 mm", lambda done, total: seen.append((done, total)))
    said = schedule_folder(folder, Options(what_next=True, next_std_mm=5.0, record=False)).worth
    assert worth == said
    assert seen[-1][0] == seen[-1][1] == len(worth.candidates)
    with pytest.raises(ReferenceUnknown):
        rank_measurements(snapshot, "5 cubits")


def test_a_line_of_the_hold_point_leads_to_the_schedule():
    assert sheet_of("schedule", "heights add up") == "/schedule?show=heights%20add%20up"
    assert sheet_of("schedule", "photo left, right (a: drum)") == "/evidence?show=left"
