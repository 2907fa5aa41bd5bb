"""What is read off a printed artefact, and how it follows from the machine's figures.

With A the machine's gain, k the shrinkage of the material and G = (1 - k) A, an end that is commanded at p
with level outward direction n prints at

    q = G p + (d + f low) n

with d the boundary offset and f the first-layer flare, which acts where the end is low. Then

- two points read y = |q2 - q1|;
- two parallel faces, commanded a distance apart along m = unit(p2 - p1), print with the normal
  m' = unit(A^-T m), and read y = m' . (q2 - q1);
- a square whose blade lies along b = unit(p2 - p1) and whose stock lies along t reads the gap
  y = -h (G b . G t) / |G b x G t| at the blade's height h = |p2 - p1|: positive where the angle is larger
  than 90 degrees, so that the gap opens at the tip;
- a height that is taken from the underside is larger by the bed's own offset.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from dryfit.base.arrays import Array, BoolArray, cross, locked
from dryfit.calc.errormodel.deformation import affine_derivatives, machine_gain
from dryfit.model.artefact import Measure
from dryfit.model.machine import FIGURES

# What a length follows from, in the order of the columns of its derivatives: the figures of the machine,
# the bed's own offset [mm] and the shrinkage of the material [-].
UNKNOWNS = (*FIGURES, "bed_offset_mm", "shrinkage")
_OFFSET, _FLARE, _BED, _SHRINKAGE = range(6, 10)


@dataclass(frozen=True, slots=True, eq=False)
class MeasureArrays:
    """The commanded geometry of n measures.

    span      (n, 3) [mm]  from the first end to the second
    offset    (n, 3) [-]   motion of the second end against the first per mm of boundary offset
    flare     (n, 3) [-]   the same per mm of first-layer flare
    toward    (n, 3) [-]   unit direction of the stock of a square; zero for all others
    is_faces  (n,)         whether the ends are parallel faces; False for points and squares
    is_square (n,)
    from_bed  (n,)         whether the bed's own offset enters
    """

    span: Array
    offset: Array
    flare: Array
    toward: Array
    is_faces: BoolArray
    is_square: BoolArray
    from_bed: BoolArray

    def __post_init__(self) -> None:
        count = len(self.span)
        for name in ("span", "offset", "flare", "toward"):
            object.__setattr__(self, name, locked(getattr(self, name), (count, 3), name))
        for name in ("is_faces", "is_square", "from_bed"):
            flags = np.array(getattr(self, name), dtype=bool).reshape(count)
            flags.setflags(write=False)
            object.__setattr__(self, name, flags)

    def __len__(self) -> int:
        return len(self.span)

    def rows(self, index: Array | Sequence[int] | BoolArray) -> MeasureArrays:
        """The measures at these places, in this order; a place may occur more than once."""
        return MeasureArrays(
            self.span[index],
            self.offset[index],
            self.flare[index],
            self.toward[index],
            self.is_faces[index],
            self.is_square[index],
            self.from_bed[index],
        )


@dataclass(frozen=True, slots=True, eq=False)
class Lengths:
    """Predicted values of n measures, and what each follows from.

    values_mm    (n,)     of a square the gap
    derivatives  (n, 10)  by UNKNOWNS: mm per unit of scale and shrinkage, per degree, per mm
    """

    values_mm: Array
    derivatives: Array


def measure_arrays(measures: Sequence[Measure]) -> MeasureArrays:
    """The geometry of measures as arrays, in their order.

    Raises ValueError where the two ends of a measure coincide, where a square states no direction of its
    stock or one along its blade, and where `ends` is neither "faces" nor "points".
    """
    for measure in measures:
        _check(measure)
    first = _rows([measure.first for measure in measures])
    second = _rows([measure.second for measure in measures])
    first_out = _rows([measure.first_out for measure in measures])
    second_out = _rows([measure.second_out for measure in measures])
    first_low = np.array([measure.first_is_low for measure in measures], dtype=float)
    second_low = np.array([measure.second_is_low for measure in measures], dtype=float)
    toward = _rows([measure.toward or (0.0, 0.0, 0.0) for measure in measures])
    is_square = np.array([measure.kind == "square" for measure in measures], dtype=bool)
    faces = np.array([measure.ends == "faces" for measure in measures], dtype=bool)
    length = np.linalg.norm(toward, axis=1)
    return MeasureArrays(
        span=second - first,
        offset=second_out - first_out,
        flare=second_low[:, None] * second_out - first_low[:, None] * first_out,
        toward=toward / np.where(length > 0, length, 1.0)[:, None],
        is_faces=faces & ~is_square,
        is_square=is_square,
        from_bed=np.array([measure.from_bed for measure in measures], dtype=bool),
    )


def read_lengths(
    measures: MeasureArrays, figures: Array, bed_offset_mm: float = 0.0, shrinkage: float = 0.0
) -> Lengths:
    """The values that a print of a machine with these figures would show, and their derivatives.

    figures : (8,) in the order of model.machine.FIGURES: scales [-], skews [deg], offset and flare [mm]
    bed_offset_mm : by which a height from the underside is larger than commanded
    shrinkage : [-] 0.002 is 0.2 % smaller
    Exact, not linearised. Raises ValueError where a figure is out of all range (see machine_gain).
    Source: affine map of lines, planes and their normals (closed forms; memory).
    """
    figures = np.asarray(figures, dtype=np.float64)
    gain = machine_gain(figures[:6])
    printed = (1.0 - shrinkage) * measures.span @ gain.T
    moved = printed + figures[_OFFSET] * measures.offset + figures[_FLARE] * measures.flare
    motions = _motions(measures, gain, figures, shrinkage)
    values = np.empty(len(measures))
    derivatives = np.empty((len(measures), len(UNKNOWNS)))
    for rows, read in (
        (~measures.is_faces & ~measures.is_square, _points),
        (measures.is_faces, _faces),
        (measures.is_square, _squares),
    ):
        if rows.any():
            part = measures.rows(rows)
            values[rows], derivatives[rows] = read(part, moved[rows], motions[rows], gain, figures)
    values += bed_offset_mm * measures.from_bed
    derivatives[:, _BED] = measures.from_bed
    return Lengths(values, derivatives)


def _check(measure: Measure) -> None:
    if not measure.length_mm > 0:
        raise ValueError(f"{measure.id}: the two ends coincide")
    if measure.kind != "square":
        if measure.ends not in ("faces", "points"):
            raise ValueError(f'{measure.id}: ends are "faces" or "points", not {measure.ends!r}')
        return
    if measure.toward is None:
        raise ValueError(f"{measure.id}: a square states the direction of its stock")
    blade = np.subtract(measure.second, measure.first)
    if not np.linalg.norm(np.cross(blade, measure.toward)) > 1e-9 * measure.length_mm:
        raise ValueError(f"{measure.id}: the stock lies along the blade, or has no direction")


def _rows(points: Sequence[tuple[float, float, float]]) -> Array:
    return np.array(points, dtype=np.float64).reshape(-1, 3)


def _unit(vectors: Array) -> Array:
    unit: Array = vectors / np.linalg.norm(vectors, axis=1)[:, None]
    return unit


def _gain_motions(figures: Array) -> Array:
    """Derivatives (6, 3, 3) of A by the affine figures: scales per unit, skews per degree."""
    steeper = np.ones(6)  # than at the perfect machine: tan() of a skew
    steeper[3:] = 1.0 / np.cos(np.radians(figures[3:6])) ** 2
    derivatives: Array = steeper[:, None, None] * affine_derivatives(np.eye(3))
    return derivatives


def _motions(measures: MeasureArrays, gain: Array, figures: Array, shrinkage: float) -> Array:
    """Derivatives (n, 10, 3) of the printed span by UNKNOWNS; zero by the bed's offset."""
    motions = np.zeros((len(measures), len(UNKNOWNS), 3))
    motions[:, :6] = (1.0 - shrinkage) * np.einsum("urc,nc->nur", _gain_motions(figures), measures.span)
    motions[:, _OFFSET] = measures.offset
    motions[:, _FLARE] = measures.flare
    motions[:, _SHRINKAGE] = -measures.span @ gain.T
    return motions


