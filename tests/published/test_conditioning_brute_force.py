"""Conditioning on readings of printed parts against brute force: draws that do not show what was read are rejected.

Each draw prints two segments of a ring with machine figures, shrinkage, scatter of every printed point and an
instrument out of their distributions, takes the readings off the printed points as distances, and is kept with the
likelihood that the hand makes of them what was read. The mean and the standard deviation of what is kept are known to
std/sqrt(n) and std/sqrt(2n): four of these are the tolerance.
"""

from __future__ import annotations

import dataclasses

import numpy as np

from building import Assembled, machine, ring
from building.project import material
from dryfit.app.forecast import learn_chain
from dryfit.app.looking_ahead import look_ahead
from dryfit.base.arrays import Array
from dryfit.base.estimate import Estimate
from dryfit.calc.errormodel import machine_gain
from dryfit.model.instrument import Instrument
from dryfit.model.machine import FIGURES
from published.registry import check
from support.printed_parts import (
    as_built_of,
    chain_as_built,
    forecast_as_built,
    points_measure,
    print_of,
    reading_of,
    without_readings,
)

DRAWS = 80_000
SOURCE = "JCGM 101:2008, 7, by rejection of draws that do not show the readings"
HAND_MM, ZERO_MM = 0.08, 0.06
CALIPER = Instrument(
    "c",
    "caliper",
    2000.0,
    0.0,
    ZERO_MM * np.sqrt(3.0),
    repeatability_mm=HAND_MM,
    repeatability_from="stated",
)
PRINTER = machine(
    repeatability_mm=0.05,
    skew_xy_deg=Estimate(0.05, 0.015),
    scale_x=Estimate(0.0, 0.0003),
    scale_y=Estimate(0.0001, 0.0002),
    boundary_offset_mm=Estimate(0.0, 0.05),
)


def _assembled() -> Assembled:
    made = ring(4, PRINTER)
    return made.replaced(materials=(material(shrinkage=Estimate(0.001, 0.0002)),))


def test_readings_of_two_prints() -> None:
    assembled = _assembled()
    project = assembled.project
    chain = assembled.chain
    structure, table = chain.structure, chain.structure.table
    # Of r2 the chord between two face contacts, read twice; of r3, which is printed as well, another: so far off
    # what is expected, about one standard deviation.
    ends = {"r2": _ends(table, 1), "r3": _ends(table, 2)}
    off = {"r2": (0.12, 0.16), "r3": (-0.10,)}
    expected_mm = _expected(assembled, ends, off)
    as_built = _printed(project, ends, off, expected_mm)
    known = learn_chain(chain_as_built(assembled, as_built))
    assert known is not None

    drawn, shown = _draw(assembled, ends)
    observed = np.array([reading.reading.value_mm for reading in as_built.readings])
    likelihood = np.exp(-0.5 * (((shown - observed) / HAND_MM) ** 2).sum(axis=1))
    kept = np.random.default_rng(5).uniform(size=DRAWS) < likelihood
    count = int(kept.sum())
    assert count > 2000
    nominal = _nominal(structure)
    expected = nominal + known.causes.matrix @ known.causes.sources.shift
    std = np.sqrt(known.causes.matrix**2 @ known.causes.sources.std**2 + known.causes.spread.sum(axis=1))
    before = forecast_as_built(assembled, as_built_of([]))
    for line, gauge in enumerate(structure.gauges):
        theirs = drawn[kept, line]
        of = f"{gauge.id} of the ring"
        spread = float(theirs.std(ddof=1))
        check(
            SOURCE,
            f"mean, {of}",
            theirs.mean(),
            expected[line],
            4 * spread / np.sqrt(count),
            seen=False,
            unit="mm",
        )
        check(SOURCE, f"std, {of}", spread, std[line], 4 * spread / np.sqrt(2 * count), seen=False, unit="mm")
        assert std[line] < before.characteristics[line].std


def _expected(assembled, ends, off):
    """What each reading should show, by the prediction that the brute force then holds to account."""
    nothing = _printed(assembled.project, ends, off, np.zeros(3))
    asked = {
        item.print.record: [
            dataclasses.replace(r, reading=dataclasses.replace(r.reading, record=0)) for r in item.readings
        ]
        for item in nothing.prints
    }
    ahead = look_ahead(chain_as_built(assembled, without_readings(nothing)), asked)
    return ahead.shown_mm


