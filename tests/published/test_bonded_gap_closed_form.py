"""Gaps measured at a bonded joint against Gaussian conditioning worked by hand on a tower of two blocks.

The height of the top is 300 + 300 s + g1 + g2 + the means of the scatter of the contacts; the gap at one of four
contacts is g2 plus a quarter of the twist of the two faces; a length of the lower block shares one scatter with that
twist. So a reading, a gap and the height hang together, and the conditional normal distribution of three quantities
tells what the height must be.
"""

from __future__ import annotations

import dataclasses
import itertools

import numpy as np
import pytest

from building import machine
from building.tower import tower
from dryfit.app.as_built import AsBuiltParts
from dryfit.app.forecast import chain_state, learn_chain, place_chain, run_forecast, worked_of
from dryfit.app.gaps import expected_gaps
from dryfit.base.estimate import Estimate
from dryfit.model.characteristic import Characteristic
from dryfit.model.handwork import FaceWork, GapReading
from published.registry import check
from support.printed_parts import FINE, as_built_of, points_measure, print_of, reading_of

SOURCE = (
    "Conditional normal distribution, closed form by hand (Rasmussen and Williams 2006, A.2, from memory)"
)
SCALE_STD, BOND_STD, SIGMA, HAND, FEELER = 4e-4, 0.05, 0.04, 0.02, 0.015
TOP = Characteristic(
    "top",
    "height",
    parts=("b2",),
    points_mm=np.array([[40.0, 40.0, 300.0]]),
    direction=np.array([0.0, 0.0, 1.0]),
    lower=299.9,
    upper=300.6,
)
PRINTER = machine(repeatability_mm=SIGMA, scale_z=Estimate(0.0, SCALE_STD))
ASSEMBLED = tower(PRINTER, (TOP,), bond_line_mm=Estimate(0.1, BOND_STD))
MEAN_GAP, ONE_GAP = 0.19, 0.21
LENGTH = 100.09


def by_hand(measured: str, with_reading: bool) -> tuple[float, float]:
    """Mean and std of the height: rows over s, g1, g2, and the scatter of 4 + 4 + 4 + 1 points."""
    height = np.array([300.0, 1, 1, *[-0.25] * 4, *[0.25] * 4, *[-0.25] * 4, 1.0])
    length = np.array([100.0, 0, 0, -1, 0, 0, 0, 1, 0, 0, 0, 0, 0, 0, 0, 0.0])
    twist = 0.25 * np.array([1.0, -1, 1, -1])
    gap = np.array(
        [
            0.0,
            0,
            1,
            *[0.0] * 4,
            *([0.0] * 4 if measured == "mean" else -twist),
            *([0.0] * 4 if measured == "mean" else twist),
            0.0,
        ]
    )
    std = np.array([SCALE_STD, BOND_STD, BOND_STD, *[SIGMA] * 13])
    rows, noise, off = [gap], [FEELER], [(MEAN_GAP if measured == "mean" else ONE_GAP) - 0.1]
    if with_reading:
        rows, noise, off = [*rows, length], [*noise, HAND], [*off, LENGTH - 100.0]
    design = np.array(rows) * std
    total = design @ design.T + np.diag(np.square(noise))
    crossed = (height * std) @ design.T
    gain = np.linalg.solve(total, crossed)
    variance = ((height * std) ** 2).sum() - gain @ crossed
    return 300.2 + float(gain @ np.array(off)), float(np.sqrt(variance))


def as_built(measured: str, with_reading: bool, **more: object) -> AsBuiltParts:
    project = ASSEMBLED.project
    item = print_of(project, "b1", 7)
    low, high = (0.0, 0.0, 0.0), (0.0, 0.0, 100.0)
    readings = [reading_of(project, item, points_measure(low, high), LENGTH, 8, FINE)] if with_reading else []
    gap = (
        GapReading("b1:b2", 0, MEAN_GAP, FEELER)
        if measured == "mean"
        else GapReading("b1:b2", 1, ONE_GAP, FEELER)
    )
    return dataclasses.replace(as_built_of([(item, readings, True)]), gaps=(gap,), **more)


@pytest.mark.parametrize(
    ("measured", "with_reading"), [(gap, read) for gap in ("mean", "one") for read in (False, True)]
)
def test_height_after_a_measured_gap(measured: str, with_reading: bool) -> None:
    chain = dataclasses.replace(ASSEMBLED.chain, as_built=as_built(measured, with_reading))
    (top,) = run_forecast(chain).characteristics
    mean, std = by_hand(measured, with_reading)
    of = f"gap {measured}{', and a length read' if with_reading else ''}"
    check(SOURCE, f"height of a tower, {of}", mean, top.predicted, 1e-4, seen=False, unit="mm")
    check(SOURCE, f"its standard uncertainty, {of}", std, top.std, 1e-5, seen=False, unit="mm")
    assert sum(cause.variance_share for cause in top.contributions) == pytest.approx(1.0, abs=1e-9)
    assert abs(top.linear_minus_exact) < 1e-4


