"""What was measured on photographs: pieces that share a camera, suspects, and what was not measured and why."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

import numpy as np

from dryfit.app.photo_groups import PhotoGroup
from dryfit.base.arrays import Array, locked
from dryfit.base.errors import DryfitError
from dryfit.base.estimate import Estimate
from dryfit.model.evidence import JointObservations
from dryfit.model.photo import MarkedSize

# Probability that anything is suspected in a photograph where nothing is wrong.
LEVEL = 0.05
Method = Literal["together with other photographs", "plane", "heights from vanishing points"]


class SizeNotMeasured(DryfitError):
    """A size cannot be measured on its photograph with the marks as they are."""


@dataclass(frozen=True, slots=True)
class Suspect:
    """Something that does not go together with the rest. photo: "" where it is about several.

    test   standard normal, or chi-square of two degrees of freedom, without blunders; None where it is no such test
    """

    photo: str
    where: str
    what: str
    do: str
    test: float | None = None


@dataclass(frozen=True, slots=True)
class Wanted:
    """A size that is marked on a photograph."""

    photo: str
    size: MarkedSize

    @property
    def id(self) -> str:
        return f"{self.photo}: {self.size.id}"


@dataclass(frozen=True, slots=True, eq=False)
class Piece:
    """Sizes measured together with one camera, or with several.

    photos       ids of the photographs that took part;  about: the plane
    values_mm (k,), covariance (k, k) [mm2]
    shared       what other photographs may rest on too, such as a known length: how each size moves by one standard
                 uncertainty of it (k,) [mm]
    one_scale    (k,) by how much one scale for the picture would be wrong [-]; NaN where that is not known
    rms_px       root mean square of the residuals of the marks; NaN where the method has none
    p_value      of the global test; None without degrees of freedom
    is_framed    whether known places took part, so that each of them was tested with all photographs
    """

    photos: tuple[str, ...]
    method: Method
    about: str
    wanted: tuple[Wanted, ...]
    values_mm: Array
    covariance: Array
    shared: Mapping[str, Array]
    one_scale: Array
    rms_px: float
    p_value: float | None
    suspects: tuple[Suspect, ...] = ()
    notes: tuple[str, ...] = ()
    is_framed: bool = False

    def __post_init__(self) -> None:
        count = len(self.wanted)
        for name, shape in (("values_mm", (count,)), ("covariance", (count, count))):
            object.__setattr__(self, name, locked(getattr(self, name), shape, name))

    def budget(self, place: int) -> tuple[Cause, ...]:
        """What the variance of one size is made of, the largest first; the rest is of marks and camera."""
        parts = {name: float(moved[place] ** 2) for name, moved in self.shared.items()}
        rest = max(float(self.covariance[place, place]) - sum(parts.values()), 0.0)
        causes = [
            Cause("marks and camera", rest**0.5),
            *(Cause(name, value**0.5) for name, value in parts.items()),
        ]
        return tuple(sorted(causes, key=lambda cause: -cause.std_mm))


@dataclass(frozen=True, slots=True)
class Cause:
    """One cause of a size's uncertainty."""

    cause: str
    std_mm: float


@dataclass(frozen=True, slots=True)
class Tried:
    """A camera method that did not measure a size, and why."""

    method: str
    why: str
    do: str = ""


@dataclass(frozen=True, slots=True)
class SizeLine:
    """A size that was measured, in the prototype [mm].

    one_scale    by how much one scale for the picture would be wrong [-]; None where that is not known
    others       methods that were not used, and why
    is_used      whether the schedule takes it;  why_not: where it does not
    """

    id: str
    photo: str
    photos: tuple[str, ...]
    between: tuple[str, str]
    dimension: str
    method: str
    about: str
    value_mm: float
    std_mm: float
    causes: tuple[Cause, ...]
    one_scale: float | None
    rms_px: float | None
    p_value: float | None
    others: tuple[Tried, ...]
    notes: tuple[str, ...]
    is_used: bool
    why_not: str

    @property
    def value(self) -> Estimate:
        """The size with its standard uncertainty."""
        return Estimate(self.value_mm, self.std_mm)


@dataclass(frozen=True, slots=True)
class NotUsed:
    """Sizes of photographs that the schedule does not take, and why. sizes: ids; () all that there may be."""

    photos: tuple[str, ...]
    sizes: tuple[str, ...]
    why: str
    do: str


@dataclass(frozen=True, slots=True, eq=False)
class PhotoEvidence:
    """Everything that photographs say of dimensions.

    extras    what the schedule takes: sizes measured together, with their covariance
    groups    which photographs were adjusted together, and why others were not
    """

    lines: tuple[SizeLine, ...] = ()
    suspects: tuple[Suspect, ...] = ()
    not_used: tuple[NotUsed, ...] = ()
    extras: tuple[JointObservations, ...] = ()
    groups: tuple[PhotoGroup, ...] = ()


@dataclass(slots=True)
class Log:
    """Why a method did not measure a size, by the size's id, while methods are tried."""

    tried: dict[str, list[Tried]] = field(default_factory=dict)

    def add(self, wanted: Wanted, method: str, why: str, do: str = "") -> None:
        self.tried.setdefault(wanted.id, []).append(Tried(method, why, do))

    def of(self, wanted: Wanted) -> tuple[Tried, ...]:
        return tuple(self.tried.get(wanted.id, ()))


def rms(residual_px: Array) -> float:
    """Root mean square of residuals (n, 2) [px] per coordinate; NaN where there are none."""
    fine = residual_px[np.isfinite(residual_px).all(axis=1)] if len(residual_px) else residual_px
    return float(np.sqrt(np.mean(fine**2))) if len(fine) else float("nan")
