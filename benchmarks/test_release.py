"""A release compared with the working state: many finely meshed parts, some or all of them changed."""

from __future__ import annotations

import time
from pathlib import Path

import numpy as np
import pytest
import trimesh
from pieces import write_drum, write_piece

from dryfit.app import releasing
from dryfit.app.changes import compare_states
from dryfit.app.loading import open_project
from dryfit.app.release_files import frozen_files

LIMIT_S = 20.0
PARTS, CELLS = 60, 91  # 12 x 91 x 91: a hundred thousand triangles each


def release_without_checks(folder: Path) -> None:
    """Freeze a project as `dryfit release` does, its hold point left out: that is measured elsewhere."""
    opened = open_project(folder)
    issued = frozenset(part.id for part in opened.project.parts)
    order = releasing.ReleaseOrder(letter="A")
    drawn = releasing._draw_up(opened, issued, frozen_files(opened), order)
    releasing._write(opened, releasing.replace(drawn, forecast={"characteristics": [], "risk": 0.05}))


def by_library(folder: Path, changed: int, count: int) -> float:
    """[s] for the bare work with general-purpose libraries: load all meshes, distances of those that changed."""
    import igl

    started = time.perf_counter()
    for number in range(count):
        new = trimesh.load(folder / "meshes" / f"p{number}.stl", process=False)
        new.merge_vertices()
        if number < changed:
            faces = np.asarray(new.faces, dtype=np.int64)
            points = np.asarray(new.vertices, dtype=np.float64)
            igl.signed_distance(points + 0.001, points, faces)
    return time.perf_counter() - started


@pytest.mark.parametrize(("parts", "cells", "changed"), [(12, 30, 2), (PARTS, CELLS, 6), (12, CELLS, 12)])
def test_a_release_is_compared_with_the_working_state(
    tmp_path: Path, parts: int, cells: int, changed: int
) -> None:
    """Six changed parts of sixty within twenty seconds. The ratio to the libraries' own load is printed."""
    folder = write_drum(tmp_path / "drum", parts, cells)
    release_without_checks(folder)
    for number in range(changed):
        write_piece(folder, number, parts, cells, over_mm=0.3)
    started, worked = time.perf_counter(), time.process_time()
    report = compare_states(folder)
    seconds, work = time.perf_counter() - started, time.process_time() - worked
    library = by_library(folder, changed, parts)
    print(
        f"\n{parts} parts, {changed} changed: {seconds:.1f} s ({work:.1f} s of processor); "
        f"libraries alone {library:.1f} s; "
        f"{seconds / library:.1f} to 1"
    )
    assert len(report.of_kind("changed")) == changed
    if changed < parts:
        assert seconds < LIMIT_S
