"""What can be a reading at all: values, temperatures, instruments that fit."""

from __future__ import annotations

import math

from dryfit.base.errors import DryfitError
from dryfit.model.artefact import Measure
from dryfit.model.instrument import Instrument

# A workshop; what lies outside is a slip of unit or of the decimal point.
COLDEST_ROOM_C, HOTTEST_ROOM_C = -10.0, 50.0


class ReadingRefused(DryfitError):
    """A value that cannot be a reading, confirmed or not."""


def check_readable(instrument: Instrument, measure: Measure) -> None:
    """Raises ReadingRefused where the instrument cannot read this kind of measure at all."""
    if measure.kind not in instrument.measures:
        what = f"a {instrument.kind} does not read measure {measure.number} ({measure.kind})"
        do = f"{instrument.id} reads: {', '.join(instrument.measures)}; name another instrument"
        raise ReadingRefused(what, f"instrument {instrument.id}", do)


def check_value(measure: Measure, value_mm: float, text: str) -> None:
    """Raises ReadingRefused for a value that no confirmation makes a reading."""
    where = f"measure {measure.number}"
    if not math.isfinite(value_mm):
        raise ReadingRefused(f"{text} is no finite number", where, "write what the instrument shows, in mm")
    if measure.kind != "square" and not value_mm > 0:
        raise ReadingRefused(f"a length of {text} mm", where, "write what the instrument shows, above 0")


def read_value(text: str, where: str) -> float:
    """A typed number in mm. Raises ReadingRefused where it is none; nothing is guessed."""
    words = text.strip()
    try:
        value = float(words) if "_" not in words else math.nan
    except ValueError:
        value = math.nan
    if math.isfinite(value):
        return value
    do = "write a plain number in mm, such as 299.84"
    if "," in words:
        do = f"write decimals with a point: {words.replace(',', '.')}"
    raise ReadingRefused(f'"{words}" is no number', where, do)


def read_temperature(text: str, where: str = "--temp") -> float:
    """A temperature of a workshop in degrees C. Raises ReadingRefused otherwise."""
    value = read_value(text, where)
    check_temperature(value, where)
    return value


def check_temperature(temp_c: float, where: str) -> None:
    """Raises ReadingRefused where it is none of a workshop."""
    if not COLDEST_ROOM_C <= temp_c <= HOTTEST_ROOM_C:
        what = f"{temp_c:g} C is no temperature of a workshop"
        do = f"write it in degrees C, {COLDEST_ROOM_C:g} to {HOTTEST_ROOM_C:g}, such as 21.5"
        raise ReadingRefused(what, where, do)
