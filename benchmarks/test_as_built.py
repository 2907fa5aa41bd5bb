"""Conditioning 200 printed parts on 2,000 readings: the bar is 2 s, with the forecast that follows.

Beside it, in the same run: the same update by a general-purpose solver, in the space of readings (one symmetric
positive system, solved densely for innovations and lines together).
"""

from __future__ import annotations

import time

import numpy as np
import pytest
from scipy.linalg import solve

from building import grid_project
from dryfit.app.as_built import AsBuiltParts, PartReading, PrintRead
from dryfit.app.forecast import Chain, build_chain, learn_chain, run_forecast
from dryfit.calc.chain import Rows
from dryfit.model.artefact import Measure
from dryfit.model.instrument import Instrument
from dryfit.model.printing import Print
from dryfit.model.reading import Reading

SIZES = {
    "50 parts, 500 readings": ((5, 5, 2), 250, 50),
    "200 parts, 2,000 readings": ((10, 10, 2), 1000, 200),
}
READINGS_EACH = 10
CALIPER = Instrument("c", "caliper", 300.0, 0.01, 0.03, repeatability_mm=0.02, repeatability_from="stated")


def _prints(chain: Chain) -> AsBuiltParts:
    """Ten lengths of each part, between contact points of its joints; values by chance about the modelled ones."""
    chance = np.random.default_rng(4)
    table = chain.structure.table
    prints = []
    record = 1000
    for index, part in enumerate(chain.project.parts):
        made = Print(index + 1, "", part.id, part.machine, part.material, part.bed, "good", "", "")
        points = np.vstack([table.p_first[table.first == index], table.p_second[table.second == index]])
        readings: list[PartReading] = []
        while len(readings) < READINGS_EACH:
            one, other = points[chance.choice(len(points), 2, replace=False)]
            length = float(np.linalg.norm(other - one))
            if length < 1.0:
                continue
            record += 1
            measure = Measure(1, f"m{record}", "diagonal", "points", tuple(one), tuple(other))
            value = length + 0.05 * float(chance.standard_normal())
            reading = Reading(
                record, "", part.machine, made.record, "m", value, "c", 20.0, part=part.id, ends=measure
            )
            readings.append(PartReading(reading, measure, CALIPER))
        prints.append(PrintRead(made, tuple(readings), True))
    return AsBuiltParts((), tuple(prints), figures=chain.project.machines)


@pytest.fixture(scope="module", params=SIZES)
def chain(request) -> Chain:
    counts, joints, characteristics = SIZES[request.param]
    project, shapes = grid_project(counts, joints, characteristics)
    plain = build_chain(project, shapes)
    return build_chain(project, shapes, _prints(plain))


def test_condition(benchmark, chain):
    known = benchmark.pedantic(learn_chain, args=(chain,), rounds=3, warmup_rounds=1)
    assert len(known.readings) == READINGS_EACH * len(chain.project.parts)


def test_condition_and_forecast(benchmark, chain):
    """With the prior beside it and the search for readings that contradict the others."""
    benchmark.pedantic(run_forecast, args=(chain,), rounds=3, warmup_rounds=1)


def test_the_bar_of_two_seconds(chain):
    learn_chain(chain)
    start = time.process_time()
    learn_chain(chain)
    assert time.process_time() - start < 2.0


def test_general_purpose_solver(benchmark, chain):
    known = learn_chain(chain)
    design: Rows = known.update.design
    dense = np.hstack([design.shared, design.own.toarray()])
    right = np.hstack(
        [known.update.innovation[:, None], np.random.default_rng(1).normal(size=(len(dense), 200))]
    )

    def solved():
        return solve(dense @ dense.T, right, assume_a="pos")

    answer = benchmark.pedantic(solved, rounds=3, warmup_rounds=1)
    np.testing.assert_allclose(answer[:, 0], known.update.weighted, atol=1e-6 * np.abs(answer[:, 0]).max())
