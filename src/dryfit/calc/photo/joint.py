"""Several photographs with common points: what is given, and what an adjustment of all cameras and points returns."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from dryfit.base.arrays import Array, BoolArray, IntArray, locked
from dryfit.calc.photo.camera import Lens, Pose
from dryfit.calc.photo.records import Sizes, checked_pairs, mark_covariances, refusal

WHERE = "the joint adjustment of photographs"
# What is believed of a lens that was never calibrated (common practice, no source): principal point within 2 % of the
# width, k1 within 0.15, k2 within 0.1; no tangential distortion and no k3.
_GUESS_CENTRE, _GUESS_K1, _GUESS_K2 = 0.02, 0.15, 0.1
# Known places whose second extent is a smaller share of the first lie on one line (common practice, no source).
_THIN = 0.01


@dataclass(frozen=True, slots=True, eq=False)
class Bend:
    """k1 and k2 (2,) as straight lines have them for one focal length, with their covariance (2, 2).

    For another focal length they go with its second and fourth power.
    """

    focal_px: float
    figures: Array
    covariance: Array

    def __post_init__(self) -> None:
        object.__setattr__(self, "figures", locked(self.figures, (2,), "figures"))
        object.__setattr__(self, "covariance", locked(self.covariance, (2, 2), "covariance"))


@dataclass(frozen=True, slots=True, eq=False)
class LensBelief:
    """A lens that one or several photographs share, and how well it is known beforehand.

    std (8,) in the order of LENS_NAMES: zero holds a figure, infinity leaves it free
    is_focal_guessed : the focal length is a guess: others are tried where it does not lead to cameras
    covariance (8, 8) : where the figures were found together; std is then its own
    bend : what lines that are straight in reality say, beside std
    """

    lens: Lens
    std: Array
    is_focal_guessed: bool = False
    covariance: Array | None = None
    bend: Bend | None = None

    def __post_init__(self) -> None:
        if self.covariance is not None:
            covariance = locked(self.covariance, (8, 8), "covariance")
            object.__setattr__(self, "covariance", covariance)
            object.__setattr__(self, "std", np.sqrt(np.diag(covariance)))
        std = np.array(self.std, dtype=np.float64)
        if std.shape != (8,) or np.isnan(std).any() or (std < 0.0).any():
            raise ValueError("a lens needs eight standard uncertainties, zero or more")
        std.setflags(write=False)
        object.__setattr__(self, "std", std)


def guess_lens(
    width_px: int, height_px: int, focal_px: float | None = None, focal_std_px: float = np.inf
) -> LensBelief:
    """A lens that was never calibrated: principal point near the middle, some distortion, focal length free.

    focal_px : from the picture's data where it is there, with its standard uncertainty; else a guess is tried
    """
    width = float(max(width_px, height_px))
    lens = Lens(focal_px or 1.1 * width, np.array([(width_px - 1) / 2.0, (height_px - 1) / 2.0]))
    centre = _GUESS_CENTRE * width
    std = np.array([focal_std_px, centre, centre, _GUESS_K1, _GUESS_K2, 0.0, 0.0, 0.0])
    return LensBelief(lens, std, focal_px is None)


@dataclass(frozen=True, slots=True)
class Photograph:
    """Size of a picture, which lens it was taken with, and whether the user says that it is flipped left to right."""

    width_px: int
    height_px: int
    lens: int = 0
    is_mirrored: bool = False


@dataclass(frozen=True, slots=True)
class SpaceLength:
    """A known length between two points."""

    first: int
    second: int
    length_mm: float
    std_mm: float


@dataclass(frozen=True, slots=True, eq=False)
class SpacePoint:
    """A point whose place is known: place_mm (3,), and the standard uncertainty of each coordinate."""

    point: int
    place_mm: Array
    std_mm: float

    def __post_init__(self) -> None:
        object.__setattr__(self, "place_mm", locked(self.place_mm, (3,), "place_mm"))


def spans_frame(places_mm: Array) -> bool:
    """Whether known places (n, 3) give position, direction and scale: three or more that lie on no common line."""
    if len(places_mm) < 3:
        return False
    spread = np.linalg.svd(places_mm - places_mm.mean(axis=0), compute_uv=False)
    return bool(spread[1] > _THIN * spread[0])


@dataclass(frozen=True, slots=True, eq=False)
class PhotoProblem:
    """Marks of common points on several photographs.

    photo (m,), point (m,)  which photograph and which point each mark is
    marks_px (m, 2)         as marked on the picture, flipped ones too
    std_px                  as for mark_covariances
    known                   places that are known. Where they span a frame they give it, with the scale, together with
                            the lengths; where they do not, they are not used
    """

    photographs: tuple[Photograph, ...]
    lenses: tuple[LensBelief, ...]
    photo: IntArray
    point: IntArray
    marks_px: Array
    std_px: float | Array
    lengths: tuple[SpaceLength, ...] = ()
    known: tuple[SpacePoint, ...] = ()

    def __post_init__(self) -> None:
        object.__setattr__(self, "marks_px", locked(self.marks_px, (None, 2), "marks_px"))
        count = len(self.marks_px)
        for name in ("photo", "point"):
            index = np.array(getattr(self, name), dtype=np.int64)
            if index.shape != (count,) or (index < 0).any():
                raise ValueError(f"{name} needs one index for each of {count} marks")
            index.setflags(write=False)
            object.__setattr__(self, name, index)
        mark_covariances(self.std_px, count)
        self._check()

    def _check(self) -> None:
        if self.photo.max(initial=-1) >= len(self.photographs):
            raise ValueError("a mark names a photograph that is not there")
        if any(not 0 <= each.lens < len(self.lenses) for each in self.photographs):
            raise ValueError("a photograph names a lens that is not there")
        keys = self.photo * (self.point.max(initial=0) + 1) + self.point
        if len(np.unique(keys)) != len(keys):
            raise ValueError("a point is marked twice on one photograph")
        for length in self.lengths:
            checked_pairs([(length.first, length.second)], self.point_count, "a known length")
            if not (length.length_mm > 0.0 and 0.0 < length.std_mm < np.inf):
                raise ValueError("a known length and its standard uncertainty lie above zero")
        for known in self.known:
            if not 0 <= known.point < self.point_count:
                raise ValueError("a known place names a point that is not marked")
            if not 0.0 < known.std_mm < np.inf:
                raise ValueError("the standard uncertainty of a known place lies above zero")

    def framing(self, point: IntArray) -> list[int]:
        """Which of the known places give the frame where the points (m,) are marked: all of those, or none."""
        there = set(point.tolist())
        rows = [number for number, each in enumerate(self.known) if each.point in there]
        places = {self.known[number].point: self.known[number].place_mm for number in rows}
        return rows if places and spans_frame(np.array(list(places.values()))) else []

    def is_enough(self, used: BoolArray) -> BoolArray:
        """(n,) points that the used marks can determine: on two photographs, or on one and at a known place."""
        views = np.bincount(self.point[used], minlength=self.point_count)
        enough: BoolArray = views >= 2
        for number in self.framing(self.point[used]):
            enough[self.known[number].point] |= views[self.known[number].point] == 1
        return enough

    @property
    def point_count(self) -> int:
        """Number of points: the highest that is named, plus one."""
        return int(self.point.max(initial=-1)) + 1

    @property
    def lens_of_photo(self) -> IntArray:
        """(c,) lens of each photograph."""
        return np.array([each.lens for each in self.photographs], dtype=np.int64)

    @property
    def covariances(self) -> Array:
        """(m, 2, 2) [px2] of the marks."""
        return mark_covariances(self.std_px, len(self.marks_px))

    def unmirrored(self, mirrored: Sequence[bool] | BoolArray) -> tuple[Array, Array]:
        """Marks (m, 2) and covariances (m, 2, 2) with the photographs that are mirrored flipped back."""
        marks, spread = self.marks_px.copy(), self.covariances
        flip = np.asarray(mirrored, dtype=np.bool_)[self.photo]
        widths = np.array([each.width_px for each in self.photographs])[self.photo]
        marks[flip, 0] = widths[flip] - 1.0 - marks[flip, 0]
        spread[flip, 0, 1] *= -1.0
        spread[flip, 1, 0] *= -1.0
        return marks, spread


@dataclass(frozen=True, slots=True, eq=False)
class Network:
    """Values of all unknowns: lenses (g, 8), rotations (c, 3, 3), positions_mm (c, 3), points_mm (n, 3)."""

    lenses: Array
    rotations: Array
    positions_mm: Array
    points_mm: Array

    def scaled(self, factor: float) -> Network:
        """The same in another unit of length."""
        return replace(self, positions_mm=self.positions_mm * factor, points_mm=self.points_mm * factor)


@dataclass(frozen=True, slots=True, eq=False)
class JointAdjustment:
    """All cameras and points together.

    network         values; its frame is that of the known places, else it hangs on the first photograph, which sizes do
                    not feel
    covariance      (N, N) of steps: points (3 n) [mm] first, then turn [rad] and position [mm] of each camera (6 c),
                    then the figures of each lens (8 g); in the frame of the known places, else with the datum of least
                    trace over the points (inner constraints)
    residual_px     (m, 2) of each mark, measured less computed, on pictures that were flipped back
    normalised      (m,) test value of each mark: chi-square with two degrees of freedom without blunders; NaN where
                    nothing controls it or where it was left out
    is_used         (m,) whether the mark took part
    length_normalised  (l,) test value of each known length, standard normal without blunders; NaN where uncontrolled
    known_normalised   (k,) test value of each known place, chi-square with three degrees of freedom without blunders;
                       NaN where they give no frame or nothing controls it
    mirrored        (c,) photographs that were taken as flipped left to right
    is_scaled       whether a known length or known places give the scale
    is_framed       whether known places give the frame
    vpv, dof, p_value  of the global test
    """

    network: Network
    covariance: Array
    residual_px: Array
    normalised: Array
    is_used: BoolArray
    length_residual_mm: Array
    length_normalised: Array
    mirrored: BoolArray
    is_scaled: bool
    vpv: float
    dof: int
    p_value: float | None
    iterations: int
    known_residual_mm: Array
    known_normalised: Array
    is_framed: bool

    @property
    def unit_std(self) -> float:
        """Standard deviation of unit weight [-]; 1 where the marks are as good as stated, NaN without freedom."""
        return float(np.sqrt(self.vpv / self.dof)) if self.dof > 0 else float("nan")

    @property
    def point_covariance(self) -> Array:
        """(3 n, 3 n) [mm2] of all points."""
        count = 3 * len(self.network.points_mm)
        return self.covariance[:count, :count]

    def pose(self, photo: int) -> Pose:
        """Pose of a camera; of a mirrored photograph as if it were flipped back."""
        return Pose(self.network.rotations[photo], self.network.positions_mm[photo])


def joint_sizes(adjustment: JointAdjustment, pairs: Sequence[tuple[int, int]]) -> Sizes:
    """Distances between points, two by two, with their joint covariance.

    Raises ComputationRefused where no known length gives the scale, or where two points coincide.
    Source: propagation of covariance, JCGM 102:2011, 6.2.
    """
    if not adjustment.is_scaled:
        raise refusal(
            "no known length gives the scale, nor do known places",
            WHERE,
            "state a known length between two points",
        )
    points = adjustment.network.points_mm
    index = checked_pairs(pairs, len(points), "a size")
    apart = points[index[:, 1]] - points[index[:, 0]]
    values = np.linalg.norm(apart, axis=1)
    if not np.isfinite(values).all() or (values == 0.0).any():
        raise refusal(
            "a size joins points that coincide or were not determined", WHERE, "choose other points"
        )
    slope = np.zeros((len(index), 3 * len(points)))
    rows = np.arange(len(index))
    for k in range(3):
        slope[rows, 3 * index[:, 1] + k] = apart[:, k] / values
        slope[rows, 3 * index[:, 0] + k] = -apart[:, k] / values
    return Sizes(values, slope @ adjustment.point_covariance @ slope.T)