def _printed(project, ends, off, expected_mm):
    prints = []
    number = 0
    for place, name in enumerate(off):
        item = print_of(project, name, 100 + place)
        (_, first, first_out), (_, second, second_out) = ends[name]
        measure = points_measure(first, second, first_out, second_out)
        readings = []
        for departure in off[name]:
            readings.append(
                reading_of(
                    project, item, measure, float(expected_mm[number] + departure), number + 1, CALIPER
                )
            )
            number += 1
        prints.append((item, readings, True))
    return as_built_of(prints)


def _ends(table: object, part: int) -> list[tuple[int, Array, Array]]:
    """A face contact of each of the two joints of a part: row, point, outward normal."""
    found = []
    for row in range(len(table)):  # type: ignore[arg-type]
        if not table.is_face[row] or table.joint[row] in [table.joint[other] for other, *_ in found]:  # type: ignore[attr-defined]
            continue
        if table.first[row] == part:  # type: ignore[attr-defined]
            found.append((row, table.p_first[row], table.n_first[row]))  # type: ignore[attr-defined]
        elif table.second[row] == part:  # type: ignore[attr-defined]
            found.append((row, table.p_second[row], table.n_second[row]))  # type: ignore[attr-defined]
    return found


def _nominal(structure: object) -> Array:
    return np.array([gauge.nominal for gauge in structure.gauges])  # type: ignore[attr-defined]


def _draw(assembled: Assembled, ends: dict[str, list[tuple[int, Array, Array]]]) -> tuple[Array, Array]:
    """Lines (DRAWS, q) to first order, by the offsets of printed points, and displayed readings (DRAWS, 3)
    before the hand wavers."""
    chain = assembled.chain
    structure, table, motion = chain.structure, chain.structure.table, chain.motion
    chance = np.random.default_rng(11)
    model = PRINTER.error
    figures = np.array([model.figures[name].value for name in FIGURES])
    spread = np.array([model.figures[name].std for name in FIGURES])
    shrinkage = assembled.project.materials[0].shrinkage
    drawn = figures + spread * chance.standard_normal((DRAWS, len(FIGURES)))
    strain = shrinkage.value + shrinkage.std * chance.standard_normal(DRAWS)
    lines = np.zeros((DRAWS, len(structure.sensitivity)))
    at = {}
    sigma = model.repeatability_mm
    matters = np.abs(structure.sensitivity).max(axis=0) > 1e-12
    gain = _gains(drawn, strain)
    for row in np.nonzero(matters)[0]:
        direction = table.direction[row]
        for sign, side, point, parts in (
            (-1.0, motion.first, table.p_first, table.first),
            (1.0, motion.second, table.p_second, table.second),
        ):
            part = int(parts[row])
            scatter = sigma * chance.standard_normal((DRAWS, 3))
            turn = motion.to_machine[part]
            arm = point[row] - structure.centroids[part]
            moved = np.einsum("ji,njk,k->ni", turn, gain, turn @ arm) - arm
            moved += drawn[:, 6:7] * side.offset[row] + scatter
            lines += np.outer(moved @ direction, sign * structure.sensitivity[:, row])
            at[(int(row), part)] = point[row] + moved
    shown = []
    zero = CALIPER.mpe_mm / np.sqrt(3.0) * chance.standard_normal(DRAWS)
    names = [part.id for part in assembled.project.parts]
    for name, repeats in (("r2", 2), ("r3", 1)):
        (one, *_), (two, *_) = ends[name]
        part = names.index(name)
        length = np.linalg.norm(at[(two, part)] - at[(one, part)], axis=1)
        shown += [length + zero] * repeats
    # the closing gap is the separation less its modelled value, which is nothing
    return lines, np.array(shown).T


def _gains(drawn: Array, strain: Array) -> Array:
    """(DRAWS, 3, 3) in machine axes, with exact tangents."""
    gain = np.array([machine_gain(row[:6]) for row in drawn[:1]]).repeat(len(drawn), axis=0)
    gain[:, 0, 0], gain[:, 1, 1] = 1.0 + drawn[:, 0], 1.0 + drawn[:, 1]
    gain[:, 0, 1] = np.tan(np.radians(drawn[:, 3]))
    whole: Array = (1.0 - strain)[:, None, None] * gain
    return whole
