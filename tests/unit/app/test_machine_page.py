"""A machine gathered out of document and ledger, and readings taken from the bench page."""

import numpy as np
import pytest

from dryfit.app.artefact import issue_artefact
from dryfit.app.loading import open_project
from dryfit.app.machine_page import (
    Marks,
    gather_machine,
    ledger_stamp,
    look_at_readings,
    read_marks,
    used_machine,
)
from dryfit.app.machine_page_body import body_edges
from dryfit.app.machine_page_desk import Asked, Doubt, following, look_at_desk, take_back, take_reading
from dryfit.app.qualify import Choices, qualify_machine
from dryfit.app.reading_checks import ReadingRefused
from dryfit.app.reading_desk import Taken
from dryfit.base.errors import ReferenceUnknown
from dryfit.model.machine import FIGURES
from dryfit.view.artefact_sheet import artefact_sheet
from support.projects import contents
from support.read_artefacts import FAULTS, write_artefact, write_readings, write_unknown


@pytest.fixture
def folder(tmp_path):
    return write_unknown(tmp_path)


def gather(folder, machine="tall"):
    return gather_machine(open_project(folder).project, folder, machine)


def test_looking_at_a_project_without_a_ledger_makes_none(folder):
    before = contents(folder)
    facts = gather(folder)
    assert read_marks(folder) == Marks()
    assert (facts.artefact, facts.read, facts.last, facts.history) == (None, 0, None, ())
    assert look_at_readings(folder, facts) is None
    assert contents(folder) == before


def test_the_machine_that_prints_is_the_one_shown_unless_another_is_asked_for(folder):
    project = open_project(folder).project
    assert used_machine(project) == "tall"
    assert used_machine(project, "spare") == "spare"
    with pytest.raises(ReferenceUnknown, match='no machine "sparre"'):
        used_machine(project, "sparre")


def test_readings_are_fresh_until_a_qualification_rests_on_them(folder):
    artefact = write_artefact(folder)
    records = write_readings(folder, artefact)
    facts = gather(folder)
    assert (facts.read, facts.planned, facts.fresh) == (118, 118, 118)
    assert facts.machine.error.knowledge == "prior"
    report = qualify_machine(folder, "tall", Choices(records[:1], "tilted jaws"))
    facts = gather(folder)
    assert facts.fresh == 0
    assert facts.left_out == (records[0],)
    assert facts.because == "tilted jaws"
    assert facts.machine.error.knowledge == "estimated"
    assert facts.last.record == report.qualification.record
    assert [figure.value for figure in facts.figures] == pytest.approx(report.qualification.figures)
    assert facts.covariance == pytest.approx(report.qualification.covariance)
    assert abs(facts.figures[FIGURES.index("skew_xz_deg")].value - 0.6) < 0.05
    # What was left out stays left out when it is looked at again, so that the picture is that of the record.
    look = look_at_readings(folder, facts)
    assert [item.record for item in look.left_out] == [records[0]]
    assert not look.is_recorded
    assert look.qualification.figures == pytest.approx(report.qualification.figures)


def test_a_machine_that_was_mended_has_moved_and_its_last_figures_stand_beside(folder):
    write_readings(folder, write_artefact(folder))
    qualify_machine(folder, "tall", Choices(keep=True))
    mended = np.array(FAULTS)
    mended[FIGURES.index("skew_xz_deg")] = 0.0
    write_readings(folder, write_artefact(folder), mended, seed=6)
    qualify_machine(folder, "tall", Choices(keep=True))
    facts = gather(folder)
    lean = facts.figures[FIGURES.index("skew_xz_deg")]
    assert len(facts.history) == 2
    assert abs(lean.value) < 0.05
    assert abs(lean.before - 0.6) < 0.05
    assert look_at_readings(folder, facts).moved.has_moved


def test_marks_see_records_about_machines_and_no_others(folder):
    artefact = write_artefact(folder)
    marks, stamp = read_marks(folder), ledger_stamp(folder)
    assert marks == Marks(artefact[0], 0)
    records = write_readings(folder, artefact)
    assert read_marks(folder) == Marks(records[-1], 0)
    assert ledger_stamp(folder) != stamp
    report = qualify_machine(folder, "tall", Choices(keep=True))
    number = report.qualification.record
    assert read_marks(folder / "project.toml") == Marks(number, number)


