"""What became of each part between two states: unchanged, moved, renamed, changed in shape, new or gone."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import Literal

import numpy as np

from dryfit.app.changes_matching import Contents, Matched
from dryfit.app.release_state import State
from dryfit.base.arrays import Array, locked
from dryfit.calc.likeness import (
    COPY_MM,
    MOST_CHORD_MM,
    Shape,
    chord_errors_at,
    compare_shapes,
    find_copy,
    may_be_alike,
    shape_of,
)
from dryfit.calc.revision import (
    Bench,
    Deviation,
    Looked,
    Region,
    find_regions,
    find_unit_factor,
    measure_deviation,
)
from dryfit.model.mesh import TriangleMesh

PartKind = Literal[
    "unchanged",
    "other triangles",
    "moved",
    "changed",
    "moved and changed",
    "mirrored",
    "unit slip",
    "new",
    "gone",
    "not compared",
]
# Signatures of shapes that differ in one place and lie elsewhere may differ by this much.
_SEARCHED_MM = 3.0
# Below it a change in place is taken for one, and no motion is looked for (common practice, no source).
_FAR_MM = 0.5
# A motion is believed where it leaves less than this share of the deviation in place.
_BELIEVED = 0.3


@dataclass(frozen=True, slots=True, eq=False)
class Motion:
    """x after = rotation @ x before + translation_mm. turn_deg about axis; shift_mm of the middle of the part."""

    rotation: Array
    translation_mm: Array
    turn_deg: float
    axis: Array
    shift_mm: Array

    def __post_init__(self) -> None:
        object.__setattr__(self, "rotation", locked(self.rotation, (3, 3), "rotation"))
        for name in ("translation_mm", "axis", "shift_mm"):
            object.__setattr__(self, name, locked(getattr(self, name), (3,), name))

    def move(self, points: Array) -> Array:
        """Points (k, 3) of the part before, where they lie after."""
        moved: Array = points @ self.rotation.T + self.translation_mm
        return moved


@dataclass(frozen=True, slots=True, eq=False)
class PartChange:
    """One part before and after.

    id, old_id     its names; None where it is gone or new
    reason         in words, with the figures that tell
    motion         rigid motion of the assembly frame; None where it did not move or none was found
    deviation      new surface against the old one brought to its new place; None where shapes are the same
    regions        where it changed, the greatest first: on the new surface, + added; then on the old one, - lost
    factor         of a unit slip, with the two units
    facets_mm      largest distance that other facets of the same surface leave
    mesh_before, mesh_after  in the assembly; None on the side where there is none
    """

    id: str | None
    old_id: str | None
    kind: PartKind
    reason: str
    motion: Motion | None = None
    deviation: Deviation | None = None
    regions: tuple[Region, ...] = ()
    factor: tuple[float, str, str] | None = None
    facets_mm: float = 0.0
    mesh_before: TriangleMesh | None = field(default=None, repr=False)
    mesh_after: TriangleMesh | None = field(default=None, repr=False)

    @property
    def name(self) -> str:
        """What it is called now, or was called."""
        name = self.id if self.id is not None else self.old_id
        assert name is not None  # a change is of some part
        return name

    @property
    def is_renamed(self) -> bool:
        return self.id is not None and self.old_id is not None and self.id != self.old_id

    @property
    def has_shape_changed(self) -> bool:
        """Whether a piece printed before is another shape than the part is now."""
        return self.kind in ("changed", "moved and changed", "mirrored", "unit slip")


def compare_parts(
    before: State, after: State, matched: Matched, contents: Contents, bench: Bench
) -> tuple[PartChange, ...]:
    """Every part of both states, in the order of the later one, those that are gone last."""
    images = dict(matched.mirrored)
    back = {new: old for old, new in images.items()}
    return tuple(
        _compare(before, after, old, new, contents, bench, images, back) for old, new in matched.pairs
    )


def _compare(
    before: State,
    after: State,
    old: str | None,
    new: str | None,
    contents: Contents,
    bench: Bench,
    images: dict[str, str],
    back: dict[str, str],
) -> PartChange:
    a = None if old is None else before.opened.shapes.get(old)
    b = None if new is None else after.opened.shapes.get(new)
    blank = PartChange(
        new,
        old,
        "unchanged",
        "",
        mesh_before=None if a is None else a.mesh,
        mesh_after=None if b is None else b.mesh,
    )
    if old is None:
        seen = back.get(new or "")
        reason = f"the mirror image of {seen}, which is gone" if seen else "there was no such part"
        return replace(blank, kind="new", reason=reason)
    if new is None:
        seen = images.get(old)
        reason = f"its mirror image is there now: {seen}" if seen else "no part has its name or its shape"
        return replace(blank, kind="gone", reason=reason)
    for state, id in ((before, old), (after, new)):
        unread = next((item for item in state.unread if item.part == id), None)
        if unread is not None:
            reason = f"in {state.name} {unread.what}: {unread.do}"
            return replace(blank, kind="not compared", reason=reason)
    assert a is not None  # what has no shape was not read
    assert b is not None
    if contents.is_same(old, new):
        return replace(blank, reason=_why_same(a.mesh, b.mesh))
    return replace(compare_meshes(a.mesh, b.mesh, bench), id=new, old_id=old)


def compare_meshes(old: TriangleMesh, new: TriangleMesh, bench: Bench) -> PartChange:
    """One shape before and after, under no name."""
    blank = PartChange("", "", "changed", "", mesh_before=old, mesh_after=new)
    copied = find_copy(old, new)
    if copied is not None and float(np.linalg.det(copied.rotation)) > 0:
        motion = describe_motion(copied.rotation, copied.translation_mm, old)
        if _reach(motion, old) <= COPY_MM:
            reason = f"every vertex is where it was, within {COPY_MM * 1000.0:g} um"
            return replace(blank, kind="unchanged", reason=reason)
        reason = f"the same triangles elsewhere, within {COPY_MM * 1000.0:g} um"
        return replace(blank, kind="moved", reason=reason, motion=motion)
    factor = find_unit_factor(np.ptp(old.vertices, axis=0), np.ptp(new.vertices, axis=0))
    if factor is not None:
        return _slipped(blank, old, new, factor, bench)
    if not (_area(old) and _area(new)):
        return replace(blank, kind="not compared", reason="a mesh without area compares with nothing")
    return _by_surface(blank, shape_of(old), shape_of(new), bench)


def _by_surface(blank: PartChange, a: Shape, b: Shape, bench: Bench) -> PartChange:
    here = measure_deviation(a.mesh, b.mesh)
    # Facets explain no more than so much: what lies farther off need not be asked.
    is_near = here.largest_mm <= bench.same_mm + MOST_CHORD_MM
    if is_near and _beyond(here, a, b) <= bench.same_mm:
        return _same_surface(replace(blank, kind="other triangles", facets_mm=here.largest_mm))
    found = compare_shapes(a, b, bench.same_mm) if _may_have_moved(a, b, here, bench) else None
    if found is not None and found.kind == "mirrored":
        reason = "it is the mirror image of what it was"
        return _with_map(replace(blank, kind="mirrored", reason=reason), here, a, b, bench)
    if found is not None and found.kind == "equal":
        motion = describe_motion(found.rotation, found.translation_mm, a.mesh)
        return _same_surface(replace(blank, kind="moved", facets_mm=found.largest_mm, motion=motion))
    if found is not None and found.kind in ("nearly equal", "different"):
        motion = describe_motion(found.rotation, found.translation_mm, a.mesh)
        moved = _moved(a.mesh, motion)
        there = measure_deviation(moved, b.mesh)
        is_better = there.rms_mm <= _BELIEVED * here.rms_mm and there.largest_mm < here.largest_mm
        if is_better and _reach(motion, a.mesh) > bench.same_mm:
            change = replace(blank, kind="moved and changed", reason=_words(there), motion=motion)
            return _with_map(change, there, shape_of(moved), b, bench)
    return _with_map(replace(blank, reason=_words(here)), here, a, b, bench)


def _may_have_moved(a: Shape, b: Shape, here: Deviation, bench: Bench) -> bool:
    """Whether a motion is worth looking for, which is dear: the same figures elsewhere, or all of it far off."""
    if may_be_alike(a, b, bench.same_mm):
        return True
    return here.rms_mm > _FAR_MM and may_be_alike(a, b, _SEARCHED_MM)


def _with_map(change: PartChange, deviation: Deviation, a: Shape, b: Shape, bench: Bench) -> PartChange:
    return replace(change, deviation=deviation, regions=_regions(deviation, a.mesh, b.mesh, bench))


def _slipped(
    blank: PartChange, old: TriangleMesh, new: TriangleMesh, factor: tuple[float, str, str], bench: Bench
) -> PartChange:
    """A shape of the same proportions, larger or smaller by a factor between units."""
    scaled = TriangleMesh(new.vertices / factor[0], new.faces)
    shape = compare_shapes(old, scaled, bench.same_mm)
    alike = (
        "the same shape otherwise"
        if shape is not None and shape.kind == "equal"
        else "its shape differs, too"
    )
    reason = (
        f"its sizes are {factor[0]:g} times what they were, which is the factor of {factor[1]} to {factor[2]}: "
        f"a slip of the unit, as it seems; {alike}"
    )
    deviation = measure_deviation(old, new)
    region = find_regions(new, deviation.new, bench.same_mm)[:1] if deviation.new is not None else ()
    return replace(blank, kind="unit slip", reason=reason, factor=factor, deviation=deviation, regions=region)


def _same_surface(change: PartChange) -> PartChange:
    um = change.facets_mm * 1000.0
    reason = f"the same shape in other triangles: the surfaces lie at most {um:.3g} um apart"
    return replace(change, reason=reason)


def _why_same(old: TriangleMesh, new: TriangleMesh) -> str:
    if old is new or old.sha256 == new.sha256:
        return "the same file, in the same place"
    return "another file with the same triangles in the same place, to a nanometre"


def _beyond(deviation: Deviation, a: Shape, b: Shape) -> float:
    """Greatest distance beyond what facets of round surfaces explain, either way."""
    worst = 0.0
    for looked, own, other in ((deviation.new, b, a), (deviation.old, a, b)):
        if looked is None:
            continue
        apart = np.abs(looked.signed_mm)
        far = np.flatnonzero(apart > COPY_MM)
        if len(far):
            there = chord_errors_at(other, looked.hit[far], looked.nearest[far])
            here = chord_errors_at(own, looked.owners[far], looked.points[far])
            left = apart[far] - np.minimum(np.maximum(there, here), MOST_CHORD_MM)
            worst = max(worst, float(left.max()))
    return worst


def _regions(deviation: Deviation, old: TriangleMesh, new: TriangleMesh, bench: Bench) -> tuple[Region, ...]:
    """On the new surface with its own sign; on the old one what is lost counts as negative, too."""
    found: list[Region] = []
    if deviation.new is not None:
        found += find_regions(new, deviation.new, bench.same_mm)
    if deviation.old is not None:
        lost = _negated(deviation.old) if deviation.is_signed else deviation.old
        known = [region.place_mm for region in found]
        found += [
            region
            for region in find_regions(old, lost, bench.same_mm)
            if not any(_is_near(region, place) for place in known)
        ]
    return tuple(sorted(found, key=lambda item: -abs(item.largest_mm)))


def _is_near(region: Region, place: Array) -> bool:
    """Whether a place lies in the box of a region, widened by its own deviation: the same change seen from there."""
    room = 1.5 * abs(region.largest_mm) + 1e-6
    return bool(((place >= region.box_mm[0] - room) & (place <= region.box_mm[1] + room)).all())


def _negated(looked: Looked) -> Looked:
    return replace(looked, signed_mm=-looked.signed_mm)


def _words(deviation: Deviation) -> str:
    if not deviation.is_signed:
        return f"up to {deviation.largest_mm:.3g} mm apart; a mesh is open, so that no side is known"
    parts = [
        *([f"up to {deviation.added_mm:.3g} mm added"] if deviation.added_mm > 0.5 * COPY_MM else []),
        *(
            [f"up to {deviation.removed_mm:.3g} mm taken away"]
            if deviation.removed_mm > 0.5 * COPY_MM
            else []
        ),
    ]
    return " and ".join(parts) or "the surfaces differ by less than a micrometre"


def describe_motion(rotation: Array, translation_mm: Array, mesh: TriangleMesh) -> Motion:
    """A rigid motion of a mesh: turn, axis and shift of its middle."""
    cosine = float(np.clip((np.trace(rotation) - 1.0) / 2.0, -1.0, 1.0))
    turn = float(np.degrees(np.arccos(cosine)))
    middle = 0.5 * (mesh.vertices.min(axis=0) + mesh.vertices.max(axis=0))
    return Motion(
        rotation, translation_mm, turn, _axis(rotation), rotation @ middle + translation_mm - middle
    )


def _axis(rotation: Array) -> Array:
    """Unit axis of a rotation; z where it turns nothing. The eigenvector of eigenvalue 1, its sense by the turn."""
    values, vectors = np.linalg.eigh(0.5 * (rotation + rotation.T))
    axis: Array = vectors[:, int(values.argmax())]
    sense = np.array(
        [rotation[2, 1] - rotation[1, 2], rotation[0, 2] - rotation[2, 0], rotation[1, 0] - rotation[0, 1]]
    )
    if float(np.trace(rotation)) > 3.0 - 1e-15:
        return np.array([0.0, 0.0, 1.0])
    return -axis if float(sense @ axis) < 0 else axis


def _reach(motion: Motion, mesh: TriangleMesh) -> float:
    """[mm] by how much a motion moves the corners of the box of a mesh at most."""
    low, high = mesh.vertices.min(axis=0), mesh.vertices.max(axis=0)
    corners = np.array([[(low, high)[(k >> axis) & 1][axis] for axis in range(3)] for k in range(8)])
    return float(np.sqrt(((motion.move(corners) - corners) ** 2).sum(axis=1)).max())


def _moved(mesh: TriangleMesh, motion: Motion) -> TriangleMesh:
    return TriangleMesh(motion.move(mesh.vertices), mesh.faces)


def _area(mesh: TriangleMesh) -> bool:
    corners = mesh.vertices[mesh.faces]
    return bool((np.abs(np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])) > 0).any())
