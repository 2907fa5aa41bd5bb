"""Bodies that overlap become one."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from dryfit.base.arrays import IntArray
from dryfit.base.topology import tabulate_edges
from dryfit.calc.mend.bodies import Enclosures, are_closed, label_bodies, signed_volumes
from dryfit.calc.mend.record import MendStep, Work

if TYPE_CHECKING:
    from manifold3d import Manifold

_ROUNDING = 1e-9  # share of the volume that the sum and the union may differ by


def unite(work: Work) -> tuple[Work, list[MendStep], list[str]]:
    """The union of all bodies, each less its voids, in double precision.

    A surface that passes through itself within one body is not undone by this. Where a body is open or
    branches, nothing is united, and the reason is returned.
    """
    table = tabulate_edges(work.faces, len(work.vertices))
    count, label = label_bodies(table)
    if not are_closed(table, label, count).all():
        return work, [], ["not united: the surface is open or branches"]
    volume = signed_volumes(work.vertices, work.faces, label, count)
    solids = np.flatnonzero(volume > 0)
    if len(solids) < 2:
        return work, [], []
    bodies = {int(body): _make_body(work, label == body) for body in range(count)}
    refused = [body for body, made in bodies.items() if made is None]
    if refused:
        return work, [], [f"not united: {len(refused)} of {count} bodies are not sound"]
    united = _combine(work, label, bodies, volume, solids)
    if united.status().name != "NoError" or united.is_empty():
        return work, [], [f"not united: {united.status().name}"]
    total, largest = float(volume.sum()), float(volume.max() + volume[volume < 0].sum())
    after = float(united.volume())
    if not largest * (1 - _ROUNDING) <= after <= total * (1 + _ROUNDING) + abs(total) * _ROUNDING:
        return work, [], [f"not united: the union has {after:g} mm3, its bodies {total:g} mm3 together"]
    pieces = len(united.decompose())
    if pieces == count and abs(after - total) <= _ROUNDING * abs(total):
        return work, [], []
    mesh = united.to_mesh64()
    vertices = np.array(mesh.vert_properties, dtype=np.float64)[:, :3]
    faces = np.array(mesh.tri_verts, dtype=np.int64)
    made = Work(vertices, faces, np.full(len(faces), -1, dtype=np.int64))
    return made, [MendStep(f"bodies united to {pieces}", len(solids))], []


def _make_body(work: Work, chosen: Any) -> Manifold | None:
    """One body as a solid, a void as what fills it; None where it is refused."""
    from manifold3d import Manifold, Mesh64

    names, index = np.unique(work.faces[chosen], return_inverse=True)
    faces: IntArray = index.reshape(-1, 3)
    vertices = np.ascontiguousarray(work.vertices[names])
    for turned in (faces, faces[:, ::-1]):
        made = Manifold(Mesh64(vertices, np.ascontiguousarray(turned.astype(np.uint64))))
        if made.status().name != "NoError":
            return None
        if made.volume() > 0:
            return made
    return None


def _combine(work: Work, label: IntArray, bodies: dict[int, Any], volume: Any, solids: IntArray) -> Any:
    """Each void is taken from the smallest solid around it; then all is added."""
    from manifold3d import Manifold, OpType

    rest = {int(body): bodies[int(body)] for body in solids}
    enclosures = Enclosures(work.vertices, work.faces, label, len(volume))
    for void in np.flatnonzero(volume < 0):
        around = enclosures.around(int(void), solids)
        if len(around):
            owner = int(around[np.argmin(volume[around])])
            rest[owner] = rest[owner] - bodies[int(void)]
    return Manifold.batch_boolean(list(rest.values()), OpType.Add)
