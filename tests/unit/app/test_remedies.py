"""Remedies of a part that is off, on assemblies small enough to be worked by hand. All of it is invented."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from building import Assembled, machine, ring
from building.tower import tower
from dryfit.app.bond_records import Built
from dryfit.app.forecast import Chain, run_forecast
from dryfit.app.handwork import taken_off_reading
from dryfit.app.remedies import find_remedies
from dryfit.app.remedy_lines import aim, bond_lever, face_lever, length_lever, wedge_levers
from dryfit.app.remedy_report import RemedyOptions, RemedyRefused, RemedyReport
from dryfit.base.errors import ReferenceUnknown
from dryfit.base.estimate import Estimate
from dryfit.calc.remedies import balancing_amounts
from dryfit.model.characteristic import Characteristic
from dryfit.model.handwork import Bond, FaceWork
from support.printed_parts import as_built_of, faces_measure, print_of, reading_of

TOP = Characteristic(
    "top",
    "height",
    parts=("b3",),
    points_mm=np.array([[40.0, 40.0, 300.0]]),
    direction=np.array([0.0, 0.0, 1.0]),
    lower=299.7,
    upper=300.3,
)
NONE = Built((), (), ())
PRINTER = machine(repeatability_mm=0.02, scale_z=Estimate(0.0, 0.0001))
# b1 was printed elsewhere: what is wrong with it tells nothing of the others.
ELSEWHERE = machine("old", repeatability_mm=0.02, scale_z=Estimate(0.0, 0.01))
# b1 came out 0.6 mm too long, b2 is printed as well, b3 is still to come.
TOO_LONG_MM = 0.6


def assembled(limits: tuple[float, float] = (299.7, 300.3)) -> Assembled:
    top = dataclasses.replace(TOP, lower=limits[0], upper=limits[1])
    made = tower(PRINTER, (top,), (100.0, 100.0, 100.0))
    first, *others = made.project.parts
    return made.replaced(
        machines=(PRINTER, ELSEWHERE), parts=(dataclasses.replace(first, machine="old"), *others)
    )


def off_by(too_long_mm: float, made: Assembled | None = None) -> tuple[Chain, list]:
    made = made or assembled()
    project = made.project
    prints = [
        dataclasses.replace(print_of(project, name, 10 * n), hours=5.0, grams=80.0)
        for n, name in enumerate(("b1", "b2"), 1)
    ]
    corners = [(x, y) for x in (0.0, 80.0) for y in (0.0, 80.0)]
    readings = [
        reading_of(project, prints[0], faces_measure((x, y, 0.0), (x, y, 100.0)), 100.0 + too_long_mm, 50 + n)
        for n, (x, y) in enumerate(corners)
    ]
    as_built = as_built_of([(prints[0], readings, True), (prints[1], [], True)])
    return dataclasses.replace(made.chain, as_built=as_built), prints


def remedies(too_long_mm: float = TOO_LONG_MM, **options: float) -> RemedyReport:
    chain, prints = off_by(too_long_mm)
    return find_remedies(chain, "b1", prints, NONE, RemedyOptions(**options))


def test_every_sort_of_remedy_is_worked_out_and_the_cheapest_that_meets_comes_first() -> None:
    report = remedies()
    assert report.at_risk == ("top",)
    kinds = [item.kind for item in report.remedies]
    assert {"as is", "sand", "change another", "reprint", "reprint corrected"} <= set(kinds)
    meeting = [item for item in report.remedies if item.meets]
    assert meeting == list(report.remedies[: len(meeting)])
    hours = [item.cost.total_hours for item in meeting]
    assert hours == sorted(hours)
    as_is = next(item for item in report.remedies if item.kind == "as is")
    assert not as_is.meets
    assert as_is.worst > 0.9
    again = next(item for item in report.remedies if item.kind == "reprint")
    assert (again.cost.hours.value, again.cost.grams.value) == (5.0, 80.0)
    assert again.cost.hours.whence == "print record 10"


def test_sanding_takes_off_what_is_too_long() -> None:
    """Closed form: what is expected above the middle of the limits, to the next step."""
    report = remedies()
    chain, _ = off_by(TOO_LONG_MM)
    over = run_forecast(chain).characteristics[0].predicted - 300.0
    for item in report.remedies:
        if item.kind == "sand":
            (step,) = item.steps
            assert item.meets
            assert np.mean(step.amounts_mm) == pytest.approx(over, abs=0.03)
            assert "sand" in step.words
            assert "toward" in step.words


def test_the_closed_form_amount_is_that_of_the_stack() -> None:
    """In a stack every face, bond line and length moves the top one for one, wherever it is."""
    chain, _ = off_by(TOO_LONG_MM)
    aims = aim(chain)
    over = float(aims.results.mean[0]) - 300.0
    grid = np.array([0.0])
    for lever, sign in (
        (face_lever(chain, aims, "b1:b2", "b1", grid, 0.05), 1.0),
        (face_lever(chain, aims, "ground:b1", "b1", grid, 0.05), 1.0),
        (length_lever(chain, aims, "b2:b3", "b3", grid), 1.0),
        (bond_lever(chain, aims, "b2:b3", (0.05, 0.2), 0.05, 0.02), -1.0),
    ):
        assert balancing_amounts(aims.results, lever.columns) == pytest.approx([sign * over], abs=1e-9)
    # Four contacts, each uncertain by 0.05 mm: their mean by half of that.
    assert face_lever(chain, aims, "b1:b2", "b1", grid, 0.05).spread == pytest.approx([0.025**2])


def test_taking_it_up_in_the_part_to_come_equals_the_closed_form() -> None:
    report = remedies()
    chain, _ = off_by(TOO_LONG_MM)
    over = run_forecast(chain).characteristics[0].predicted - 300.0
    item = next(item for item in report.remedies if item.kind == "change another")
    (step,) = item.steps
    assert step.part == "b3"
    assert "shorter" in step.words
    # To a step: nearer than that nothing is out of limits any more.
    assert step.amounts_mm[0] == pytest.approx(over, abs=0.051)
    assert item.meets
    # Nothing is done by hand, so that no spread is added.
    sanded = next(row for row in report.remedies if row.kind == "sand")
    assert item.worst <= sanded.worst


def test_a_wedge_is_two_amounts_of_one_face() -> None:
    chain, _ = off_by(TOO_LONG_MM)
    aims = aim(chain)
    found = wedge_levers(chain, aims, "b1:b2", "b1", np.array([0.0, 0.1]), 0.05)
    assert len(found) == 2
    for lever in found:
        assert lever.shapes.sum(axis=0) == pytest.approx(np.ones(4))
        assert lever.columns.sum(axis=1) == pytest.approx([-1.0])


def test_the_best_is_never_worse_than_using_it_as_it_is() -> None:
    for off in (0.25, 0.4, 2.5):
        report = remedies(off)
        as_is = next(item for item in report.remedies if item.kind == "as is")
        assert min(item.worst for item in report.remedies) <= as_is.worst + 1e-9


def test_where_one_alone_does_not_suffice_two_are_combined() -> None:
    report = remedies(2.2, length_most_mm=1.0, sand_most_mm=1.0, shim_most_mm=0.5)
    two = [item for item in report.remedies if item.kind == "two together"]
    assert two
    assert all(len(item.steps) == 2 for item in two)
    best_one = min(
        item.worst for item in report.remedies if len(item.steps) < 2 and not item.kind.startswith("reprint")
    )
    assert min(item.worst for item in two) < best_one
    # Where one suffices, none are combined.
    assert not [item for item in remedies(0.6).remedies if item.kind == "two together"]


def test_a_part_within_what_the_assembly_bears_is_used_as_it_is() -> None:
    report = remedies(0.02)
    assert report.at_risk == ()
    assert [item.kind for item in report.remedies] == ["as is"]
    assert report.remedies[0].meets


def test_nothing_is_done_at_a_bonded_joint_and_what_is_bonded_is_lost_with_it() -> None:
    chain, prints = off_by(TOO_LONG_MM)
    bond = Bond(90, "", "b1:b2", ("b1", "b2"), (10, 20), "", "", ())
    report = find_remedies(chain, "b1", prints, Built((), (), (bond,)))
    assert not [item for item in report.remedies for step in item.steps if step.joint == "b1:b2"]
    again = next(item for item in report.remedies if item.kind == "reprint")
    assert "bonded to b2" in again.cautions[0]


def test_a_thin_shell_limits_sanding() -> None:
    made = assembled()
    parts = tuple(dataclasses.replace(part, shell_mm=0.8, infill=0.2) for part in made.project.parts)
    chain, prints = off_by(TOO_LONG_MM, made.replaced(parts=parts))
    report = find_remedies(chain, "b1", prints, NONE)
    deepest = [max(step.amounts_mm) for item in report.remedies for step in item.steps if step.kind == "sand"]
    assert max(deepest) <= 0.4
    assert "half of the shell" in " ".join(report.notes)


def test_what_costs_is_not_known_is_said() -> None:
    chain, prints = off_by(TOO_LONG_MM)
    bare = [dataclasses.replace(item, hours=None, grams=None) for item in prints]
    report = find_remedies(chain, "b1", bare, NONE)
    again = next(item for item in report.remedies if item.kind == "reprint")
    assert again.cost.hours.value is None
    assert again.cost.hours.whence.startswith("not known")
    assert again.cost.grams.is_estimate
    assert not again.cost.is_known


def test_minutes_are_the_users() -> None:
    chain, prints = off_by(TOO_LONG_MM)
    report = find_remedies(chain, "b1", prints, NONE, RemedyOptions(minutes={"sand": 99.0}))
    assert next(item for item in report.remedies if item.kind == "sand").cost.minutes == 99.0


def test_refused() -> None:
    chain, prints = off_by(TOO_LONG_MM)
    with pytest.raises(ReferenceUnknown):
        find_remedies(chain, "b9", prints, NONE)
    with pytest.raises(RemedyRefused, match="steps of"):
        find_remedies(chain, "b1", prints, NONE, RemedyOptions(step_mm=0.0))
    with pytest.raises(RemedyRefused, match="sand_most"):
        find_remedies(chain, "b1", prints, NONE, RemedyOptions(sand_most_mm=-1.0))


def test_a_reading_after_sanding_counts_as_it_would_have_been_before() -> None:
    """A wedge of 0 to 0.4 mm on the top of b1: by how much each length across it is shorter than it was."""
    points = ((0.0, 0.0, 100.0), (80.0, 0.0, 100.0), (80.0, 80.0, 100.0), (0.0, 80.0, 100.0))
    work = FaceWork(70, "b1:b2", "b1", 10, points, (0.0, 0.4, 0.4, 0.0), 0.05)
    for x, depth in ((0.0, 0.0), (40.0, 0.2), (80.0, 0.4)):
        measure = faces_measure((x, 0.0, 0.0), (x, 0.0, 100.0))
        assert taken_off_reading(measure, [work], 71) == pytest.approx(depth, abs=1e-9)
        assert taken_off_reading(measure, [work], 69) == 0.0
    across = faces_measure((0.0, 40.0, 50.0), (80.0, 40.0, 50.0))
    assert taken_off_reading(across, [work], 71) == 0.0


def test_the_ring_closes_by_what_is_shimmed() -> None:
    """On a face of the closing joint a millimetre is a millimetre of the gap, and of nothing else."""
    made = ring(6, machine(repeatability_mm=0.02, skew_xy_deg=0.01))
    chain = dataclasses.replace(made.chain, as_built=as_built_of([]))
    aims = aim(chain)
    closing = face_lever(chain, aims, "j6", "r6", np.array([0.0]), 0.0)
    gap, step, climb = closing.columns[:, 0]
    assert (gap, step, climb) == pytest.approx((1.0, 0.0, 0.0), abs=1e-9)
    over = run_forecast(chain).characteristics[0].predicted - 0.15
    only_gap = dataclasses.replace(aims.results, weight=np.array([1.0, 0.0, 0.0]))
    assert balancing_amounts(only_gap, closing.columns) == pytest.approx([-over], abs=1e-9)
    # By turning the rest of the ring about the face, an even shim at another joint opens it along its normal only.
    other = face_lever(chain, aims, "j1", "r1", np.array([0.0]), 0.0)
    turn = np.radians(60.0)
    assert other.columns[0, 0] == pytest.approx(np.cos(turn), abs=1e-9)