def test_gap_that_is_expected() -> None:
    """Before it is measured: the bond line, and a quarter of the twist of eight scattered points."""
    chain = dataclasses.replace(ASSEMBLED.chain, as_built=as_built_of([]))
    known = learn_chain(chain)
    mean, std = expected_gaps(chain_state(chain), worked_of(chain), place_chain(chain, known), (), "b1:b2")
    theirs = np.sqrt(BOND_STD**2 + 8 * (SIGMA / 4) ** 2)
    check(
        SOURCE, "std of the gap at one of four contacts", theirs, float(std[0]), 1e-9, seen=False, unit="mm"
    )
    assert mean == pytest.approx(np.full(4, 0.1), abs=1e-9)
    # A gap measured at one contact tells of the others.
    seen = (GapReading("b1:b2", 1, 0.21, FEELER),)
    after, left = expected_gaps(
        chain_state(chain), worked_of(chain), place_chain(chain, known), seen, "b1:b2"
    )
    twist = 8 * (SIGMA / 4) ** 2
    across = (BOND_STD**2 - twist) / (BOND_STD**2 + twist + FEELER**2)
    check(
        SOURCE,
        "gap expected at the next contact",
        0.1 + 0.11 * across,
        float(after[1]),
        1e-9,
        seen=False,
        unit="mm",
    )
    assert (left < std).all()


def test_sanded_face() -> None:
    """A face sanded by 0.2 mm, uncertain by 0.05 mm at each of four contacts, lowers the top by their mean."""
    structure = ASSEMBLED.chain.structure
    rows = np.nonzero((structure.table.joint == 1) & structure.table.is_face)[0]
    points = tuple((float(x), float(y), float(z)) for x, y, z in structure.table.p_second[rows])
    work = FaceWork(1, "b1:b2", "b2", 7, points, (0.2,) * 4, 0.05)
    before = run_forecast(ASSEMBLED.chain).characteristics[0]
    chain = dataclasses.replace(ASSEMBLED.chain, as_built=AsBuiltParts((), (), works=(work,)))
    after = run_forecast(chain).characteristics[0]
    check(
        SOURCE,
        "height after sanding 0.2 mm",
        before.predicted - 0.2,
        after.predicted,
        1e-9,
        seen=False,
        unit="mm",
    )
    theirs = float(np.sqrt(before.std**2 + 0.05**2 / 4))
    check(SOURCE, "its standard uncertainty", theirs, after.std, 1e-9, seen=False, unit="mm")


def test_order_of_gaps_and_works_does_not_matter() -> None:
    gaps = tuple(GapReading("b1:b2", number, 0.1 + 0.02 * number, 0.02) for number in (1, 2, 3))
    heights = set()
    for some in itertools.permutations(gaps):
        chain = dataclasses.replace(ASSEMBLED.chain, as_built=AsBuiltParts((), (), gaps=some))
        top = run_forecast(chain).characteristics[0]
        heights.add((round(top.predicted, 9), round(top.std, 9)))
    assert len(heights) == 1


@pytest.mark.parametrize("contact", [0, 1])
def test_play_of_the_measured_joint(contact: int) -> None:
    """Seating play p at four contacts: the mean gap takes p / 2, one contact p sqrt(3) / 2; both share p^2 / 4."""
    play = 0.04
    joints = tuple(
        dataclasses.replace(joint, contact_play_mm=Estimate(0.0, play)) for joint in ASSEMBLED.project.joints
    )
    made = ASSEMBLED.replaced(joints=joints)
    before = run_forecast(made.chain).characteristics[0]
    gaps = (GapReading("b1:b2", contact, 0.19, FEELER),)
    (top,) = run_forecast(
        dataclasses.replace(made.chain, as_built=AsBuiltParts((), (), gaps=gaps))
    ).characteristics
    shared = BOND_STD**2 + play**2 / 4
    gap = shared if contact == 0 else BOND_STD**2 + 0.75 * play**2 + 8 * (SIGMA / 4) ** 2
    gain = shared / (gap + FEELER**2)
    of = "the mean gap" if contact == 0 else "the gap at one contact"
    check(
        SOURCE,
        f"height with play, {of} measured",
        before.predicted + 0.09 * gain,
        top.predicted,
        1e-6,
        seen=False,
        unit="mm",
    )
    theirs = float(np.sqrt(before.std**2 - gain * shared))
    check(SOURCE, f"its standard uncertainty, {of} measured", theirs, top.std, 1e-9, seen=False, unit="mm")
    assert sum(cause.variance_share for cause in top.contributions) == pytest.approx(1.0, abs=1e-9)
