"""The whole examination of a mesh. Nothing is changed; everything found is located."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from dryfit.base.arrays import Array, BoolArray, IntArray
from dryfit.base.equal_rows import first_equal_rows, without_negative_zeros
from dryfit.base.topology import EdgeTable, double_area_vectors, tabulate_edges
from dryfit.calc.health.bodies import body_problems, find_bodies
from dryfit.calc.health.calm import find_calm
from dryfit.calc.health.crossing import find_meetings, meeting_problems
from dryfit.calc.health.edges import edge_problems, orientation_problems, pinched_vertices
from dryfit.calc.health.record import HealthOptions, HealthReport, Problem
from dryfit.calc.health.single import (
    are_degenerate,
    degenerate_problem,
    distance_problem,
    duplicate_problem,
    find_duplicates,
    single_step_mm,
    unused_problem,
)
from dryfit.model.mesh import TriangleMesh

Progress = Callable[[int, int], None]
# Steps of single precision within which two faces that touch may seem to cross: each of the two is rounded
# by half a step in every coordinate, and most files are written in single precision.
_ROUNDING_STEPS = 4.0


def examine(
    mesh: TriangleMesh, progress: Progress | None = None, options: HealthOptions | None = None
) -> HealthReport:
    """Every fault of a mesh, gravest kinds first.

    Vertices that coincide exactly are taken as one, as formats without indices need it. Faces without area
    take part in how edges meet, but not in the search for self-intersections.
    progress : called with (done, of) while self-intersections are searched
    Raises ValueError on coordinates that are not finite and on indices out of range.
    """
    options = options or HealthOptions()
    _check(mesh)
    unused = unused_problem(mesh.vertices, mesh.faces)
    extra = [unused] if unused else []
    if len(mesh.faces) == 0:
        return HealthReport(0, len(mesh.vertices), 0, 0, False, (Problem("empty", 1), *extra))
    first = first_equal_rows(without_negative_zeros(mesh.vertices)).astype(np.int64)
    welded = int(np.count_nonzero(first != np.arange(len(first))))
    faces = first[mesh.faces] if welded else mesh.faces
    normals = double_area_vectors(mesh.vertices, faces)
    is_degenerate = are_degenerate(mesh.vertices, faces, normals)
    table = tabulate_edges(faces, len(mesh.vertices))
    found, bodies, is_duplicate = _examine_structure(mesh.vertices, table, normals, is_degenerate, options)
    is_closed = _is_closed(table)
    is_chosen = ~is_degenerate & ~is_duplicate
    is_calm = find_calm(mesh.vertices, table, is_chosen) if len(faces) <= options.most_triangles else None
    del normals, table
    meetings, not_checked = _examine_meetings(
        mesh.vertices, faces, np.flatnonzero(is_chosen), is_calm, options, progress
    )
    problems = sorted([*found, *meetings, *extra], key=lambda problem: _ORDER.index(problem.kind))
    return HealthReport(
        len(mesh.faces), len(mesh.vertices), welded, bodies, is_closed, tuple(problems), not_checked
    )


_ORDER = (
    *("empty", "self-intersection", "hole", "crack", "non-manifold edge", "orientation", "one-sided"),
    *("inside out", "duplicate faces", "nested body", "stray shell", "several bodies", "internal void"),
    *("non-manifold vertex", "touching", "degenerate faces", "far from origin", "unused vertices"),
)


def _check(mesh: TriangleMesh) -> None:
    if not np.isfinite(mesh.vertices).all():
        raise ValueError("coordinates are not finite")
    if len(mesh.faces) and (mesh.faces.min() < 0 or mesh.faces.max() >= len(mesh.vertices)):
        raise ValueError("a face names a vertex that is not there")


def _examine_structure(
    vertices: Array, table: EdgeTable, normals: Array, is_degenerate: BoolArray, options: HealthOptions
) -> tuple[list[Problem], int, BoolArray]:
    """All but the meetings of faces: problems, number of bodies, which faces are repeated."""
    faces = table.faces
    areas = np.linalg.norm(normals, axis=1) / 2.0
    is_duplicate = find_duplicates(faces)
    bodies = find_bodies(vertices, table, normals)
    twists, is_twisted = orientation_problems(vertices, table, areas, bodies.label)
    singles = (
        pinched_vertices(vertices, table),
        degenerate_problem(vertices, faces, is_degenerate),
        duplicate_problem(vertices, faces, is_duplicate, areas),
        distance_problem(vertices, faces, options),
    )
    problems = [*edge_problems(vertices, table, options), *twists]
    problems += body_problems(vertices, faces, bodies, is_twisted, options)
    problems += [problem for problem in singles if problem is not None]
    return problems, bodies.count, is_duplicate


def _is_closed(table: EdgeTable) -> bool:
    return len(table.starts) > 0 and bool((table.counts % 2 == 0).all())


def _examine_meetings(
    vertices: Array,
    faces: IntArray,
    chosen: IntArray,
    is_calm: BoolArray | None,
    options: HealthOptions,
    progress: Progress | None,
) -> tuple[list[Problem], tuple[str, ...]]:
    if len(chosen) > options.most_triangles:
        reason = f"self-intersections: {len(chosen)} faces are more than the {options.most_triangles} that are searched"
        return [], (reason,)
    meetings = find_meetings(vertices, faces, chosen, options, progress, is_calm)
    problems = meeting_problems(faces, meetings, _ROUNDING_STEPS * single_step_mm(vertices))
    return problems, (meetings.stopped,) if meetings.stopped else ()
