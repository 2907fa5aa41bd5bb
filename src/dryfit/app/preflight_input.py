"""Answers of the routine before a long print: from options, a conversation, a CSV or a JSON file."""

from __future__ import annotations

import hashlib
import json
import math
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from dryfit.app.csv_rows import LARGEST_BYTES, attempt, read_csv
from dryfit.app.moments import parse_moment
from dryfit.app.preflight_records import (
    AGAINST,
    ITEMS,
    PLANES,
    Against,
    Answer,
    ItemAnswer,
    Plane,
    PreflightRefused,
    SquareReading,
)
from dryfit.base.errors import DryfitError, Fault, RowsRefused
from dryfit.store.ledger import write_time
from dryfit.store.words import suggest

REQUIRED = ("hours",)
OPTIONAL = (
    "at",
    "by",
    "against",
    "square",
    "height_mm",
    *(f"{plane}_gap_mm" for plane in PLANES),
    *ITEMS,
    "filament_g",
    "part",
    "adjusted",
)
FIELDS = (*REQUIRED, *OPTIONAL)

MOST_HOURS = 200_000.0  # twenty years without a pause: more is a slip
STEEPEST_DEG = 5.0  # no printer leans so far (common practice, no source)
_OK = frozenset({"ok", "yes", "y", "done", "good"})
_SKIPPED = frozenset({"", "skip", "skipped", "-"})
_WRONG = frozenset({"no", "n", "wrong", "bad"})


@dataclass(frozen=True, slots=True)
class Entry:
    """The answers of one check, read and in range; what was not answered is None, "" or left out.

    at          UTC, ISO 8601; None: now
    height_mm   at which the gaps were taken
    gaps        by plane: gap [mm] and +1 or -1 for where the stock pointed
    file_sha256  of the file that it was read from; None for an answer given otherwise
    """

    hours: float
    at: str | None = None
    by: str = ""
    against: Against = "upright"
    square: str | None = None
    height_mm: float | None = None
    gaps: Mapping[Plane, tuple[float, int]] | None = None
    items: tuple[ItemAnswer, ...] = ()
    filament_g: float | None = None
    part: str | None = None
    adjusted: str = ""
    file_sha256: str | None = None

    @property
    def squares(self) -> tuple[SquareReading, ...]:
        """Readings of the square. Every gap has its height: read_entry sees to that."""
        gaps = self.gaps or {}
        if not gaps or self.height_mm is None:
            return ()
        return tuple(
            SquareReading(plane, gaps[plane][0], self.height_mm, gaps[plane][1])
            for plane in PLANES
            if plane in gaps
        )


def read_entry(cells: Mapping[str, str], where: str, file_sha256: str | None = None) -> Entry:
    """The entry of some answers by field; a missing one was not answered.

    Raises RowsRefused with every answer that cannot be right.
    """
    faults: list[Fault] = []
    entry = _entry(cells, where, faults, file_sha256)
    if entry is None:
        raise RowsRefused(where, faults)
    return entry


def read_file(path: Path) -> tuple[Entry, ...]:
    """The checks of a file, oldest first as they stand there: *.json, else CSV.

    CSV: the first line names columns out of FIELDS. JSON: a list of tables with those keys, or one table.
    Raises RowsRefused with every fault.
    """
    if path.suffix.lower() == ".json":
        return _read_json(path)
    table = read_csv(path, REQUIRED, OPTIONAL)
    faults: list[Fault] = []
    entries = [_entry(row.cells, table.where(row.line), faults, table.sha256) for row in table.rows]
    if faults:
        raise RowsRefused(table.name, faults)
    return tuple(entry for entry in entries if entry is not None)


def check_answer(field: str, text: str) -> None:
    """Raises PreflightRefused where a text is no answer to a field; a conversation asks again then."""
    if field in ITEMS or field in ("by", "adjusted", "part", "square"):
        return
    if field == "at":
        read_moment(text)
    elif field == "against":
        _read_against(text)
    elif field.endswith("_gap_mm"):
        read_gap(text, _plane(field))
    elif field == "hours":
        read_hours(text)
    else:
        _positive(text, field)


def known_item(word: str, where: str) -> str:
    """A line of the routine by its name. Raises PreflightRefused where there is none."""
    name = word.strip().lower()
    if name not in ITEMS:
        raise PreflightRefused(
            f'the routine has no line "{word.strip()}"', where, suggest(name, ITEMS, "lines")
        )
    return name


def read_hours(text: str) -> float:
    """Hours of the machine's meter."""
    value = _number(text, "hours")
    if not 0.0 <= value <= MOST_HOURS:
        raise PreflightRefused(
            f"an hour meter of {text.strip()} h",
            "hours",
            f"write the machine's hours of printing, 0 to {MOST_HOURS:g}",
        )
    return value


def read_gap(text: str, plane: Plane) -> tuple[float, int]:
    """A gap [mm] and where the stock pointed: "0.15", or "0.15 -x" for a stock along the negative axis."""
    words = text.split()
    where, axis = f"{plane}_gap_mm", plane[0]
    if len(words) not in (1, 2):
        raise PreflightRefused(
            f'"{text.strip()}" is no gap', where, f"write it in mm, such as 0.15 or -0.10, or 0.15 -{axis}"
        )
    value = _number(words[0], where)
    if len(words) == 1:
        return value, 1
    sides = {f"+{axis}": 1, f"-{axis}": -1}
    if words[1].lower() not in sides:
        raise PreflightRefused(
            f'"{words[1]}" is no direction of the stock in {plane}', where, f"write +{axis} or -{axis}"
        )
    return value, sides[words[1].lower()]


