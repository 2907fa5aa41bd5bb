"""Gauges: what a characteristic reads off the contact table.

A gauge names the rows it reads, the weights that combine their separations to first order, and how the
exact value follows from placed points. Characteristics of a joint read the joint's own face contacts,
so that they share the scatter of those points; the others bring probe rows of their own.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from dryfit.base.arrays import Array, IntArray
from dryfit.base.errors import ComputationRefused
from dryfit.calc.characteristics.geometry import (
    circle_through,
    face_centroid,
    flatness_of,
    plane_residual_matrix,
    plane_through,
)
from dryfit.model.characteristic import Characteristic, Kind
from dryfit.model.contacts import ON_GROUND

_DEG = 180.0 / math.pi
# A step or taper direction may lean this far out of the plane of the face: sine of about 3 degrees.
_IN_PLANE = 0.05

Evaluate = Callable[[Array, Array, Array], float]


@dataclass(frozen=True, slots=True, eq=False)
class FaceRows:
    """The face contacts of a joint in the table: rows, parts, points and normals."""

    rows: IntArray
    first: int
    second: int
    points_on_first: Array
    points_on_second: Array
    normals: Array


@dataclass(frozen=True, slots=True, eq=False)
class PartFrame:
    """centroid (3,) and vertices (n, 3) of a part, assembly axes [mm]."""

    index: int
    centroid: Array
    vertices: Array

    def length_along(self, axis: Array) -> float:
        """Extent along a unit axis (3,), which turns with the part."""
        return float(np.ptp(self.vertices @ axis))


@dataclass(frozen=True, slots=True, eq=False)
class ProbeRows:
    """Rows that a gauge adds to the contact table; columns as in model.contacts.ContactTable."""

    first: IntArray
    second: IntArray
    p_first: Array
    p_second: Array
    direction: Array


@dataclass(frozen=True, slots=True, eq=False)
class Gauge:
    """How one characteristic is read.

    rows      (m,) rows of the table
    weights   (q, m) first-order results of the rows' separations: one line (q = 1), or for a flatness one
              line for the residual of each point
    nominal   value in the model
    carrier   part whose rotation carries the directions of a joint's face; ON_GROUND: they stand still
    evaluate  exact value from the placed points (m, 3) of the rows' first and second parts, and the
              rotation (3, 3) of the carrier
    """

    id: str
    kind: Kind
    unit: str
    rows: IntArray
    weights: Array
    nominal: float
    carrier: int
    evaluate: Evaluate

    @property
    def is_range(self) -> bool:
        """Whether the value is the range of several linear results."""
        return self.kind == "flatness"


_EMPTY = np.zeros((0, 3))


def no_probes() -> ProbeRows:
    """No rows."""
    none = np.zeros(0, dtype=np.int64)
    return ProbeRows(none, none, _EMPTY, _EMPTY, _EMPTY)


def build_gauge(
    wanted: Characteristic, next_row: int, face: FaceRows | None, frames: Mapping[str, PartFrame]
) -> tuple[Gauge, ProbeRows]:
    """The gauge of a characteristic and the probe rows it needs.

    next_row : number that the first added row will have in the table
    face : face contacts of its joint, for gap, taper and step
    frames : the parts by id; "ground" where it is one
    Raises ComputationRefused where the stated geometry does not define the characteristic.
    """
    builders: dict[str, Callable[[], tuple[Gauge, ProbeRows]]] = {
        "gap": lambda: _gap(wanted, _required(face)),
        "taper": lambda: _taper(wanted, _required(face)),
        "step": lambda: _step(wanted, next_row, _required(face)),
        "distance": lambda: _distance(wanted, next_row, frames),
        "height": lambda: _height(wanted, next_row, frames),
        "angle": lambda: _angle(wanted, next_row, frames, 0.0),
        "squareness": lambda: _angle(wanted, next_row, frames, 90.0),
        "diameter": lambda: _diameter(wanted, next_row, frames),
        "flatness": lambda: _flatness(wanted, next_row, frames),
    }
    return builders[wanted.kind]()


def _required(face: FaceRows | None) -> FaceRows:
    if face is None:
        raise ValueError("a gap, taper or step needs the face contacts of its joint")
    return face


def _refuse(wanted: Characteristic, what: str, do: str) -> ComputationRefused:
    return ComputationRefused(what, f'characteristic "{wanted.id}"', do)


def _gauge(
    wanted: Characteristic,
    rows: IntArray,
    weights: Array,
    evaluate: Evaluate,
    first: Array,
    second: Array,
    carrier: int = ON_GROUND,
) -> Gauge:
    nominal = evaluate(first, second, np.eye(3))
    return Gauge(
        wanted.id, wanted.kind, wanted.unit, rows, np.atleast_2d(weights), nominal, carrier, evaluate
    )


def _gap(wanted: Characteristic, face: FaceRows) -> tuple[Gauge, ProbeRows]:
    count = len(face.rows)

    def evaluate(first: Array, second: Array, turn: Array) -> float:
        return float(np.einsum("ij,ij->", face.normals @ turn.T, second - first)) / count

    weights = np.full(count, 1.0 / count)
    first, second = face.points_on_first, face.points_on_second
    return _gauge(wanted, face.rows, weights, evaluate, first, second, face.first), no_probes()


def _in_plane(wanted: Characteristic, face: FaceRows) -> tuple[Array, Array]:
    """The stated direction brought into the plane of the face, and the face's normal."""
    normal = face.normals.mean(axis=0)
    length = float(np.linalg.norm(normal))
    if length < 0.99:
        raise _refuse(wanted, "the face is curved: a direction in its plane is not defined", "use a gap")
    normal = normal / length
    stated = wanted.direction
    assert stated is not None  # the document reader requires it for these kinds
    lean = float(stated @ normal)
    if abs(lean) > _IN_PLANE:
        raise _refuse(
            wanted,
            f"the stated direction leans {math.degrees(math.asin(min(1.0, abs(lean)))):.1f} degrees out of "
            "the plane of the face",
            f"state a direction square to the normal {tuple(round(float(c), 4) for c in normal)}",
        )
    flat = stated - lean * normal
    return flat / np.linalg.norm(flat), normal


