"""Marks as a command line writes them: NAME=X,Y and the like."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

from dryfit.app.photo_marking import MarkChanges, MarkRefused

_POINT = "write NAME=X,Y, such as door.foot=1204.5,880.2"
_LINE = "write NAME=X,Y:X,Y, such as eave=120,430:1604,428; or NAME=POINT:POINT of marked points"
_LENGTH = "write POINT:POINT=LENGTH,STD, such as door.foot:door.top=2040 mm,3 mm"
_KNOWN = "write NAME=X,Y,Z,STD in mm of the prototype, such as door.foot=0,0,0,5"
_PLANE = "write NAME=AXES, such as front=xz; or NAME=PLANE,OFFSET,STD in mm, such as cornice=front,350,20"
_SIZE = "write ID=POINT:POINT,DIMENSION, such as drum=drum.foot:drum.top,drum.height"


def read_changes(
    points: Sequence[str] = (),
    known: Sequence[str] = (),
    lines: Sequence[str] = (),
    lengths: Sequence[str] = (),
    planes: Sequence[str] = (),
    sizes: Sequence[str] = (),
    along: str | None = None,
    straight: bool = False,
    plane: str | None = None,
    std_px: float | None = None,
    each_std_px: float | None = None,
    remove: Sequence[str] = (),
    same_picture: bool = False,
) -> MarkChanges:
    """Changes of marks from words.

    along, straight : of the lines, lengths and sizes named here   plane : of the points and lines
    std_px : of marks that state none   each_std_px : of the points and lines named here
    Raises MarkRefused with how it is written.
    """
    rows: dict[str, dict[str, Any]] = {}
    for word in points:
        name, place = _split(word, "--point", _POINT)
        rows[name] = {"name": name, "at_px": _numbers(place, 2, word, "--point", _POINT)}
        rows[name] |= {"std_px": each_std_px, "plane": plane}
    for word in known:
        name, place = _split(word, "--known", _KNOWN)
        x, y, z, std = _numbers(place, 4, word, "--known", _KNOWN)
        rows.setdefault(name, {"name": name})
        rows[name] |= {"prototype_mm": [x, y, z], "prototype_std_mm": std}
    return MarkChanges(
        points=tuple(rows.values()),
        lines=tuple(_line(word, along, straight, plane, each_std_px) for word in lines),
        lengths=tuple(_length(word, along) for word in lengths),
        planes=tuple(_plane(word) for word in planes),
        sizes=tuple(_size(word, along) for word in sizes),
        remove=tuple(remove),
        std_px=std_px,
        same_picture=same_picture,
    )


def _line(
    word: str, along: str | None, straight: bool, plane: str | None, std_px: float | None
) -> dict[str, Any]:
    name, places = _split(word, "--line", _LINE)
    steps = places.split(":")
    row: dict[str, Any] = {"name": name, "along": along, "straight": straight or None, "plane": plane}
    if len(steps) < 2:
        raise MarkRefused(f'"{word}" has one end only', "--line", _LINE)
    if all("," in step for step in steps):
        row["points_px"] = [_numbers(step, 2, word, "--line", _LINE) for step in steps]
        row["std_px"] = std_px
    else:
        row["through"] = steps
    return row


def _length(word: str, along: str | None) -> dict[str, Any]:
    ends, value = _split(word, "--length", _LENGTH)
    between, parts = ends.split(":"), [part.strip() for part in value.split(",")]
    if len(between) != 2 or len(parts) != 2:
        raise MarkRefused(f'"{word}" is not read as a known length', "--length", _LENGTH)
    return {"between": between, "length": parts[0], "std": parts[1], "along": along}


def _plane(word: str) -> dict[str, Any]:
    name, value = _split(word, "--plane", _PLANE)
    parts = value.split(",")
    if len(parts) == 1 and len(value) == 2:
        return {"name": name, "axes": list(value)}
    if len(parts) != 3:
        raise MarkRefused(f'"{word}" is not read as a plane', "--plane", _PLANE)
    offset, std = _numbers(",".join(parts[1:]), 2, word, "--plane", _PLANE)
    return {"name": name, "parallel_to": parts[0], "offset_mm": offset, "offset_std_mm": std}


def _size(word: str, along: str | None) -> dict[str, Any]:
    id, value = _split(word, "--size", _SIZE)
    ends, comma, dimension = value.partition(",")
    between = ends.split(":")
    if not comma or len(between) != 2 or not dimension:
        raise MarkRefused(f'"{word}" is not read as a size', "--size", _SIZE)
    return {"id": id, "between": between, "of": dimension, "along": along}


def _split(word: str, option: str, how: str) -> tuple[str, str]:
    name, mark, rest = word.partition("=")
    if not mark or not name.strip() or not rest.strip():
        raise MarkRefused(f'"{word}" is not read as a mark', option, how)
    return name.strip(), rest.strip()


def _numbers(text: str, count: int, word: str, option: str, how: str) -> list[float]:
    try:
        values = [float(part) for part in text.split(",")]
    except ValueError:
        values = []
    if len(values) != count or not all(math.isfinite(value) for value in values):
        raise MarkRefused(f'"{word}" does not hold {count} numbers', option, how)
    return values
