"""What is drawn on the views besides parts: common faces of joints, gaps, and the worst characteristic."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from dryfit.app.contacts import JointRows
from dryfit.app.forecast import Chain
from dryfit.app.geometry import part_numbers
from dryfit.base.arrays import Array
from dryfit.calc.outline import ELEVATION, PLAN, project_points
from dryfit.calc.placing import Poses
from dryfit.model.characteristic import Characteristic
from dryfit.model.contacts import ON_GROUND
from dryfit.model.forecast import CharacteristicForecast, ForecastReport

DIRECTIONS = {"elevation": ELEVATION, "plan": PLAN}
_MEASURED_BETWEEN = frozenset({"distance", "height"})


@dataclass(frozen=True, slots=True, eq=False)
class FaceOutline:
    """The common face of a joint in one view, as printed and placed: closed polygon (n, 2) [mm]."""

    joint: str
    polygon: Array
    is_closing: bool


@dataclass(frozen=True, slots=True, eq=False)
class Dimension:
    """A gap or a distance between two points of a view.

    id      of the characteristic, or of the joint where nothing is stated for it
    ends    (2, 2) [mm] as printed and placed, exaggerated like the parts
    along   (2,) unit: direction in the view along which it is measured
    value   true value, not exaggerated; std None: its spread is not known
    is_gap  between the two faces of a joint
    is_worst  of all characteristics, the one farthest out of its limits
    """

    id: str
    ends: Array
    along: Array
    value: float
    std: float | None
    unit: str
    is_gap: bool
    is_worst: bool


@dataclass(frozen=True, slots=True, eq=False)
class DepartureField:
    """Departures from the model: of point p of part i, matrix[i] @ (p - centroid[i]) + shift[i], exact."""

    matrix: Array
    centroid: Array
    shift: Array
    factor: float = 1.0

    def move(self, part: int, points: Array) -> Array:
        """Points (n, 3) of a part with their departure times the factor; the ground stays."""
        if part == ON_GROUND:
            return points
        arms = points - self.centroid[part]
        moved: Array = points + self.factor * (arms @ self.matrix[part].T + self.shift[part])
        return moved


def worst_of(report: ForecastReport) -> str | None:
    """Id of the characteristic most likely out of limits; among equals the farthest out for its room.

    None where no characteristic has a probability.
    """
    judged = [item for item in report.characteristics if item.p_out is not None]
    if not judged:
        return None

    def gravity(index: int) -> tuple[float, float]:
        item = judged[index]
        below = 0.0 if item.lower_limit is None else item.lower_limit - item.predicted
        above = 0.0 if item.upper_limit is None else item.predicted - item.upper_limit
        room = item.band or item.std or 1.0
        return round(item.p_out or 0.0, 6), max(below, above) / room

    return judged[max(range(len(judged)), key=gravity)].id


def outline_faces(
    chain: Chain, report: ForecastReport, field: DepartureField, name: str
) -> tuple[FaceOutline, ...]:
    """The common face of every joint in one view."""
    outlines = []
    for rows, first, _ in _joints(chain):
        corners = field.move(first, _in_order(rows.faces.points_on_first, rows.faces.normals.mean(axis=0)))
        flat = project_points(corners, DIRECTIONS[name])
        outlines.append(FaceOutline(rows.joint.id, flat, rows.joint.id in report.closing))
    return tuple(outlines)


def _in_order(points: Array, normal: Array) -> Array:
    """Points round their middle, counter-clockwise about the normal."""
    local = points - points.mean(axis=0)
    axis = local[np.argmax(np.linalg.norm(local, axis=1))]
    angle = np.arctan2(np.cross(axis, local) @ normal, local @ axis)
    ordered: Array = points[np.argsort(angle)]
    return ordered


def _joints(chain: Chain) -> Iterator[tuple[JointRows, int, int]]:
    """Every joint with the indices of its two parts."""
    numbers = part_numbers(chain.project)
    for rows in chain.structure.joint_rows:
        first, second = rows.joint.parts
        yield rows, numbers[first], numbers[second]


def draw_dimensions(
    name: str, chain: Chain, report: ForecastReport, poses: Poses, field: DepartureField, worst: str | None
) -> tuple[Dimension, ...]:
    """The gaps of closing joints and the worst characteristic, as far as this view shows them best."""
    forecasts = {item.id: item for item in report.characteristics}
    stated_gaps = [item for item in chain.project.characteristics if item.kind == "gap"]
    # Where several stand at one joint, the worst is drawn, otherwise the first.
    stated_gaps.sort(key=lambda item: item.id != worst)
    gaps = {item.joint: item.id for item in reversed(stated_gaps)}
    stated = next((item for item in chain.project.characteristics if item.id == worst), None)
    found = []
    for rows, first, second in _joints(chain):
        joint, normal = rows.joint.id, rows.faces.normals.mean(axis=0)
        ends = _face_middles(field, rows, first, second)
        if (joint in report.closing or _is_worst_gap(stated, joint)) and _best_view(normal) == name:
            if joint in gaps:
                found.append(_stated(name, forecasts[gaps[joint]], ends, normal, worst))
            else:
                value = _mean_gap(chain, poses, joint)
                found.append(_dimension(name, joint, ends, normal, value, None, "mm", True, False))
        along = _step_direction(stated, joint)
        if along is not None and worst is not None and _best_view(along) == name:
            found.append(_stated(name, forecasts[worst], ends, along, worst))
    measured = None if stated is None else _measured(chain, field, stated)
    if measured is not None and worst is not None and _best_view(measured[1]) == name:
        found.append(_stated(name, forecasts[worst], measured[0], measured[1], worst))
    return tuple(found)


def _is_worst_gap(stated: Characteristic | None, joint: str) -> bool:
    return stated is not None and stated.kind == "gap" and stated.joint == joint


def _step_direction(stated: Characteristic | None, joint: str) -> Array | None:
    """Direction of the worst characteristic where it is a step at this joint."""
    is_step = stated is not None and stated.kind == "step" and stated.joint == joint
    return stated.direction if is_step and stated is not None else None


def _stated(
    name: str, item: CharacteristicForecast, ends: Array, along: Array, worst: str | None
) -> Dimension:
    std = None if item.p_out is None else item.std
    return _dimension(
        name, item.id, ends, along, item.predicted, std, item.unit, item.kind == "gap", item.id == worst
    )


def _dimension(
    name: str,
    id: str,
    ends: Array,
    along: Array,
    value: float,
    std: float | None,
    unit: str,
    is_gap: bool,
    is_worst: bool,
) -> Dimension:
    flat = project_points(np.vstack([ends, along]), DIRECTIONS[name])
    length = float(np.linalg.norm(flat[2])) or 1.0
    return Dimension(id, flat[:2], flat[2] / length, value, std, unit, is_gap, is_worst)


def _face_middles(field: DepartureField, rows: JointRows, first: int, second: int) -> Array:
    """(2, 3) middles of the two faces of a joint, as drawn."""
    faces = rows.faces
    return np.array(
        [
            field.move(first, faces.points_on_first).mean(axis=0),
            field.move(second, faces.points_on_second).mean(axis=0),
        ]
    )


def _mean_gap(chain: Chain, poses: Poses, joint: str) -> float:
    """Mean separation of the face contacts of a joint in the placed assembly."""
    table = chain.structure.table
    index = next(i for i, rows in enumerate(chain.structure.joint_rows) if rows.joint.id == joint)
    rows = np.flatnonzero((table.joint == index) & table.is_face)
    apart = poses.x_second[rows] - poses.x_first[rows]
    return float(np.einsum("ij,ij->i", table.direction[rows], apart).mean())


def _measured(chain: Chain, field: DepartureField, stated: Characteristic) -> tuple[Array, Array] | None:
    """(2, 3) the two points of a distance or height, as drawn, and the direction between them.

    A height of one point is measured from the ground. None for other kinds.
    """
    points = stated.points_mm
    if stated.kind not in _MEASURED_BETWEEN or points is None or len(points) not in (1, 2):
        return None
    numbers = part_numbers(chain.project)
    owners = [numbers[part] for part in stated.parts]
    ends = np.vstack([field.move(owner, point[None]) for owner, point in zip(owners, points, strict=True)])
    along = stated.direction
    if len(ends) == 1:
        along = np.array([0.0, 0.0, 1.0]) if along is None else along
        ends = np.vstack([ends - (ends @ along)[:, None] * along, ends])
    return ends, ends[1] - ends[0] if along is None else along


def _best_view(along: Array) -> str:
    """The view in which a direction is seen at its longest; the plan where both show it alike."""
    seen = {name: float(np.linalg.norm(direction.axes @ along)) for name, direction in DIRECTIONS.items()}
    return "elevation" if seen["elevation"] > seen["plan"] + 1e-9 else "plan"
