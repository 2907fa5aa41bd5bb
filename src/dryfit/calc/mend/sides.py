"""Faces turned so that neighbours agree on the outside, and the outside is outside."""

from __future__ import annotations

import numpy as np

from dryfit.base.arrays import BoolArray, IntArray
from dryfit.base.topology import double_area_vectors, tabulate_edges
from dryfit.calc.mend.bodies import Enclosures, are_closed, connect, label_bodies, signed_volumes
from dryfit.calc.mend.record import MendStep, Work


def agree(work: Work) -> tuple[Work, list[MendStep], list[str]]:
    """Within each body, the faces of the smaller area turn; a one-sided surface stays, and is named."""
    table = tabulate_edges(work.faces, len(work.vertices))
    first, other = table.links
    is_pair = np.repeat(table.counts == 2, np.maximum(table.counts - 1, 0))
    first, other = first[is_pair], other[is_pair]
    is_same_way = table.tails(first) == table.tails(other)
    if not is_same_way.any():
        return work, [], []
    count = len(work.faces)
    # Each face is two nodes, as it is and turned; neighbours are linked as they fit.
    cross = np.where(is_same_way, count, 0)
    f, g = first // 3, other // 3
    groups, label = connect(
        2 * count, np.concatenate([f, f + count]), np.concatenate([g + cross, g + count - cross])
    )
    straight, mirrored = label[:count], label[count:]
    areas = np.linalg.norm(double_area_vectors(work.vertices, work.faces), axis=1)
    weight = np.bincount(straight, areas, groups)
    turned = weight[straight] < weight[mirrored]
    turned |= (weight[straight] == weight[mirrored]) & (straight > mirrored)
    one_sided = straight == mirrored
    turned &= ~one_sided
    steps = []
    if turned.any():
        steps.append(MendStep("faces turned to agree with their neighbours", int(np.count_nonzero(turned))))
    not_done = ["a surface has one side only: no turning of its faces fits"] if one_sided.any() else []
    return _turn(work, turned), steps, not_done


def face_outwards(work: Work) -> tuple[Work, list[MendStep]]:
    """Closed bodies of negative volume turn, but for those that are voids: inside an odd number of others."""
    table = tabulate_edges(work.faces, len(work.vertices))
    count, label = label_bodies(table)
    is_closed = are_closed(table, label, count)
    volume = signed_volumes(work.vertices, work.faces, label, count)
    closed = np.flatnonzero(is_closed)
    suspects = np.flatnonzero(is_closed & (volume < 0))
    if not len(suspects):
        return work, []
    enclosures = Enclosures(work.vertices, work.faces, label, count)
    inward = [int(body) for body in suspects if len(enclosures.around(int(body), closed)) % 2 == 0]
    if not inward:
        return work, []
    turned = np.isin(label, np.array(inward, dtype=np.int64))
    return _turn(work, turned), [MendStep("bodies that were inside out turned", len(inward))]


def _turn(work: Work, turned: BoolArray) -> Work:
    faces: IntArray = np.where(turned[:, None], work.faces[:, [0, 2, 1]], work.faces)
    return Work(work.vertices, faces, work.origin)
