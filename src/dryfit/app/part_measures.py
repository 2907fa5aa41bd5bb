"""What can be read off a printed part: lengths that the fit of the assembly hangs on, and its stated sizes.

All in assembly coordinates, as app.part_ends describes.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from dryfit.app.geometry import PartShape, Shapes
from dryfit.app.measuring import measure_features
from dryfit.app.structure import Structure
from dryfit.base.arrays import Array
from dryfit.calc.surface import outward_at
from dryfit.model.artefact import Measure, Point
from dryfit.model.instrument import MeasureKind
from dryfit.model.project import Project

_PARALLEL = 1.0 - 1e-6  # cosine: a twelfth of a degree
_EDGE = 1.0 + 1e-6  # a mitre is longer than a normal
_NEAR_MM = 1e-3
_LEAST_MM = 2.0  # shorter lengths tell nothing that a builder could read
# Of lengths between two points a part may have hundreds: those are listed that tell most of how its faces lie.
MOST_OF_A_PART = 40


@dataclass(frozen=True, slots=True, eq=False)
class PartMeasure:
    """One thing to read off a part.

    measure   its ends, in assembly coordinates
    feature   id of the feature that it is a reading of; "" for a length between mating faces
    lower_mm, upper_mm  limits of that feature; None where it has none
    """

    measure: Measure
    feature: str = ""
    lower_mm: float | None = None
    upper_mm: float | None = None


@dataclass(frozen=True, slots=True, eq=False)
class _Spot:
    """A place on a part at which the chain looks.

    normal  outward of the mating face, or zero for a centre   mitre  of the surface there
    joint   its name, or that of the characteristic            number  of the contact, from 1
    """

    point: Array
    normal: Array
    mitre: Array
    joint: str
    number: int
    is_centre: bool

    @property
    def words(self) -> str:
        what = "locator" if self.is_centre else "contact"
        return f"{what} {self.number} of {self.joint} at {_words(self.point)}"


def part_measures(
    project: Project, shapes: Shapes, structure: Structure, part: str
) -> tuple[PartMeasure, ...]:
    """What can be read off a part, numbered from 1: between mating faces first, longest first, then its features.

    Raises StopIteration where the project has no such part.
    """
    number = [item.id for item in project.parts].index(part)
    spots = _spots(project, shapes[part], structure, number)
    found = [*_faces(spots, shapes[part]), *_points(spots), *_centres(spots)]
    lengths = sorted(_distinct(found), key=lambda item: -round(item.length_mm, 3))[:MOST_OF_A_PART]
    measures = [PartMeasure(item) for item in lengths]
    measures += _features(project, shapes[part], part)
    counts: dict[str, int] = {}
    return tuple(
        replace(item, measure=replace(item.measure, number=place, id=_id(item, counts)))
        for place, item in enumerate(measures, 1)
    )


def _id(item: PartMeasure, counts: dict[str, int]) -> str:
    """The feature's, or kind and length: "diagonal-274.6", and ".2", ".3" after it where several are alike."""
    name = item.feature or f"{item.measure.kind}-{item.measure.length_mm:.1f}"
    counts[name] = counts.get(name, 0) + 1
    return name if counts[name] == 1 else f"{name}.{counts[name]}"


def _spots(project: Project, shape: PartShape, structure: Structure, number: int) -> tuple[_Spot, ...]:
    table = structure.table
    found: list[_Spot] = []
    counts: dict[int, int] = {}
    mitres: dict[tuple[float, ...], Array] = {}
    for row in range(len(table)):
        joint = int(table.joint[row])
        counts[joint] = counts.get(joint, 0) + 1
        if joint < 0:
            continue
        for owner, point, normal in (
            (table.first[row], table.p_first[row], table.n_first[row]),
            (table.second[row], table.p_second[row], table.n_second[row]),
        ):
            if owner != number:
                continue
            is_centre = not table.is_face[row]
            record = structure.joint_rows[joint].joint
            if is_centre and record.locators == "none":
                continue
            key = tuple(np.round(point, 4).tolist())
            if key not in mitres:
                mitres[key] = outward_at(shape.mesh, point)
            mitre = np.zeros(3) if is_centre else mitres[key]
            found.append(_Spot(point, normal, mitre, record.id, counts[joint], is_centre))
    return tuple(found)


