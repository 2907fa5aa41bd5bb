"""Faces and vertices that say nothing: equal vertices, faces without area, faces there twice."""

from __future__ import annotations

import numpy as np

from dryfit.base.arrays import Array, BoolArray, IntArray
from dryfit.base.equal_rows import first_equal_rows, without_negative_zeros
from dryfit.base.topology import double_area_vectors, tabulate_edges
from dryfit.calc.mend.bodies import label_bodies
from dryfit.calc.mend.record import MendStep, Work

# As in the measures of a mesh: below this share of the longest edge squared a face has no area.
_DEGENERATE_RATIO = 1e-12
_MOST_PASSES = 30  # a run of faces without area, one upon the other, is undone from its end


def weld(work: Work, weld_mm: float) -> tuple[Work, list[MendStep]]:
    """Equal vertices become one; vertices on open edges within weld_mm of one another too.

    A vertex goes to the first of its group that it is near enough to: none moves by more than weld_mm.
    """
    first = first_equal_rows(without_negative_zeros(work.vertices)).astype(np.int64)
    used = np.unique(work.faces)
    steps = []
    equal = int(np.count_nonzero(first[used] != used))
    faces = first[work.faces]
    if equal:
        steps.append(MendStep("vertices that were there twice made one", equal))
    if weld_mm > 0:
        target = _near_targets(work.vertices, faces, weld_mm)
        moved = int(np.count_nonzero(target != np.arange(len(target))))
        if moved:
            faces = target[faces]
            steps.append(MendStep(f"vertices on open edges joined to one within {weld_mm:g} mm", moved))
    return Work(work.vertices, faces, work.origin), steps


def _near_targets(vertices: Array, faces: IntArray, weld_mm: float) -> IntArray:
    """(n,) the vertex that each vertex goes to: itself, or an open one nearby that stays."""
    from scipy.spatial import cKDTree

    table = tabulate_edges(faces, len(vertices))
    halves = table.halves[table.starts[table.counts == 1]]
    rim = np.unique(np.concatenate([table.tails(halves), table.heads(halves)]))
    target = np.arange(len(vertices), dtype=np.int64)
    if len(rim) < 2:
        return target
    tree = cKDTree(vertices[rim])
    settled = np.zeros(len(rim), dtype=bool)
    crowded = tree.query(vertices[rim], k=2, distance_upper_bound=np.nextafter(weld_mm, np.inf))[0][:, 1]
    for index in np.flatnonzero(np.isfinite(crowded)):
        if settled[index]:
            continue
        near = [other for other in tree.query_ball_point(vertices[rim[index]], weld_mm) if not settled[other]]
        target[rim[near]] = rim[index]
        settled[near] = True
    return target


def drop_degenerate(work: Work) -> tuple[Work, list[MendStep]]:
    """Faces that name a vertex twice go; one whose corners lie in a line gives its middle corner to its neighbour.

    So no gap opens where the face was: the neighbour across its longest edge is cut in two at that corner.
    """
    faces, origin = work.faces, work.origin
    is_twice = (faces[:, 0] == faces[:, 1]) | (faces[:, 1] == faces[:, 2]) | (faces[:, 2] == faces[:, 0])
    dropped = int(np.count_nonzero(is_twice))
    faces, origin = faces[~is_twice], origin[~is_twice]
    flattened = 0
    for _ in range(_MOST_PASSES):
        flat = np.flatnonzero(_are_flat(work.vertices, faces))
        if not len(flat):
            break
        faces, origin, done = _give_corners(work.vertices, faces, origin, flat)
        flattened += done
        if not done:
            break
    steps = []
    if dropped:
        steps.append(MendStep("faces that named a vertex twice left out", dropped))
    if flattened:
        steps.append(MendStep("faces without area taken into their neighbours", flattened))
    return Work(work.vertices, faces, origin), steps


def _are_flat(vertices: Array, faces: IntArray) -> BoolArray:
    longest = np.zeros(len(faces))
    for k in range(3):
        edge = vertices[faces[:, k]] - vertices[faces[:, k - 1]]
        np.maximum(longest, np.einsum("ij,ij->i", edge, edge), out=longest)
    size = np.linalg.norm(double_area_vectors(vertices, faces), axis=1)
    return np.asarray(size <= _DEGENERATE_RATIO * longest)


