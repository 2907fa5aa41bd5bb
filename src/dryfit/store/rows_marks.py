"""Rows of a file of marks: points, lines, known lengths, planes and sizes on one photograph."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from types import MappingProxyType
from typing import Annotated, Any, ClassVar

from pydantic import AfterValidator, Field, PlainValidator

from dryfit.base.estimate import Estimate
from dryfit.calc.quantities import NotALength, read_length
from dryfit.model.photo import (
    BuildingAxis,
    MarkedLength,
    MarkedLine,
    MarkedPlane,
    MarkedPoint,
    MarkedSize,
    Point2,
)
from dryfit.store.row import Finding, Id, NotNegative, Positive, Row, Sha256, check_id, refusal
from dryfit.store.rows_photo import PixelPoint
from dryfit.store.words import describe_value, quote

_HOW = 'write a length with its unit, as text: "3660 mm", "3.66 m", "12 ft 3 1/2 in"'
_MOST = 1e9  # mm: a thousand kilometres


def check_length(value: Any) -> str:
    """A text that is a length."""
    if not isinstance(value, str):
        raise refusal(f"a length in quotes is expected here, not {describe_value(value)}", _HOW)
    try:
        read_length(value)
    except NotALength as error:
        raise refusal(f"{quote(value)} is not read as a length: {error}", _HOW) from error
    return value


Name = Annotated[str, AfterValidator(check_id)]
LengthText = Annotated[str, PlainValidator(check_length)]
Coordinate = Annotated[float, Field(ge=-_MOST, le=_MOST)]
Two = Annotated[list[str], Field(min_length=2, max_length=2)]
_EXAMPLES: Mapping[str, str] = MappingProxyType(
    {
        "schema": "schema = 1",
        "photo_sha256": "the photo_sha256 that `dryfit photo add` or `dryfit photo mark` writes",
        "std_px": "std_px = 0.7",
        "name": 'name = "door.left-foot"',
        "at_px": "at_px = [1204.5, 880.25]",
        "prototype_mm": "prototype_mm = [0, 0, 0]",
        "prototype_std_mm": "prototype_std_mm = 5",
        "plane": 'plane = "front"',
        "along": 'along = "z" (x, y or z)',
        "straight": "straight = true",
        "points_px": "points_px = [[812.0, 440.5], [1604.2, 431.0]]",
        "through": 'through = ["door.left-foot", "door.left-top"]',
        "between": 'between = ["door.left-foot", "door.left-top"]',
        "length": 'length = "2040 mm"',
        "std": 'std = "3 mm"',
        "axes": 'axes = ["x", "z"]',
        "parallel_to": 'parallel_to = "front"',
        "offset_mm": "offset_mm = 350 (towards the camera)",
        "offset_std_mm": "offset_std_mm = 20",
        "id": 'id = "drum"',
        "of": 'of = "drum.height"',
        "source": 'source = "survey of 1987"',
    }
)


class _MarkRow(Row):
    examples: ClassVar[Mapping[str, str]] = _EXAMPLES


class HeadRow(_MarkRow):
    """The keys above the tables. schema: of this kind of file."""

    photo_sha256: Sha256
    std_px: Positive


class PointRow(_MarkRow):
    """[[point]]"""

    name: Name
    at_px: PixelPoint
    std_px: Positive | None = None
    prototype_mm: Annotated[list[Coordinate], Field(min_length=3, max_length=3)] | None = None
    prototype_std_mm: NotNegative | None = None
    plane: str | None = None

    def findings(self) -> Iterator[Finding]:
        """A known point says how well it is known."""
        if self.prototype_mm is not None and self.prototype_std_mm is None:
            what = "prototype_mm is stated without its standard uncertainty"
            yield Finding(("prototype_mm",), what, "add prototype_std_mm = 5; 0 says that it is exact")
        if self.prototype_mm is None and self.prototype_std_mm is not None:
            what = "prototype_std_mm is stated without prototype_mm"
            yield Finding(("prototype_std_mm",), what, "add prototype_mm, or remove prototype_std_mm")

    def to_model(self, std_px: float) -> MarkedPoint:
        """std_px: of a mark that states none."""
        known = None
        if self.prototype_mm is not None:
            x, y, z = self.prototype_mm
            known = (x, y, z)
        std = self.std_px if self.std_px is not None else std_px
        place = _pair(self.at_px)
        return MarkedPoint(self.name, place, std, known, self.prototype_std_mm or 0.0, self.plane or "")


class LineRow(_MarkRow):
    """[[line]]"""

    name: Name
    points_px: Annotated[list[PixelPoint], Field(min_length=2)] | None = None
    through: Annotated[list[str], Field(min_length=2)] | None = None
    std_px: Positive | None = None
    along: BuildingAxis | None = None
    straight: bool | None = None
    plane: str | None = None

    def findings(self) -> Iterator[Finding]:
        """Marks of its own or points; a bow needs a third mark."""
        if (self.points_px is None) == (self.through is None):
            both = self.through is not None
            what = "points_px and through are both stated" if both else "nothing says where the line runs"
            do = f"write {_EXAMPLES['points_px']}, or {_EXAMPLES['through']}"
            yield Finding(("through",) if both else (), what, do)
        marks = self.points_px or self.through or []
        if self.straight and len(marks) == 2:
            what = "a line of two marks is straight whatever the lens does"
            yield Finding(("straight",), what, "mark a third point along it, or remove straight")
        if self.through is not None and self.std_px is not None:
            what = "a line through points has their standard uncertainty"
            yield Finding(("std_px",), what, "remove std_px, or state it with the points")
        for index, mark in enumerate(marks):
            if mark in marks[:index]:
                key = "points_px" if self.points_px is not None else "through"
                what = "the same mark stands twice along the line"
                yield Finding((key, index), what, "remove one of the two")
        if self.along is None and not self.straight:
            what = "the line says nothing of the building"
            do = 'add along = "z" for one that follows an axis, or straight = true with a third mark'
            yield Finding((), what, do)

    def to_model(self, std_px: float, marks: Mapping[str, MarkedPoint]) -> MarkedLine:
        """marks: the points by name."""
        through = tuple(self.through or ())
        places = tuple(_pair(place) for place in self.points_px or ())
        std = self.std_px if self.std_px is not None else std_px
        if through:
            places = tuple(marks[name].at_px for name in through)
            # The largest: a line is given one, and none of its marks is then trusted too far.
            std = max(marks[name].std_px for name in through)
        return MarkedLine(
            name=self.name,
            points_px=places,
            std_px=std,
            through=through,
            along=self.along or "",
            is_straight=bool(self.straight),
            plane=self.plane or "",
        )


class LengthRow(_MarkRow):
    """[[length]]"""

    between: Two
    length: LengthText
    std: LengthText
    along: BuildingAxis | None = None
    source: str | None = None

    def findings(self) -> Iterator[Finding]:
        """Between two points, longer than nothing."""
        yield from _find_ends(self.between)
        if read_length(self.length) <= 0.0:
            yield Finding(("length",), "a known length is longer than nothing", _HOW)

    def to_model(self) -> MarkedLength:
        """The record [mm]."""
        length = Estimate(read_length(self.length), read_length(self.std))
        ends = (self.between[0], self.between[1])
        return MarkedLength(ends, length, self.along or "", self.source or "", self.length)


class PlaneRow(_MarkRow):
    """[[plane]]"""

    name: Name
    axes: Annotated[list[BuildingAxis], Field(min_length=2, max_length=2)] | None = None
    parallel_to: str | None = None
    offset_mm: Coordinate | None = None
    offset_std_mm: NotNegative | None = None

    def findings(self) -> Iterator[Finding]:
        """A plane by its axes, or parallel to such a one at a stated offset."""
        if (self.axes is None) == (self.parallel_to is None):
            both = self.axes is not None
            what = "axes and parallel_to are both stated" if both else "nothing says how the plane runs"
            do = f"write {_EXAMPLES['axes']}, or {_EXAMPLES['parallel_to']} with its offset"
            yield Finding(("axes",) if both else (), what, do)
        if self.axes is not None and self.axes[0] == self.axes[1]:
            yield Finding(("axes",), "a plane runs along two different axes", _EXAMPLES["axes"])
        for key in ("offset_mm", "offset_std_mm"):
            if self.parallel_to is not None and getattr(self, key) is None:
                what = f"a plane parallel to another needs {key}"
                yield Finding((), what, f"add {_EXAMPLES[key]}")
            if self.parallel_to is None and getattr(self, key) is not None:
                yield Finding((key,), f"{key} is stated without parallel_to", "say from which plane")

    def to_model(self, axes: tuple[BuildingAxis, BuildingAxis]) -> MarkedPlane:
        """axes: its own, or those of the plane to which it is parallel."""
        offset = Estimate(self.offset_mm or 0.0, self.offset_std_mm or 0.0)
        return MarkedPlane(self.name, axes, self.parallel_to or "", offset)


class SizeRow(_MarkRow):
    """[[size]]"""

    id: Id
    between: Two
    of: Id
    along: BuildingAxis | None = None

    def findings(self) -> Iterator[Finding]:
        """Between two points."""
        yield from _find_ends(self.between)

    def to_model(self) -> MarkedSize:
        """The record."""
        return MarkedSize(self.id, (self.between[0], self.between[1]), self.of, self.along or "")


def _find_ends(between: list[str]) -> Iterator[Finding]:
    if between[0] == between[1]:
        yield Finding(("between",), "both ends are the same point", "name two different points")


def _pair(place: list[float]) -> Point2:
    return place[0], place[1]