def _taper(wanted: Characteristic, face: FaceRows) -> tuple[Gauge, ProbeRows]:
    """Opening angle about the axis: positive where the gap grows toward axis x normal."""
    axis, normal = _in_plane(wanted, face)
    along = np.cross(axis, normal)
    middle = 0.5 * (face.points_on_first + face.points_on_second)
    place = (middle - middle.mean(axis=0)) @ along
    spread = float(place @ place)
    if spread < 1e-12:
        raise _refuse(
            wanted,
            "the contacts do not spread across the axis: they show no opening angle",
            "state contacts at both ends of the face, or another axis",
        )
    slope = place / spread

    def evaluate(first: Array, second: Array, turn: Array) -> float:
        separation = np.einsum("ij,ij->i", face.normals @ turn.T, second - first)
        return math.atan(float(slope @ separation)) * _DEG

    first, second = face.points_on_first, face.points_on_second
    opening = float(slope @ np.einsum("ij,ij->i", face.normals, second - first))
    weights = slope * _DEG / (1.0 + opening**2)
    return _gauge(wanted, face.rows, weights, evaluate, first, second, face.first), no_probes()


def _step(wanted: Characteristic, next_row: int, face: FaceRows) -> tuple[Gauge, ProbeRows]:
    along, normal = _in_plane(wanted, face)
    p_first = face_centroid(face.points_on_first, normal)[None]
    p_second = face_centroid(face.points_on_second, normal)[None]
    probes = ProbeRows(np.array([face.first]), np.array([face.second]), p_first, p_second, along[None].copy())

    def evaluate(first: Array, second: Array, turn: Array) -> float:
        return float(turn @ along @ (second - first)[0])

    rows = np.array([next_row])
    return _gauge(wanted, rows, np.ones(1), evaluate, p_first, p_second, face.first), probes


def _points(wanted: Characteristic) -> Array:
    assert wanted.points_mm is not None  # the document reader requires it for these kinds
    return wanted.points_mm


def _distance(
    wanted: Characteristic, next_row: int, frames: Mapping[str, PartFrame]
) -> tuple[Gauge, ProbeRows]:
    points = _points(wanted)
    span = points[1] - points[0]
    length = float(np.linalg.norm(span))
    stated = wanted.direction
    if stated is None and length < 1e-9:
        raise _refuse(wanted, "the two points coincide", "state a direction to measure along")
    along = span / length if stated is None else stated
    first, second = (frames[name].index for name in wanted.parts)
    probes = ProbeRows(
        np.array([first]), np.array([second]), points[:1].copy(), points[1:].copy(), along[None].copy()
    )

    def evaluate(first: Array, second: Array, _: Array) -> float:
        apart = (second - first)[0]
        return float(np.linalg.norm(apart)) if stated is None else float(stated @ apart)

    return _gauge(wanted, np.array([next_row]), np.ones(1), evaluate, points[:1], points[1:]), probes