def _faces(spots: Sequence[_Spot], shape: PartShape) -> Iterator[Measure]:
    """From a contact straight across to a parallel face of the part, where a contact of that face says it is one."""
    on_faces = [spot for spot in spots if not spot.is_centre]
    for one in on_faces:
        for other in on_faces:
            if one.normal @ other.normal > -_PARALLEL:
                continue
            length = float(one.normal @ (one.point - other.point))
            if abs(length) < _LEAST_MM:
                continue
            opposite = one.point - length * one.normal
            if float(np.linalg.norm(opposite - other.point)) <= _NEAR_MM:
                opposite = other.point
            out = outward_at(shape.mesh, opposite)
            if not out.any():
                continue
            kind: MeasureKind = "outside" if length > 0 else "inside"
            along = one.normal if length > 0 else -one.normal
            yield Measure(
                0,
                "",
                kind,
                "faces",
                _point(opposite),
                _point(one.point),
                _point(other.normal),
                _point(one.normal),
                toward=_point(along),
                words=f"from {_of(other, opposite)} straight across to {one.words}",
            )


def _of(spot: _Spot, point: Array) -> str:
    if float(np.linalg.norm(spot.point - point)) <= _NEAR_MM:
        return spot.words
    return f"the face of {spot.joint} at {_words(point)}"


def _points(spots: Sequence[_Spot]) -> Iterator[Measure]:
    """Between corners or edges that lie on mating faces: where jaws or a rule find an end."""
    corners = [spot for spot in spots if not spot.is_centre and float(np.linalg.norm(spot.mitre)) > _EDGE]
    for place, one in enumerate(corners):
        for other in corners[place + 1 :]:
            span = other.point - one.point
            length = float(np.linalg.norm(span))
            if length < _LEAST_MM or one.joint == other.joint:
                continue
            along = span / length
            if along @ one.mitre > -0.5 or along @ other.mitre < 0.5:
                continue  # the part itself, or air, lies behind one of the ends
            yield Measure(
                0,
                "",
                "diagonal",
                "points",
                _point(one.point),
                _point(other.point),
                _point(one.mitre),
                _point(other.mitre),
                words=f"from the edge at {one.words} to that at {other.words}",
            )


def _centres(spots: Sequence[_Spot]) -> Iterator[Measure]:
    """Between the middles of pins and holes of different joints."""
    middles = [spot for spot in spots if spot.is_centre]
    for place, one in enumerate(middles):
        for other in middles[place + 1 :]:
            if float(np.linalg.norm(other.point - one.point)) < _LEAST_MM or one.joint == other.joint:
                continue
            yield Measure(
                0,
                "",
                "centres",
                "points",
                _point(one.point),
                _point(other.point),
                words=f"from the middle of {one.words} to that of {other.words}",
            )


def _distinct(found: Sequence[Measure]) -> Iterator[Measure]:
    seen = set()
    for item in found:
        ends = frozenset((tuple(np.round(item.first, 3)), tuple(np.round(item.second, 3))))
        if (item.kind, ends) not in seen:
            seen.add((item.kind, ends))
            yield item


_KINDS: Mapping[str, MeasureKind] = {
    "extent": "outside",
    "distance": "outside",
    "diameter": "outside",
    "centres": "centres",
}


def _features(project: Project, shape: PartShape, part: str) -> Iterator[PartMeasure]:
    """Stated sizes of this part alone that jaws can read."""
    own = [item for item in project.features if set(item.parts) == {part} and item.kind in _KINDS]
    if not own:
        return
    chosen = replace(project, features=tuple(own))
    for seen in measure_features(chosen, {part: shape}):
        if seen.measured is None or len(seen.anchors_mm) != 2 or seen.measured < _LEAST_MM:
            continue
        first, second = seen.anchors_mm
        out = [np.zeros(3), np.zeros(3)]
        if seen.kind != "centres":
            out = [outward_at(shape.mesh, first), outward_at(shape.mesh, second)]
            if not all(normal.any() for normal in out):
                continue  # as across an arc: there is nothing of the part at one of the ends
        along = (second - first) / float(np.linalg.norm(second - first))
        kind = _KINDS[seen.kind]
        if seen.kind != "extent" and out[0] @ along > 0.5 and out[1] @ along < -0.5:
            kind = "inside"
        yield PartMeasure(
            Measure(
                0,
                "",
                kind,
                "faces" if seen.kind in ("distance", "extent") else "points",
                _point(first),
                _point(second),
                _point(out[0]),
                _point(out[1]),
                toward=_point(along) if seen.kind in ("distance", "extent") else None,
                words=f'{seen.kind} "{seen.id}", from {_words(first)} to {_words(second)}',
            ),
            seen.id,
            seen.lower,
            seen.upper,
        )


def _words(point: Array) -> str:
    return "(" + ", ".join(f"{value + 0.0:.0f}" for value in np.round(point)) + ")"


def _point(values: Array) -> Point:
    x, y, z = (float(value) for value in values)
    return x, y, z
