"""A print belongs to its machine as it was: before a move, after it, and in doubt between."""

import dataclasses

import numpy as np
import pytest

from building import machine
from building.tower import tower
from dryfit.app.machine_eras import machine_of_print
from dryfit.app.preflight_records import PREFLIGHT, Preflight, preflight_payload
from dryfit.app.qualification_records import QUALIFICATION, error_model, qualification_payload
from dryfit.model.printing import Print
from dryfit.model.qualification import Qualification
from dryfit.store.ledger import LedgerRecord

LEAN = 4  # skew_xz_deg in FIGURES
STD = np.array([2e-4, 2e-4, 2e-4, 0.01, 0.01, 0.01, 0.01, 0.01])


def qualified(record: int, day: int, lean: float) -> Qualification:
    figures = np.zeros(8)
    figures[LEAN] = lean
    at = f"2026-11-{day:02d}T12:00:00.000000Z"
    covariance = np.diag(STD**2)
    return Qualification(
        record,
        at,
        "m",
        record,
        (1,),
        figures,
        covariance,
        np.inf,
        0.05,
        0.01,
        0.2,
        "p",
        0.0,
        0.0,
        np.zeros(8),
    )


def recorded(item: Qualification) -> LedgerRecord:
    return LedgerRecord(item.record, item.at, QUALIFICATION, "", qualification_payload(item), "", "", "")


def adjusted(record: int, day: int) -> LedgerRecord:
    at = f"2026-11-{day:02d}T12:00:00.000000Z"
    check = Preflight(0, at, "m", 100.0, adjusted="the upright was shimmed")
    return LedgerRecord(record, at, PREFLIGHT, "", preflight_payload(check), "", "", "")


def printed(day: int) -> Print:
    at = f"2026-11-{day:02d}T18:00:00.000000Z"
    project = project_of()
    return Print(77, at, "b1", "m", "p", project.parts[0].bed, "good", "", "", ended=at)


def project_of():
    project = tower(machine(), ()).project
    model = error_model(qualified(3, 20, 0.1), project)
    return dataclasses.replace(project, machines=(dataclasses.replace(project.machines[0], error=model),))


FIRST, SAME, MOVED = qualified(1, 2, 0.6), qualified(2, 5, 0.605), qualified(3, 20, 0.1)
RECORDS = [recorded(item) for item in (FIRST, SAME, MOVED)]


@pytest.mark.parametrize("day", [1, 3, 5])
def test_before_a_move_the_last_figures_of_before_hold(day):
    # the second qualification found no move: its figures are the best of that state, also for earlier prints
    item = dataclasses.replace(printed(day), ended=f"2026-11-{day:02d}T11:00:00.000000Z")
    was = machine_of_print(project_of(), RECORDS, item)
    assert was is not None
    assert was.id == "m before 2026-11-20"
    assert was.error.figures["skew_xz_deg"].value == pytest.approx(0.605)


def test_after_it_the_machine_is_as_it_is():
    assert machine_of_print(project_of(), RECORDS, printed(21)) is None


def test_between_the_two_it_may_be_either():
    was = machine_of_print(project_of(), RECORDS, printed(12))
    assert was is not None
    assert was.id == "m for print 77"
    lean = was.error.figures["skew_xz_deg"]
    draws = np.concatenate(
        [mean + 0.01 * np.random.default_rng(1).standard_normal(200_000) for mean in (0.605, 0.1)]
    )
    assert lean.value == pytest.approx(draws.mean(), abs=1e-3)
    assert lean.std == pytest.approx(draws.std(), rel=1e-2)


@pytest.mark.parametrize(("day", "is_old"), [(9, True), (12, False)])
def test_an_adjustment_in_between_is_the_moment(day, is_old):
    was = machine_of_print(project_of(), [*RECORDS, adjusted(9, 10)], printed(day))
    assert (was is not None) == is_old


def test_without_a_move_or_with_stated_figures_there_is_no_past():
    assert machine_of_print(project_of(), RECORDS[:2], printed(1)) is None
    stated = tower(machine(), ()).project
    assert machine_of_print(stated, RECORDS, printed(1)) is None