def take(folder, text, measure=None, is_meant=False):
    state = look_at_desk(folder, "tall", Asked(measure))
    asked = Asked(state.step.measure.id, temp="21.5", by="R")
    return take_reading(folder, "tall", asked, text, is_meant)


def test_a_reading_is_on_the_disk_and_the_sheet_goes_on_there_and_back(folder):
    _, body = write_artefact(folder)
    first = body.measures[0]
    taken = take(folder, f"{first.length_mm + 0.03:.2f}")
    assert isinstance(taken, Taken)
    assert (taken.reading.temp_c, taken.reading.by) == (21.5, "R")
    assert following(folder, "tall", first.id) == body.measures[1].id
    taken = take(folder, f"{first.length_mm + 0.05:.2f}", first.id)
    assert taken.apart_mm == pytest.approx(0.02)
    assert following(folder, "tall", first.id) == body.measures[1].id
    state = look_at_desk(folder, "tall", Asked())
    assert state.step.measure.id == body.measures[1].id
    assert (state.read, state.before, state.after) == (2, first.id, body.measures[2].id)
    assert [(row.done, row.of) for row in state.rows[:2]] == [(2, 2), (0, 2)]
    assert [last.number for last in state.last] == [1, 1]


def test_going_on_does_not_send_the_hand_back_to_what_was_passed_over(folder):
    _, body = write_artefact(folder, repeats=1)
    third = body.measures[2]
    take(folder, f"{third.length_mm:.2f}", third.id)
    assert following(folder, "tall", third.id) == body.measures[3].id
    last = body.measures[-1]
    take(folder, "0.1", last.id)
    assert following(folder, "tall", last.id) == body.measures[0].id


def test_a_decimal_slip_is_asked_about_and_recorded_only_when_meant(folder):
    _, body = write_artefact(folder)
    slip = f"{10 * body.measures[0].length_mm:.2f}"
    doubt = take(folder, slip)
    assert isinstance(doubt, Doubt)
    assert any("decimal point" in reason.what for reason in doubt.reasons)
    assert look_at_desk(folder, "tall", Asked()).read == 0
    taken = take(folder, slip, is_meant=True)
    assert taken.reading.is_confirmed


def test_what_is_no_number_or_no_temperature_is_refused(folder):
    write_artefact(folder)
    with pytest.raises(ReadingRefused, match="no number"):
        take(folder, "46,02")
    first = look_at_desk(folder, "tall", Asked()).step.measure.id
    with pytest.raises(ReadingRefused, match="temperature"):
        take_reading(folder, "tall", Asked(first, temp="215"), "46.02")


def test_a_reading_is_taken_back_by_a_correcting_record(folder):
    _, body = write_artefact(folder)
    taken = take(folder, f"{body.measures[0].length_mm:.2f}")
    take_back(folder, "tall", taken.reading.record)
    assert look_at_desk(folder, "tall", Asked()).read == 0
    with pytest.raises(ReferenceUnknown, match="no longer counts"):
        take_back(folder, "tall", taken.reading.record)


def test_the_bench_of_a_machine_without_artefact_says_what_comes_next(folder):
    write_artefact(folder)
    with pytest.raises(ReferenceUnknown) as refusal:
        look_at_desk(folder, "spare", Asked())
    assert "dryfit artefact spare" in refusal.value.do


def test_the_body_is_drawn_from_its_file_only_where_that_is_the_one_recorded(folder):
    issue_artefact(folder, "tall", artefact_sheet)
    state = look_at_desk(folder, "tall", Asked())
    edges = body_edges(folder, state.artefact)
    size = state.artefact.artefact.size_mm
    assert np.ptp(edges.reshape(-1, 3), axis=0) == pytest.approx(size, abs=1e-3)
    file = folder / "artefacts" / "tall-artefact.3mf"
    file.write_bytes(file.read_bytes() + b" ")
    assert body_edges(folder, state.artefact) is None
    file.unlink()
    assert body_edges(folder, state.artefact) is None