def _points(
    measures: MeasureArrays, moved: Array, motions: Array, gain: Array, figures: Array
) -> tuple[Array, Array]:
    """Distances (n,) of two points, and their derivatives (n, 10)."""
    return np.linalg.norm(moved, axis=1), np.einsum("nur,nr->nu", motions, _unit(moved))


def _faces(
    measures: MeasureArrays, moved: Array, motions: Array, gain: Array, figures: Array
) -> tuple[Array, Array]:
    """Distances (n,) of parallel faces along their printed normal, and their derivatives (n, 10)."""
    inverse = np.linalg.inv(gain)
    normal = _unit(measures.span) @ inverse
    length = np.linalg.norm(normal, axis=1)
    unit = normal / length[:, None]
    values = np.einsum("nr,nr->n", unit, moved)
    derivatives = np.einsum("nur,nr->nu", motions, unit)
    # d(A^-T m) = -A^-T dA^T A^-T m; only its part across the normal turns the unit normal
    turns = -np.einsum("nr,urc,cd->nud", normal, _gain_motions(figures), inverse) / length[:, None, None]
    across = moved - values[:, None] * unit
    derivatives[:, :6] += np.einsum("nud,nd->nu", turns, across)
    return values, derivatives


def _squares(
    measures: MeasureArrays, moved: Array, motions: Array, gain: Array, figures: Array
) -> tuple[Array, Array]:
    """Gaps (n,) at the blade's height, and their derivatives (n, 10). Neither offset nor size enters."""
    height = np.linalg.norm(measures.span, axis=1)
    # the same for blade and stock: their common factor 1 - k cancels
    changes = _gain_motions(figures)
    blade, stock = _unit(measures.span), measures.toward
    u, w = blade @ gain.T, stock @ gain.T
    du = np.einsum("urc,nc->nur", changes, blade)
    dw = np.einsum("urc,nc->nur", changes, stock)
    dot = np.einsum("nr,nr->n", u, w)
    area = np.linalg.norm(cross(u, w), axis=1)
    ddot = np.einsum("nur,nr->nu", du, w) + np.einsum("nur,nr->nu", dw, u)
    uu, ww = np.einsum("nr,nr->n", u, u), np.einsum("nr,nr->n", w, w)
    darea = (
        ww[:, None] * np.einsum("nur,nr->nu", du, u)
        + uu[:, None] * np.einsum("nur,nr->nu", dw, w)
        - dot[:, None] * ddot
    ) / area[:, None]
    derivatives = np.zeros((len(measures), len(UNKNOWNS)))
    derivatives[:, :6] = -height[:, None] * (ddot / area[:, None] - (dot / area**2)[:, None] * darea)
    return -height * dot / area, derivatives
