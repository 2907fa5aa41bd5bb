"""Mending: a repaired copy, with every step counted. Only what was asked for, and what moves nothing."""

from __future__ import annotations

import numpy as np

from dryfit.base.arrays import IntArray
from dryfit.base.topology import tabulate_edges
from dryfit.calc.mend.bodies import are_closed, label_bodies, signed_volumes
from dryfit.calc.mend.clean import drop_degenerate, drop_duplicates, drop_shells, drop_unused, weld
from dryfit.calc.mend.holes import fill_holes
from dryfit.calc.mend.moved import measure_moved
from dryfit.calc.mend.record import Mended, MendOptions, MendStep, Work
from dryfit.calc.mend.sides import agree, face_outwards
from dryfit.calc.mend.unite import unite
from dryfit.model.mesh import TriangleMesh


def mend_mesh(mesh: TriangleMesh, options: MendOptions | None = None) -> Mended:
    """A mended copy of a mesh with at least one face.

    Always: equal vertices become one, faces without area and faces that are there twice go, neighbours agree on
    the outside and closed bodies face outwards. As asked: near vertices on open edges are welded, holes filled,
    small bodies left out, overlapping bodies united.
    Raises ValueError for a mesh without faces, and where nothing would be left.
    """
    options = options or MendOptions()
    if not len(mesh.faces):
        raise ValueError("a mesh without faces cannot be mended")
    start = Work(mesh.vertices, mesh.faces, np.arange(len(mesh.faces), dtype=np.int64))
    work, steps, not_done, filled, kept = _repair(start, options)
    if not len(work.faces):
        raise ValueError("nothing would be left of the mesh")
    is_united = bool((work.origin < 0).all())
    _, dropped = drop_unused(start)
    if dropped:
        steps.append(MendStep("vertices that no face named left out", dropped))
    work, _ = drop_unused(work)
    moved = measure_moved((mesh.vertices, mesh.faces[kept]), (work.vertices, work.faces), is_united)
    before, after = _closed_volume(start), _closed_volume(work)
    change = None if before is None or after is None else after - before
    result = TriangleMesh(work.vertices, work.faces, mesh.name)
    return Mended(result, tuple(steps), tuple(not_done), moved, change, filled)


def _repair(work: Work, options: MendOptions) -> tuple[Work, list[MendStep], list[str], float, IntArray]:
    """The work, steps, what was not done, area filled, and the faces of the original that were meant to stay."""
    steps: list[MendStep] = []
    not_done: list[str] = []
    filled = 0.0
    work, done = weld(work, options.weld_mm)
    steps += done
    work, done = drop_degenerate(work)
    steps += done
    work, done = drop_duplicates(work)
    steps += done
    if options.drop_shells_below > 0 and len(work.faces):
        work, done = drop_shells(work, options.drop_shells_below)
        steps += done
    if not len(work.faces):
        return work, steps, not_done, filled, work.origin
    work, done, failed = agree(work)
    steps, not_done = steps + done, not_done + failed
    if options.fill_holes_up_to_mm > 0:
        work, done, failed, filled = fill_holes(work, options.fill_holes_up_to_mm)
        steps, not_done = steps + done, not_done + failed
    work, done = face_outwards(work)
    steps += done
    kept = np.unique(work.origin[work.origin >= 0])
    if options.unite:
        work, done, failed = unite(work)
        steps, not_done = steps + done, not_done + failed
    return work, steps, not_done, filled, kept


def _closed_volume(work: Work) -> float | None:
    """Enclosed volume [mm3]; None where the surface is not closed."""
    faces: IntArray = work.faces
    table = tabulate_edges(faces, len(work.vertices))
    count, label = label_bodies(table)
    is_whole = (faces[:, 0] != faces[:, 1]) & (faces[:, 1] != faces[:, 2]) & (faces[:, 2] != faces[:, 0])
    if not are_closed(table, label, count).all() or not is_whole.any():
        return None
    return float(signed_volumes(work.vertices, faces, label, count).sum())
