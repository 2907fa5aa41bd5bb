"""Values of observations and relations as people write them: numbers with a unit, lengths as text, dates."""

from __future__ import annotations

import datetime
import math
import re
from typing import Annotated, Any

from pydantic import Field, PlainValidator

from dryfit.base.units import MM_PER_UNIT, LengthUnit
from dryfit.calc.quantities import NotALength, read_length
from dryfit.store.row import Finding, Row, refusal
from dryfit.store.words import describe_value, quote

_DATE = re.compile(r"\d{4}(-(0[1-9]|1[0-2])(-(0[1-9]|[12]\d|3[01]))?)?", re.ASCII)
_HOW = 'write a length as value = 3660 with unit = "mm", or as text: "3.66 m", "12 ft 3 1/2 in"'


def check_quantity(value: Any) -> float | str:
    """A number, or a text that may be a length; which of them is right shows with the other keys."""
    if isinstance(value, str):
        return value
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise refusal(f"a number or a text is expected here, not {describe_value(value)}", _HOW)
    if not math.isfinite(value) or abs(value) > 1e12:
        raise refusal(f"{describe_value(value)} is no size", "write a finite number")
    return float(value)


def check_terms(value: Any) -> dict[str, float]:
    """A dimension, or coefficients over dimensions."""
    if isinstance(value, str):
        return {value: 1.0}
    do = 'write of = "drum.height", or of = { "drum.height" = 1, "dome.rise" = 1 }'
    if not isinstance(value, dict) or not value:
        raise refusal(
            f"a dimension or a table of coefficients is expected here, not {describe_value(value)}", do
        )
    for name, factor in value.items():
        if isinstance(factor, bool) or not isinstance(factor, int | float):
            raise refusal(f"the coefficient of {quote(name)} is {describe_value(factor)}", do)
        if not math.isfinite(factor) or not 1e-6 <= abs(factor) <= 1e6:
            what = f"the coefficient of {quote(name)} is {describe_value(factor)}"
            raise refusal(what, "write one between 0.000001 and a million, with either sign")
    return {name: float(factor) for name, factor in value.items()}


def check_date(value: Any) -> str:
    """A year, month or day."""
    if isinstance(value, datetime.date) and not isinstance(value, datetime.datetime):
        return value.isoformat()
    if isinstance(value, str) and _DATE.fullmatch(value):
        return value
    raise refusal(f"{describe_value(value)} is no date", 'write "1987", "1987-06" or "1987-06-12"')


Quantity = Annotated[float | str, PlainValidator(check_quantity)]
Terms = Annotated[dict[str, float], PlainValidator(check_terms)]
Date = Annotated[str, PlainValidator(check_date)]
Two = Annotated[list[str], Field(min_length=2, max_length=2)]


class Measured(Row):
    """Keys that are quantities in one unit."""

    unit: LengthUnit | None = None

    def read(self, key: str, value: float | str, is_length: bool) -> tuple[float, Finding | None]:
        """[mm] or [-] of one key, with what is wrong with it."""
        path = (key,)
        if not is_length:
            if isinstance(value, str):
                return 0.0, Finding(
                    path, f"a ratio is a number, not {describe_value(value)}", f"write {key} = 0.41"
                )
            return value, None
        if value == 0.0:
            return 0.0, None  # nothing is nothing in every unit
        if isinstance(value, float):
            if self.unit is None:
                what = f"{key} is a number without a unit"
                return 0.0, Finding(path, what, f'add unit = "mm", or write {key} = "{value:g} mm"')
            return value * MM_PER_UNIT[self.unit], None
        # Only a difference may be negative; where it is none, that is told as such.
        sign, text = (-1.0, value.strip()[1:]) if value.strip().startswith("-") else (1.0, value)
        try:
            return sign * read_length(text, self.unit), None
        except NotALength as error:
            return 0.0, Finding(path, f"{quote(value)} is not read as a length: {error}", _HOW)
