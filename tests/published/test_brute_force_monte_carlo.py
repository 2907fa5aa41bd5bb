"""First order against brute force: every draw prints and places the whole assembly anew (JCGM 101:2008, 7).

Each draw takes machine figures, the scatter of every printed point and the play of every contact from their
distributions and places the parts with finite rotations. The standard deviation of n draws is itself known
to 1/sqrt(2 n), which sets the tolerance: four of these.
"""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from building import Assembled, box_frame, by_id, forecast, machine, ring
from dryfit.app.forecast import designed_gaps, read_gauge
from dryfit.app.motion import printed_gains, printed_points
from dryfit.base.arrays import Array
from dryfit.base.estimate import Estimate
from dryfit.calc.placing import place_exactly
from dryfit.model.machine import Machine
from published.registry import check

SOURCE = "JCGM 101:2008, 7, brute force with {} draws"


def drawn(printer: Machine, generator: np.random.Generator) -> Machine:
    figures = {
        name: Estimate(figure.value + figure.std * generator.standard_normal())
        for name, figure in printer.error.figures.items()
    }
    return dataclasses.replace(printer, error=dataclasses.replace(printer.error, figures=figures))


def brute_force(assembled: Assembled, draws: int) -> dict[str, Array]:
    chain = assembled.chain
    structure, table = chain.structure, chain.structure.table
    generator = np.random.default_rng(7)
    scatter = np.array(
        [assembled.project.machine(part.machine).error.repeatability_mm for part in chain.project.parts]
    )
    values = np.empty((draws, len(structure.gauges)))
    for index in range(draws):
        machines = tuple(drawn(printer, generator) for printer in assembled.project.machines)
        project = dataclasses.replace(assembled.project, machines=machines)
        printed = [
            printed_points(project, structure, printed_gains(project, chain.motion), side, nominal)
            + scatter[side.part][:, None] * generator.standard_normal((len(table), 3))
            for side, nominal in ((chain.motion.first, table.p_first), (chain.motion.second, table.p_second))
        ]
        gaps = designed_gaps(structure) + table.play_std_mm * generator.standard_normal(len(table))
        poses = place_exactly(table, structure.placing, structure.centroids, *printed, gaps)
        values[index] = [read_gauge(gauge, poses) for gauge in structure.gauges]
    return {gauge.id: values[:, position] for position, gauge in enumerate(structure.gauges)}


PRINTER = machine(
    repeatability_mm=0.05,
    skew_xy_deg=Estimate(0.05, 0.05),
    skew_xz_deg=Estimate(0.0, 0.05),
    scale_x=Estimate(0.0, 0.001),
    boundary_offset_mm=Estimate(0.0, 0.05),
)
OTHER = machine("n", repeatability_mm=0.08, skew_yz_deg=Estimate(-0.1, 0.06), scale_z=Estimate(0.0, 0.0015))
CASES = {
    "ring of four": (ring(4, PRINTER, play_mm=0.05), 800),
    "box frame": (box_frame((PRINTER, OTHER), ((0.0, 0.0, 0.0), (90.0, 0.0, 0.0), (0.0, 90.0, 30.0))), 400),
}


@pytest.mark.parametrize("name", CASES)
def test_standard_uncertainty(name: str) -> None:
    assembled, count = CASES[name]
    report = by_id(forecast(assembled))
    for id, values in brute_force(assembled, count).items():
        theirs, ours = float(values.std(ddof=1)), report[id].std
        tolerance = 4.0 * theirs / np.sqrt(2.0 * count)
        unit = report[id].unit
        check(SOURCE.format(count), f"std of {id}, {name}", theirs, ours, tolerance, seen=False, unit=unit)
        mean = float(values.mean())
        within = 4.0 * theirs / np.sqrt(count)
        check(
            SOURCE.format(count),
            f"mean of {id}, {name}",
            mean,
            report[id].predicted,
            within,
            seen=False,
            unit=unit,
        )