def _height(
    wanted: Characteristic, next_row: int, frames: Mapping[str, PartFrame]
) -> tuple[Gauge, ProbeRows]:
    points = _points(wanted)
    up = wanted.direction
    assert up is not None  # the document reader fills in (0, 0, 1)
    names = wanted.parts
    if len(points) == 1:
        base, first = np.zeros((1, 3)), ON_GROUND
    else:
        base, first = points[:1], frames[names[0]].index
    top, second = points[-1:], frames[names[-1]].index
    probes = ProbeRows(np.array([first]), np.array([second]), base.copy(), top.copy(), up[None].copy())

    def evaluate(first: Array, second: Array, _: Array) -> float:
        return float(up @ (second - first)[0])

    return _gauge(wanted, np.array([next_row]), np.ones(1), evaluate, base, top), probes


def _single(parts: Sequence[int], points: Array, directions: Array) -> ProbeRows:
    """Probe rows that read one moving point each, against the fixed nominal point."""
    index = np.array(parts, dtype=np.int64)
    return ProbeRows(np.full(len(index), ON_GROUND), index, points.copy(), points.copy(), directions)


def _angle(
    wanted: Characteristic, next_row: int, frames: Mapping[str, PartFrame], zero_deg: float
) -> tuple[Gauge, ProbeRows]:
    """Angle between two material axes, each read over the length of its own part."""
    assert wanted.axes is not None  # the document reader requires it for these kinds
    ends, holders, lengths = [], [], []
    for name, axis in zip(wanted.parts, wanted.axes, strict=True):
        frame = frames[name]
        half = 0.5 * frame.length_along(axis)
        if half <= 0.0:
            raise _refuse(wanted, f'part "{name}" has no length along its axis', "state another axis")
        ends += [frame.centroid - half * axis, frame.centroid + half * axis]
        holders += [frame.index, frame.index]
        lengths.append(2.0 * half)
    points = np.array(ends)
    one, two = wanted.axes
    cosine = float(np.clip(one @ two, -1.0, 1.0))
    sine = math.sqrt(1.0 - cosine**2)
    if sine < 1e-3:
        raise _refuse(
            wanted,
            "the two axes are parallel: the size of a small angle between them has no sign",
            "measure it as a taper, or as two distances at the ends",
        )
    # d(angle) = -(d(one) . two + one . d(two)) / sin(angle), each taken across its own axis
    across_one = -(two - cosine * one) / sine / lengths[0]
    across_two = -(one - cosine * two) / sine / lengths[1]
    gradient = np.array([-across_one, across_one, -across_two, across_two]) * _DEG
    size = np.linalg.norm(gradient, axis=1)

    def evaluate(_: Array, second: Array, __: Array) -> float:
        u, v = second[1] - second[0], second[3] - second[2]
        return math.atan2(float(np.linalg.norm(np.cross(u, v))), float(u @ v)) * _DEG - zero_deg

    probes = _single(holders, points, gradient / size[:, None])
    rows = np.arange(next_row, next_row + 4)
    return _gauge(wanted, rows, size, evaluate, points, points), probes


def _diameter(
    wanted: Characteristic, next_row: int, frames: Mapping[str, PartFrame]
) -> tuple[Gauge, ProbeRows]:
    points = _points(wanted)
    try:
        plane = plane_through(points)
        circle = circle_through((points - plane.origin) @ plane.axes.T)
    except ValueError as error:
        raise _refuse(wanted, str(error), "state points that spread round the circle") from error
    design = np.hstack([circle.outward, np.ones((len(points), 1))])
    weights = 2.0 * np.linalg.pinv(design)[2]

    def evaluate(_: Array, second: Array, __: Array) -> float:
        placed = plane_through(second)
        return 2.0 * circle_through((second - placed.origin) @ placed.axes.T).radius

    holders = [frames[name].index for name in wanted.parts]
    probes = _single(holders, points, circle.outward @ plane.axes)
    rows = np.arange(next_row, next_row + len(points))
    return _gauge(wanted, rows, weights, evaluate, points, points), probes


def _flatness(
    wanted: Characteristic, next_row: int, frames: Mapping[str, PartFrame]
) -> tuple[Gauge, ProbeRows]:
    points = _points(wanted)
    try:
        plane = plane_through(points)
    except ValueError as error:
        raise _refuse(wanted, str(error), "state points that spread over the face") from error

    def evaluate(_: Array, second: Array, __: Array) -> float:
        return flatness_of(second)

    holders = [frames[name].index for name in wanted.parts]
    probes = _single(holders, points, np.tile(plane.normal, (len(points), 1)))
    rows = np.arange(next_row, next_row + len(points))
    return _gauge(wanted, rows, plane_residual_matrix(points, plane), evaluate, points, points), probes
