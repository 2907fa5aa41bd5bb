"""Forecast of 200 parts and 1,000 joints: the bar is 1 s, and 50 ms after a changed machine figure.

Each stage stands beside a general-purpose routine of the same size in the same run: the least squares of
all locating contacts at once, dense and sparse, the matrix product behind the variances, and the plain
normal generator for the draws.
"""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from scipy.sparse import coo_array
from scipy.sparse.linalg import lsqr

from building import grid_project
from dryfit.app.forecast import Chain, build_chain, run_forecast, with_figures
from dryfit.app.whatif import apply_what_if
from dryfit.base.estimate import Estimate

# parts, joints, characteristics
SIZES = {
    "50 parts": ((5, 5, 2), 250, 50),
    "200 parts": ((10, 10, 2), 1000, 200),
    "every gap": ((10, 10, 2), 1000, 1000),
}
DRAWS = 100_000


@pytest.fixture(scope="module", params=SIZES)
def chain(request) -> Chain:
    counts, joints, characteristics = SIZES[request.param]
    project, shapes = grid_project(counts, joints, characteristics)
    assert len(project.joints) <= joints
    assert len(project.parts) == np.prod(counts)
    return build_chain(project, shapes)


def test_build(benchmark, chain):
    benchmark.pedantic(build_chain, args=(chain.project, chain.shapes), rounds=5, warmup_rounds=1)


def test_run(benchmark, chain):
    report = benchmark.pedantic(run_forecast, args=(chain,), rounds=10, warmup_rounds=1)
    assert len(report.characteristics) == len(chain.project.characteristics)


def test_build_and_run(benchmark, chain):
    def forecast():
        return run_forecast(build_chain(chain.project, chain.shapes))

    benchmark.pedantic(forecast, rounds=5, warmup_rounds=1)


def test_again_after_a_changed_figure(benchmark, chain):
    varied = apply_what_if(chain.project, ["m.skew_xy_deg=0.3"])
    before = run_forecast(chain)

    def forecast():
        return run_forecast(with_figures(chain, varied), most_causes=3)

    report = benchmark.pedantic(forecast, rounds=20, warmup_rounds=2)
    assert any(
        old.predicted != new.predicted
        for old, new in zip(before.characteristics, report.characteristics, strict=True)
    )


def test_what_if_applied(benchmark, chain):
    benchmark(apply_what_if, chain.project, ["m.skew_xy_deg=0.3"])


def locating_system(chain: Chain) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """Rows, columns and values of the weighted Jacobian of all locating contacts, and a right-hand side."""
    table, centroids = chain.structure.table, chain.structure.centroids
    rows, columns, values = [], [], []
    locating = np.nonzero(table.is_locating)[0]
    for number, row in enumerate(locating):
        for part, point, sign in (
            (table.first[row], table.p_first[row], -1.0),
            (table.second[row], table.p_second[row], 1.0),
        ):
            if part < 0:
                continue
            arm = np.cross(point - centroids[part], table.direction[row]) / 100.0
            rows += [number] * 6
            columns += range(6 * part, 6 * part + 6)
            values += (sign * np.concatenate([table.direction[row], arm]) / table.play_std_mm[row]).tolist()
    return np.array(rows), np.array(columns), np.array(values), np.linspace(-1.0, 1.0, len(locating))


def test_reference_dense_least_squares(benchmark, chain):
    """numpy.linalg.lstsq on the contacts of all parts together: one linear placing."""
    rows, columns, values, right = locating_system(chain)
    dense = np.zeros((len(right), 6 * len(chain.project.parts)))
    dense[rows, columns] = values
    benchmark.pedantic(np.linalg.lstsq, args=(dense, right), kwargs={"rcond": None}, rounds=2)


def test_reference_sparse_least_squares(benchmark, chain):
    """scipy.sparse.linalg.lsqr on the same system."""
    rows, columns, values, right = locating_system(chain)
    sparse = coo_array((values, (rows, columns)), shape=(len(right), 6 * len(chain.project.parts))).tocsr()
    benchmark.pedantic(lsqr, args=(sparse, right), kwargs={"atol": 1e-12, "btol": 1e-12}, rounds=5)


def test_reference_matrix_product(benchmark, chain):
    """numpy's product of the sensitivities with a matrix of the size of the shared sources."""
    other = np.ones((chain.structure.sensitivity.shape[1], chain.motion.by_figure.shape[1] + 2))
    benchmark(np.matmul, chain.structure.sensitivity, other)


def shaped(chain: Chain) -> Chain:
    """The same with a shrinkage that is not normal, so that every characteristic is drawn."""
    project = chain.project
    material = dataclasses.replace(project.materials[0], shrinkage=Estimate(0.002, 0.0005, "uniform"))
    return with_figures(chain, dataclasses.replace(project, materials=(material,)))


@pytest.mark.parametrize("chain", ["50 parts"], indirect=True)
def test_monte_carlo(benchmark, chain):
    drawn = shaped(chain)
    report = benchmark.pedantic(run_forecast, args=(drawn, None, DRAWS), rounds=3)
    count = sum(item.samples > 0 for item in report.characteristics)
    assert count == len(chain.project.characteristics)
    benchmark.extra_info["draws per second"] = (
        count * DRAWS / benchmark.stats.stats.min if benchmark.stats else None
    )


def test_reference_normal_generator(benchmark):
    """numpy's standard_normal of as many numbers as 50 characteristics draw."""
    generator = np.random.default_rng(1)
    benchmark.pedantic(generator.standard_normal, args=((50, DRAWS),), rounds=3)
    benchmark.extra_info["draws per second"] = (
        50 * DRAWS / benchmark.stats.stats.min if benchmark.stats else None
    )