def _give_corners(
    vertices: Array, faces: IntArray, origin: IntArray, flat: IntArray
) -> tuple[IntArray, IntArray, int]:
    """One pass: every flat face whose neighbour is not taken already in this pass."""
    table = tabulate_edges(faces, len(vertices))
    edge_of = np.empty(3 * len(faces), dtype=np.int64)
    edge_of[table.halves] = np.repeat(np.arange(len(table.starts)), table.counts)
    is_flat = np.zeros(len(faces), dtype=bool)
    is_flat[flat] = True
    taken: set[int] = set()
    gone, added, parents = [], [], []
    for face in flat.tolist():
        corners = vertices[faces[face]]
        k = int(np.argmax([np.linalg.norm(corners[(i + 1) % 3] - corners[i]) for i in range(3)]))
        middle = int(faces[face, (k + 2) % 3])
        edge = edge_of[3 * face + k]
        start = table.starts[edge]
        others = [int(h) for h in table.halves[start : start + table.counts[edge]] if h // 3 != face]
        if len(others) > 1 or face in taken:
            continue
        if not others:
            gone.append(face)
            taken.add(face)
            continue
        neighbour, side = divmod(others[0], 3)
        if neighbour in taken or is_flat[neighbour] or middle in faces[neighbour]:
            continue
        tail, head, apex = (int(faces[neighbour, (side + i) % 3]) for i in range(3))
        gone += [face, neighbour]
        taken |= {face, neighbour}
        added += [[tail, middle, apex], [middle, head, apex]]
        parents += [origin[neighbour]] * 2
    if not gone:
        return faces, origin, 0
    kept = np.delete(np.arange(len(faces)), gone)
    new = np.array(added, dtype=np.int64).reshape(-1, 3)
    parent = np.array(parents, dtype=np.int64)
    count = len(gone) - len(added) // 2
    return np.concatenate([faces[kept], new]), np.concatenate([origin[kept], parent]), count


def drop_duplicates(work: Work) -> tuple[Work, list[MendStep]]:
    """Of faces with the same corners one stays, or none where as many run one way as the other.

    Two that run against one another enclose nothing. Where a whole body is made of such pairs, one of each
    stays: it is a sheet.
    """
    first = first_equal_rows(np.sort(work.faces, axis=1)).astype(np.int64)
    if (first == np.arange(len(first))).all():
        return work, []
    way = np.where(_runs_up(work.faces), 1, -1)
    net = np.bincount(first, way, minlength=len(first))[first]
    count = np.bincount(first, minlength=len(first))[first]
    is_cancelled = (net == 0) & (count > 1)
    bodies, label = label_bodies(tabulate_edges(work.faces, len(work.vertices)))
    is_sheet = (np.bincount(label[~is_cancelled], minlength=bodies) == 0)[label]
    wanted = np.where(is_cancelled, np.where(is_sheet, way[first], 0), np.where(net == 0, way, np.sign(net)))
    # The first of each group that runs the wanted way.
    candidates = np.flatnonzero(way == wanted)
    keep = candidates[np.unique(first[candidates], return_index=True)[1]]
    keep.sort()
    step = MendStep("faces that were there more than once left out", len(first) - len(keep))
    return Work(work.vertices, work.faces[keep], work.origin[keep]), [step]


def _runs_up(faces: IntArray) -> BoolArray:
    """Whether a face runs through its corners in rising order, from the least on."""
    least = np.argmin(faces, axis=1)
    rows = np.arange(len(faces))
    return np.asarray(faces[rows, (least + 1) % 3] < faces[rows, (least + 2) % 3])


def drop_shells(work: Work, share: float) -> tuple[Work, list[MendStep]]:
    """Bodies of less than a share of the whole area go."""
    table = tabulate_edges(work.faces, len(work.vertices))
    count, label = label_bodies(table)
    areas = np.linalg.norm(double_area_vectors(work.vertices, work.faces), axis=1)
    area = np.bincount(label, areas, count)
    is_small = area < share * area.sum()
    if not is_small.any():
        return work, []
    keep = ~is_small[label]
    step = MendStep(
        f"bodies of less than {share:g} of the whole area left out", int(np.count_nonzero(is_small))
    )
    return Work(work.vertices, work.faces[keep], work.origin[keep]), [step]


def drop_unused(work: Work) -> tuple[Work, int]:
    """Vertices that no face names go; how many."""
    used, index = np.unique(work.faces, return_inverse=True)
    dropped = len(work.vertices) - len(used)
    return Work(work.vertices[used], index.reshape(-1, 3).astype(np.int64), work.origin), dropped
