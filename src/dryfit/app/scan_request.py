"""What is asked of a scan, out of words."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import get_args

import numpy as np

from dryfit.app.scan_input import ScanRefused
from dryfit.app.scanning import Mark, ScanRequest
from dryfit.base.arrays import Array
from dryfit.base.units import LengthUnit


def read_request(
    part: str,
    file: Path,
    unit: str | None = None,
    scanner_std_mm: float = 0.0,
    reach_mm: float | None = None,
    datums: str | None = None,
    marks: Sequence[str] = (),
    is_patch: bool = False,
) -> ScanRequest:
    """The request. datums: "top,bore,side"; marks: "1,2,3=4,5,6".

    Raises ScanRefused where a unit, a datum or a mark cannot be read.
    """
    known: dict[str, LengthUnit] = {name: name for name in get_args(LengthUnit)}
    if unit is not None and unit not in known:
        raise ScanRefused(f"{unit!r} is no unit known here", "--unit", f"state one of {', '.join(known)}")
    names = tuple(name.strip() for name in datums.split(",")) if datums is not None else ()
    if datums is not None and (not all(names) or len(set(names)) != len(names)):
        raise ScanRefused(
            f"{datums!r} is no list of datums",
            "--datum",
            "name features once each, with commas: top,bore,side",
        )
    return ScanRequest(
        part,
        file,
        None if unit is None else known[unit],
        scanner_std_mm,
        reach_mm,
        names,
        tuple(_mark(text) for text in marks),
        is_patch,
    )


def read_scan_form(part: str, file: Path, typed: Mapping[str, str]) -> ScanRequest:
    """The request out of what was typed in a form.

    typed : unit, std, reach [mm], datums, marks (with ; between them), patch ("yes"); empty or not there: as the
        command's defaults
    Raises ScanRefused for a number that is none, and what read_request raises.
    """
    return read_request(
        part,
        file,
        typed.get("unit", "").strip() or None,
        _number(typed.get("std", ""), "standard uncertainty of the scanner") or 0.0,
        _number(typed.get("reach", ""), "how far off outliers lie"),
        typed.get("datums", "").strip() or None,
        [mark for mark in typed.get("marks", "").split(";") if mark.strip()],
        bool(typed.get("patch")),
    )


def _number(words: str, where: str) -> float | None:
    if not words.strip():
        return None
    try:
        value = float(words)
    except ValueError:
        value = math.nan
    if not math.isfinite(value):
        raise ScanRefused(f'"{words.strip()}" is no number', where, "give it in mm, such as 0.05")
    return value


def _mark(text: str) -> Mark:
    one, equals, two = text.partition("=")
    points = [_point(words) for words in (one, two)] if equals else []
    if len(points) != 2 or any(point is None for point in points):
        do = "state the scan's x,y,z = the part's x,y,z: 12,0,3=40,10,0"
        raise ScanRefused(f"{text!r} is no mark", "--mark", do)
    return Mark(np.asarray(points[0]), np.asarray(points[1]))


def _point(words: str) -> Array | None:
    cells = words.split(",")
    try:
        values = [float(cell) for cell in cells]
    except ValueError:
        return None
    return np.array(values) if len(values) == 3 and all(map(math.isfinite, values)) else None
