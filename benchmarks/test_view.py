"""The three-dimensional view and the workbench: 60 parts of 100,000 triangles, and the demonstration.

Beside the copies stands the bare decimation of the same mesh by its library, in the same run. The browser's
figures hold for drawing in software, which is the slowest case there is.
"""

from __future__ import annotations

import statistics
import sys
import time
from pathlib import Path

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parent))
from workbench import (
    CHROMIUM,
    COUNTS,
    DRAG,
    EVERY,
    FIRST,
    PARTS,
    USEFUL,
    longest_pauses,
    peak_mb,
    seconds_until,
    serving,
    watching_page,
    wavy_box,
    write_large_project,
)

from building import SIDE_MM, grid_project
from dryfit.app.demo import write_demo
from dryfit.app.forecast import build_chain, run_forecast
from dryfit.app.live import LiveProject, try_what_if
from dryfit.app.view_meshes import VIEW_BUDGET, make_copy, pack, packed_copy, share_budget, view_placing
from dryfit.model.mesh import TriangleMesh

WHAT_IF_S = 0.1  # while a slider moves
needs_chromium = pytest.mark.skipif(CHROMIUM is None, reason="no chromium is installed")


@pytest.fixture(scope="module")
def mesh() -> TriangleMesh:
    made = wavy_box(np.zeros(3), SIDE_MM)
    assert len(made.faces) > 100_000
    return made


@pytest.fixture(scope="module")
def large(tmp_path_factory):
    return write_large_project(tmp_path_factory.mktemp("large") / "grid")


def test_one_copy_and_its_bytes(benchmark, mesh):
    target = VIEW_BUDGET // PARTS
    content = benchmark.pedantic(
        packed_copy, args=(mesh.vertices, mesh.faces, target), rounds=5, warmup_rounds=1
    )
    benchmark.extra_info["bytes of a copy"] = len(content)
    benchmark.extra_info["megabytes of 60"] = round(PARTS * len(content) / 1e6, 1)
    assert len(content) < 1_200_000


def test_reference_decimation_alone(benchmark, mesh):
    """fast_simplification on the same mesh, to the same number of triangles."""
    from fast_simplification import simplify

    points, faces = mesh.vertices.astype(np.float32), mesh.faces.astype(np.int32)
    benchmark.pedantic(
        simplify, args=(points, faces), kwargs={"target_count": VIEW_BUDGET // PARTS}, rounds=5
    )


def test_packing_alone(benchmark, mesh):
    copy = make_copy(mesh.vertices, mesh.faces, VIEW_BUDGET // PARTS)
    benchmark(pack, copy)


def test_shares_of_60_parts(benchmark):
    benchmark(share_budget, {str(k): 101_568 for k in range(PARTS)}, VIEW_BUDGET)


def test_places_of_60_parts(benchmark):
    """What a what-if sends to the view: matrices and joints."""
    project, shapes = grid_project(COUNTS, 200, 40)
    chain = build_chain(project, shapes)
    report = run_forecast(chain)
    benchmark.pedantic(view_placing, args=(chain, report), rounds=20, warmup_rounds=1)


@pytest.fixture(scope="module")
def opened(large):
    return LiveProject(large).load(record=False)


@pytest.mark.parametrize(
    "change",
    ["m.skew_xz_deg={}", "p0-0-0.bed=0,0,{}", "p0-0-0:p0-0-1.bond_line_mm={}"],
    ids=["machine figure", "orientation", "bond line"],
)
def test_a_what_if_at_60_parts(benchmark, opened, change):
    """Each time another value, as from a moving slider."""
    values = iter(np.linspace(0.01, 0.09, 40))
    benchmark.pedantic(
        try_what_if, setup=lambda: ((opened, [change.format(next(values))]), {}), rounds=20, warmup_rounds=2
    )
    if benchmark.stats is not None:
        assert benchmark.stats.stats.median < WHAT_IF_S


@needs_chromium
@pytest.mark.parametrize("which", ["demonstration", "60 parts"])
def test_the_workbench_in_a_browser(benchmark, which, request, tmp_path):
    """Server's start, first useful page, all parts shown; what the page did not answer; memory of the server."""
    if which == "60 parts":
        folder = request.getfixturevalue("large")
    else:
        folder = tmp_path / "demo"
        write_demo(folder, "observatory")
    seen = benchmark.pedantic(_visit, args=(folder,), rounds=1)
    benchmark.extra_info.update(seen)
    assert seen["triangles shown"] <= VIEW_BUDGET
    assert seen["longest pause until all are shown, s"]["timer"] < 3.0


def _visit(folder: Path) -> dict[str, object]:
    begun = time.perf_counter()
    with serving(folder) as (address, server, said), watching_page() as page:
        page.goto(address + "/", wait_until="commit")
        first_page = seconds_until(page, USEFUL, begun)
        loaded = peak_mb(server)
        start = time.perf_counter()
        page.goto(address + "/parts", wait_until="commit")
        again = seconds_until(page, USEFUL, start)
        first = seconds_until(page, FIRST, start)
        every = seconds_until(page, EVERY, start)
        pauses = longest_pauses(page)
        counts = page.evaluate("() => document.querySelector('.model-view').drawing.counts()")
        start = time.perf_counter()
        page.reload(wait_until="commit")
        cached = seconds_until(page, EVERY, start)
        memory = peak_mb(server)
        page.goto(address + "/fit", wait_until="commit")
        seconds_until(page, EVERY, start)
        seconds_until(page, "() => document.querySelector('input[data-lever]') !== null", start)
        followed = statistics.median(page.evaluate(DRAG))
    return {
        "address printed, s": round(said, 2),
        "first useful page from the server's start, s": round(first_page, 2),
        "page once the project is open, s": round(again, 2),
        "first part shown, s": round(first, 2),
        "all parts shown, s": round(every, 2),
        "all parts shown again, s": round(cached, 2),
        "longest pause until all are shown, s": pauses,
        "triangles shown": counts["shown"],
        "triangles exact": counts["exact"],
        "lighter by level": counts["level"],
        "what-if, from the slider to the figure, ms": round(followed),
        "peak memory once open, MB": loaded,
        "peak memory in all, MB": memory,
    }
