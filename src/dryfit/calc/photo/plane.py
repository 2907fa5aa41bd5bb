"""A plane on a photograph: how it is seen, from known points, lengths and directions in it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from dryfit.base.arrays import Array
from dryfit.calc.photo.homography import (
    carry,
    conditioner,
    local_gain,
)
from dryfit.calc.photo.plane_known import WHERE, PlaneDirection, PlaneLength, PlanePoint, begin_plane
from dryfit.calc.photo.records import chance_of, checked_marks, floats, full_covariance, homogeneous, refusal
from dryfit.calc.photo.solving import UNDETERMINED, covariance_of, solve

# A size is not determined where it moves along an undetermined direction by more than this share of itself.
_MOVES = 1e-5


@dataclass(frozen=True, slots=True, eq=False)
class PlaneView:
    """How a plane is seen.

    matrix       (3, 3) homography from the picture to the plane [mm]
    marks_px     (n, 2) adjusted marks;  residual_px (n, 2) measured less adjusted
    covariance   (9 + 2n, 9 + 2n) of the matrix's rows, then the adjusted marks
    free         (9 + 2n, k) directions that are not determined: scale of the matrix, and where the plane begins
    labels       of what was known;  normalised: its test values, NaN where nothing controls it
    vpv, dof, p_value  of the global test
    """

    matrix: Array
    marks_px: Array
    residual_px: Array
    covariance: Array
    free: Array
    labels: tuple[str, ...]
    normalised: Array
    vpv: float
    dof: int
    p_value: float | None

    @property
    def points_mm(self) -> Array:
        """(n, 2) [mm] places of the marks in the plane."""
        return carry(self.matrix, self.marks_px)


@dataclass(frozen=True, slots=True, eq=False)
class _State:
    matrix: Array  # from conditioned marks
    marks: Array  # conditioned


@dataclass(frozen=True, slots=True)
class _Row:
    """One scalar that is known: a coordinate, a length, or the sideways reach of a segment."""

    label: str
    kind: Literal["x", "y", "length", "across x", "across y"]
    first: int
    second: int
    value: float
    std: float


def fit_plane(
    marks_px: Array,
    std_px: float | Array,
    points: Sequence[PlanePoint] = (),
    lengths: Sequence[PlaneLength] = (),
    directions: Sequence[PlaneDirection] = (),
) -> PlaneView:
    """The view of a plane from four known points, or from known lengths along both axes, or both.

    marks_px : (n, 2) all marks in the plane, also those that are only to be measured; free of lens distortion
    std_px : as for full_covariance; straighten gives both
    Raises ComputationRefused where what is known does not determine sizes in the plane, ValueError on bad figures.
    Source: homography with noise on both sides, Hartley and Zisserman, Multiple View Geometry, 4.2 and 2.7 (memory).
    """
    marks = checked_marks(marks_px)
    rows = _rows(points, lengths, directions, len(marks))
    covariance = full_covariance(std_px, len(marks))
    inner = conditioner(marks)
    scaled = carry(inner, marks)
    start = begin_plane(scaled, points, lengths, directions)
    lower = np.linalg.cholesky(covariance * inner[0, 0] ** 2)

    def evaluate(state: _State) -> tuple[Array, Array]:
        return _evaluate(state, scaled, lower, rows)

    solved = solve(evaluate, _State(start, scaled), _move, WHERE)
    return _view(solved.state, solved.residual, solved.jacobian, inner, marks, rows)


def _rows(
    points: Sequence[PlanePoint],
    lengths: Sequence[PlaneLength],
    directions: Sequence[PlaneDirection],
    count: int,
) -> list[_Row]:
    rows = []
    for point in points:
        for axis, value in (("x", point.x_mm), ("y", point.y_mm)):
            kind: Literal["x", "y"] = "x" if axis == "x" else "y"
            label = f"{axis} of mark {point.mark + 1}"
            rows.append(_Row(label, kind, point.mark, point.mark, value, point.std_mm))
    for length in lengths:
        label = f"length {length.first + 1} to {length.second + 1}"
        if not length.length_mm > 0.0:
            raise ValueError(f"{label}: a known length lies above zero")
        rows.append(_Row(label, "length", length.first, length.second, length.length_mm, length.std_mm))
    along = [PlaneDirection(row.first, row.second, row.along) for row in lengths if row.along is not None]
    for direction in [*directions, *along]:
        label = f"direction {direction.first + 1} to {direction.second + 1}"
        spread = np.radians(direction.std_deg)
        kind_across: Literal["across x", "across y"] = "across x" if direction.along == "x" else "across y"
        rows.append(_Row(label, kind_across, direction.first, direction.second, 0.0, float(spread)))
    for row in rows:
        if not (np.isfinite(row.value) and np.isfinite(row.std) and row.std > 0.0):
            raise ValueError(f"{row.label}: a finite value and a standard uncertainty above zero are needed")
        if not (0 <= row.first < count and 0 <= row.second < count):
            raise ValueError(f"{row.label}: there are {count} marks")
        if row.kind not in ("x", "y") and row.first == row.second:
            raise ValueError(f"{row.label}: a segment joins two marks")
    return rows


def _evaluate(state: _State, scaled: Array, lower: Array, rows: Sequence[_Row]) -> tuple[Array, Array]:
    count = len(scaled)
    there = homogeneous(state.marks) @ state.matrix.T
    place = there[:, :2] / there[:, 2:]
    lifted = homogeneous(state.marks) / there[:, 2:]
    gain = local_gain(state.matrix, state.marks)
    slope = np.zeros((count, 2, 9 + 2 * count))
    slope[:, 0, :3] = slope[:, 1, 3:6] = lifted
    slope[:, :, 6:9] = -place[:, :, None] * lifted[:, None, :]
    index = np.arange(count)
    for k in range(2):
        slope[index, :, 9 + 2 * index + k] = gain[:, :, k]
    known, by_known = _known(place, slope, rows)
    jacobian = np.zeros((2 * count, 9 + 2 * count))
    jacobian[:, 9:] = np.linalg.inv(lower)
    residual = np.linalg.solve(lower, (scaled - state.marks).ravel())
    return np.concatenate([residual, known]), np.vstack([jacobian, by_known])


def _known(place: Array, slope: Array, rows: Sequence[_Row]) -> tuple[Array, Array]:
    """Whitened residuals of what is known, and derivatives of what is computed."""
    residual, jacobian = np.zeros(len(rows)), np.zeros((len(rows), slope.shape[2]))
    for number, row in enumerate(rows):
        apart = place[row.second] - place[row.first]
        by_apart = slope[row.second] - slope[row.first]
        length = max(float(np.linalg.norm(apart)), 1e-300)
        if row.kind in ("x", "y"):
            k = 0 if row.kind == "x" else 1
            value, by_value = float(place[row.first, k]), slope[row.first, k]
        elif row.kind == "length":
            value, by_value = length, apart @ by_apart / length
        else:
            k = 1 if row.kind == "across x" else 0
            value = float(apart[k]) / length
            by_value = by_apart[k] / length - value / length**2 * (apart @ by_apart)
        residual[number], jacobian[number] = (row.value - value) / row.std, by_value / row.std
    return residual, jacobian


def _move(state: _State, step: Array) -> _State:
    moved = state.matrix + step[:9].reshape(3, 3)
    return _State(moved / np.linalg.norm(moved[2]), state.marks + step[9:].reshape(-1, 2))


def _view(
    state: _State, residual: Array, jacobian: Array, inner: Array, marks: Array, rows: Sequence[_Row]
) -> PlaneView:
    count = len(marks)
    covariance, free = covariance_of(jacobian)
    tested = jacobian[2 * count :]
    left = 1.0 - ((tested @ covariance) * tested).sum(axis=1)
    controlled = left > 1e-6
    normalised = np.full(len(rows), np.nan)
    normalised[controlled] = residual[2 * count :][controlled] / np.sqrt(left[controlled])
    # back from conditioned marks to pixels
    carried = np.zeros((9 + 2 * count, 9 + 2 * count))
    carried[:9, :9] = np.kron(np.eye(3), inner.T)
    carried[9:, 9:] = np.eye(2 * count) / inner[0, 0]
    adjusted = carry(floats(np.linalg.inv(inner)), state.marks)
    dof = jacobian.shape[0] - (jacobian.shape[1] - free.shape[1])
    vpv = float(residual @ residual)
    view = PlaneView(
        state.matrix @ inner, adjusted, marks - adjusted, carried @ covariance @ carried.T, carried @ free,
        tuple(row.label for row in rows), normalised, vpv, dof, chance_of(vpv, dof),
    )  # fmt: skip
    _check_determined(view)
    return view


def _check_determined(view: PlaneView) -> None:
    """Refuse where a distance between two marks could still be anything."""
    count = len(view.marks_px)
    ends = [int(view.marks_px[:, 0].argmin()), int(view.marks_px[:, 1].argmax())]
    pairs = [(end, other) for end in ends for other in range(count) if other != end]
    values, slope = distances(view.matrix, view.marks_px, np.array(pairs))
    if is_undetermined(slope, view.free, values):
        raise refusal(
            "what is known does not determine sizes in this plane",
            WHERE,
            "give four known points, or at least one known length along each axis with two segments along each",
        )


def is_undetermined(slope: Array, free: Array, values: Array) -> bool:
    """Whether a value moves along a direction that nothing determines."""
    if free.shape[1] == 0:
        return False
    basis = np.linalg.qr(free)[0]
    moved = np.linalg.norm(slope @ basis, axis=1)
    whole = np.linalg.norm(slope, axis=1)
    return bool((moved > _MOVES * whole).any()) and bool(np.abs(values).max() > UNDETERMINED)


def distances(matrix: Array, marks: Array, pairs: np.ndarray) -> tuple[Array, Array]:
    """Distances (p,) [mm] between carried marks, with derivatives (p, 9 + 2n) by the matrix and the marks."""
    there = homogeneous(marks) @ matrix.T
    place, lifted = there[:, :2] / there[:, 2:], homogeneous(marks) / there[:, 2:]
    gain = local_gain(matrix, marks)
    apart = place[pairs[:, 1]] - place[pairs[:, 0]]
    length = np.linalg.norm(apart, axis=1)
    unit = apart / np.maximum(length, 1e-300)[:, None]
    slope = np.zeros((len(pairs), 9 + 2 * len(marks)))
    for end, sign in ((1, 1.0), (0, -1.0)):
        which = pairs[:, end]
        slope[:, :3] += sign * unit[:, :1] * lifted[which]
        slope[:, 3:6] += sign * unit[:, 1:] * lifted[which]
        slope[:, 6:9] -= sign * (unit * place[which]).sum(axis=1)[:, None] * lifted[which]
        by_mark = sign * np.einsum("pj,pjk->pk", unit, gain[which])
        for k in range(2):
            slope[np.arange(len(pairs)), 9 + 2 * which + k] += by_mark[:, k]
    return length, slope
