"""The search for mating faces over all parts."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterable, Sequence

import numpy as np

from dryfit.base.arrays import Array
from dryfit.base.errors import ReferenceUnknown
from dryfit.calc.mating.cylindrical import cylindrical_matings
from dryfit.calc.mating.planar import planar_matings
from dryfit.calc.mating.prepared import PreparedPart, prepare_part
from dryfit.calc.mating.report import Mating, MatingReport, NotDetected, natural_key
from dryfit.model.mesh import TriangleMesh
from dryfit.model.project import Search

Progress = Callable[[int, int], None]
Pair = tuple[str, str]


def find_matings(
    parts: Sequence[tuple[str, TriangleMesh]],
    search: Search,
    pairs: Iterable[Pair] | None = None,
    progress: Progress | None = None,
) -> MatingReport:
    """Flat and cylindrical common faces of parts, whose meshes are in assembly coordinates [mm].

    pairs     restricts the search to these pairs of ids, in either order
    progress  called with (pairs done, pairs in all); what it raises ends the search
    Two flat faces mate where their normals oppose within the stated angle, the mean separation over the
    common region lies within the stated gap (either way: a slight overlap counts), and the region is large
    enough. The answer does not depend on the order of parts.
    Raises ReferenceUnknown for a pair that names no part, ValueError where an id appears twice.
    """
    meshes = dict(parts)
    if len(meshes) < len(parts):
        raise ValueError("each part may appear once only")
    boxes = _overlaps(meshes, search, _wanted(meshes, pairs))
    near: dict[str, list[Array]] = defaultdict(list)
    for pair, box in boxes.items():
        for id in pair:
            near[id].append(box)
    left = {id: len(own) for id, own in near.items()}
    prepared: dict[str, PreparedPart] = {}
    matings: list[Mating] = []
    not_detected: list[NotDetected] = []
    for done, (pair, box) in enumerate(boxes.items()):
        _report(progress, done, len(boxes))
        for id in pair:
            if id not in prepared:
                prepared[id] = prepare_part(id, meshes[id], np.array(near[id]), search.min_area_mm2)
        found, reasons = _pair_matings(prepared[pair[0]], prepared[pair[1]], box, search)
        matings += found
        not_detected += [NotDetected(pair, words) for words in dict.fromkeys(reasons)]
        for id in pair:  # only parts that still have pairs to come stay in memory
            left[id] -= 1
            if not left[id]:
                del prepared[id]
    _report(progress, len(boxes), len(boxes))
    return MatingReport(tuple(matings), tuple(not_detected))


def _report(progress: Progress | None, done: int, total: int) -> None:
    if progress is not None:
        progress(done, total)


def _pair_matings(
    first: PreparedPart, second: PreparedPart, box: Array, search: Search
) -> tuple[list[Mating], list[str]]:
    flat, flat_reasons = planar_matings(first, second, box, search)
    round_, round_reasons = cylindrical_matings(first, second, box, search)
    return sorted(flat + round_, key=_largest_first), flat_reasons + round_reasons


def _largest_first(mating: Mating) -> tuple[float, ...]:
    """Equal areas are told apart by where the face lies."""
    place = np.round(mating.faces.points_on_first.mean(axis=0), 6)
    return (-round(mating.area_mm2, 6), *place.tolist())


def _wanted(meshes: dict[str, TriangleMesh], pairs: Iterable[Pair] | None) -> set[frozenset[str]] | None:
    if pairs is None:
        return None
    wanted = {frozenset(pair) for pair in pairs}
    unknown = sorted({id for pair in wanted for id in pair} - set(meshes), key=natural_key)
    if unknown:
        raise ReferenceUnknown(
            f"no part is called {', '.join(unknown)}", "the pairs to search", "name parts of the project"
        )
    return wanted


def _overlaps(
    meshes: dict[str, TriangleMesh], search: Search, wanted: set[frozenset[str]] | None
) -> dict[Pair, Array]:
    """Pairs whose boxes come within the gap, in natural order, with the box (2, 3) that they share.

    Everything that two parts can have in common lies in the overlap of their boxes, each grown by the gap.
    """
    ids = sorted((id for id, mesh in meshes.items() if len(mesh.faces)), key=natural_key)
    extents = np.array([_extent(meshes[id]) for id in ids]).reshape(-1, 2, 3)
    lower, upper = extents[:, 0] - search.max_gap_mm, extents[:, 1] + search.max_gap_mm
    found: dict[Pair, Array] = {}
    for i in range(len(ids)):
        meets = ((lower[i + 1 :] <= upper[i]) & (upper[i + 1 :] >= lower[i])).all(axis=1)
        for j in (np.flatnonzero(meets) + i + 1).tolist():
            if wanted is None or frozenset((ids[i], ids[j])) in wanted:
                box = np.array([np.maximum(lower[i], lower[j]), np.minimum(upper[i], upper[j])])
                # Faces that lean apart are wider open at their far end than the gap in their middle.
                lean = np.sin(np.radians(search.max_angle_deg)) * np.linalg.norm(box[1] - box[0])
                found[ids[i], ids[j]] = box + np.array([[-lean - 1e-3], [lean + 1e-3]])
    return found


def _extent(mesh: TriangleMesh) -> Array:
    """(2, 3) [mm] box of the triangles; vertices that no triangle uses do not count."""
    used = np.zeros(len(mesh.vertices), dtype=np.bool_)
    used[mesh.faces] = True
    points = mesh.vertices[used]
    return np.array([points.min(axis=0), points.max(axis=0)])