def read_item(item: str, text: str) -> ItemAnswer:
    """An answer to a line of the routine: ok, skip, or in words what is wrong."""
    words = text.strip()
    kind: Answer = "wrong"
    if words.lower() in _OK:
        kind, words = "ok", ""
    elif words.lower() in _SKIPPED:
        kind, words = "skipped", ""
    elif words.lower() in _WRONG:
        words = ""
    return ItemAnswer(item, kind, words)


def read_moment(text: str) -> str:
    """A day (noon, UTC) or a time, as the ledger writes it."""
    words = text.strip()
    try:
        moment = parse_moment(text)
    except ValueError as error:
        raise PreflightRefused(
            f'"{words}" is no day', "at", "write it like 2026-11-18 or 2026-11-18T14:30+01:00"
        ) from error
    if moment.tzinfo is None:
        raise PreflightRefused(
            f'"{words}" has no time zone', "at", "add it, such as +01:00, or write the day alone"
        )
    return write_time(moment)


def _entry(
    cells: Mapping[str, str], where: str, faults: list[Fault], file_sha256: str | None
) -> Entry | None:
    """Every answer read; None, and its faults added, where one is refused."""
    count = len(faults)
    faults += [
        Fault(where, f'"{field}" is no answer of the routine', suggest(field, FIELDS, "answers"))
        for field in cells
        if field not in FIELDS
    ]
    if not cells.get("hours", "").strip():
        faults.append(Fault(where, "no hours are given", "state the machine's hour meter"))
    for field, text in cells.items():
        if field in FIELDS and text.strip():
            attempt(faults, where, lambda field=field, text=text: check_answer(field, text))  # type: ignore[misc]
    if len(faults) > count:
        return None
    entry = _build({field: text.strip() for field, text in cells.items() if text.strip()}, file_sha256)
    faults += _check_together(entry, where)
    return entry if len(faults) == count else None


def _build(held: Mapping[str, str], file_sha256: str | None) -> Entry:
    gaps = {plane: read_gap(held[f"{plane}_gap_mm"], plane) for plane in PLANES if f"{plane}_gap_mm" in held}
    return Entry(
        hours=read_hours(held["hours"]),
        at=read_moment(held["at"]) if "at" in held else None,
        by=held.get("by", ""),
        against=_read_against(held["against"]) if "against" in held else "upright",
        square=held.get("square"),
        height_mm=_positive(held["height_mm"], "height_mm") if "height_mm" in held else None,
        gaps=gaps,
        items=tuple(read_item(item, held[item]) for item in ITEMS if item in held),
        filament_g=_positive(held["filament_g"], "filament_g") if "filament_g" in held else None,
        part=held.get("part"),
        adjusted=held.get("adjusted", ""),
        file_sha256=file_sha256,
    )


def _check_together(entry: Entry, where: str) -> list[Fault]:
    gaps = entry.gaps or {}
    if not gaps:
        return []
    if entry.height_mm is None:
        return [Fault(where, "a gap is given and no height", "state at which height it was taken: height_mm")]
    faults = []
    for gap, _ in gaps.values():
        lean = math.degrees(math.atan(abs(gap) / entry.height_mm))
        if lean > STEEPEST_DEG:
            what = f"a gap of {gap:g} mm at {entry.height_mm:g} mm is {lean:.0f} degrees: no printer leans so far"
            faults.append(Fault(where, what, "write gap and height in mm"))
    return faults


def _read_json(path: Path) -> tuple[Entry, ...]:
    try:
        with path.open("rb") as stream:
            data = stream.read(LARGEST_BYTES + 1)
        held = json.loads(data[:LARGEST_BYTES].decode("utf-8"))
    except (OSError, UnicodeDecodeError, ValueError, RecursionError) as error:
        fault = Fault(path.name, f"the file cannot be read: {error}", "name a JSON file of checks")
        raise RowsRefused(path.name, [fault]) from error
    rows = held if isinstance(held, list) else [held]
    faults: list[Fault] = []
    entries = []
    digest = hashlib.sha256(data).hexdigest()
    for place, row in enumerate(rows):
        where = f"{path.name} [{place}]"
        if not isinstance(row, dict) or not all(_is_plain(value) for value in row.values()):
            faults.append(
                Fault(where, "no table of texts and numbers", f"give keys out of {', '.join(FIELDS)}")
            )
            continue
        entries.append(_entry({key: _text(value) for key, value in row.items()}, where, faults, digest))
    if not rows:
        faults.append(Fault(path.name, "the file holds no check", "give at least one"))
    if faults:
        raise RowsRefused(path.name, faults)
    return tuple(entry for entry in entries if entry is not None)


def _is_plain(value: object) -> bool:
    return value is None or isinstance(value, str | int | float)


def _text(value: object) -> str:
    if isinstance(value, bool):
        return "ok" if value else "no"
    return "" if value is None else str(value)


def _plane(field: str) -> Plane:
    return next(plane for plane in PLANES if field == f"{plane}_gap_mm")


def _read_against(text: str) -> Against:
    found = next((word for word in AGAINST if word == text.strip().lower()), None)
    if found is None:
        raise PreflightRefused(
            f'a square is not held against "{text.strip()}"', "against", suggest(text, AGAINST, "choices")
        )
    return found


def _positive(text: str, where: str) -> float:
    value = _number(text, where)
    if not value > 0.0:
        raise PreflightRefused(f"{where} of {text.strip()}", where, "write a number above 0")
    return value


def _number(text: str, where: str) -> float:
    from dryfit.app.reading_checks import read_value

    try:
        return read_value(text, where)
    except DryfitError as error:
        raise PreflightRefused(error.what, where, error.do.replace("299.84", "0.15")) from error
