"""What a user asks for when adding a feature, read from typed words: numbers, points, limits."""

from __future__ import annotations

import math
from dataclasses import dataclass

from dryfit.base.errors import DryfitError

Triple = tuple[float, float, float]
Limits = tuple[float | None, float | None]


class FeatureRefused(DryfitError):
    """A feature cannot be added as it was asked for."""


@dataclass(frozen=True, slots=True)
class FeatureRequest:
    """A feature as it was asked for, before anything was looked up.

    kind        as typed
    id          None: made from part and kind
    parts       one for all faces, or one for each of them: those at points first, then those by direction
    at          points on faces [mm, assembly]; of a section, the one point of its plane
    toward      directions in which faces look, for faces found by direction
    along       direction of an extent, a section or a position from a point
    start       datum point of a position
    across      normal of the cutting plane of a section
    nominal, std        in the unit of the kind
    limits, deviations  (lower, upper), None for a side without limit
    """

    kind: str
    id: str | None = None
    parts: tuple[str, ...] = ()
    at: tuple[Triple, ...] = ()
    toward: tuple[Triple, ...] = ()
    along: Triple | None = None
    start: Triple | None = None
    across: Triple | None = None
    nominal: float | None = None
    std: float | None = None
    dimension: str | None = None
    limits: Limits | None = None
    deviations: Limits | None = None
    iso_286: str | None = None
    iso_2768: str | None = None


def read_triple(text: str, option: str) -> Triple:
    """Three numbers of a text "X,Y,Z"; option is named where they are not. Raises FeatureRefused."""
    fields = text.split(",")
    if len(fields) != 3:
        raise _refuse(f'"{text}" holds {len(fields)} of three numbers', option, "X,Y,Z, such as 520,0,40")
    x, y, z = (_read_number(field, text, option, "X,Y,Z, such as 520,0,40") for field in fields)
    return x, y, z


def read_direction(text: str, option: str) -> Triple:
    """The direction of a text "X,Y,Z", made one long. Raises FeatureRefused."""
    vector = read_triple(text, option)
    norm = math.hypot(*vector)
    if not 0.0 < norm < math.inf:
        raise _refuse(f'"{text}" is no direction', option, "X,Y,Z, such as 0,0,1")
    x, y, z = (component / norm + 0.0 for component in vector)
    return x, y, z


def read_limits(text: str, option: str) -> Limits:
    """(lower, upper) of a text "LO,HI"; either may be left out. Raises FeatureRefused."""
    sides = [side.strip() for side in text.split(",")]
    if len(sides) != 2 or sides == ["", ""]:
        raise _refuse(f'"{text}" is no pair of limits', option, 'LO,HI, such as 19.8,20.2; or ",HI" for one')
    lower, upper = (_read_number(side, text, option, "LO,HI") if side else None for side in sides)
    return lower, upper


def _read_number(field: str, text: str, option: str, form: str) -> float:
    try:
        number = float(field)
    except ValueError:
        number = math.nan
    if not math.isfinite(number):
        raise _refuse(f'"{field.strip()}" in "{text}" is no number', option, form)
    return number


def _refuse(what: str, option: str, form: str) -> FeatureRefused:
    return FeatureRefused(what, option, f"write it as {form}")
