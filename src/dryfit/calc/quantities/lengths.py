"""A length written as text: "3.66 m", "12 ft 3 1/2 in", "12'-3 1/2\\"".

Only what has one meaning is read. A decimal comma, a thousands separator or a number without a unit is refused: a
slip of a factor of a thousand is the costliest there is.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from fractions import Fraction
from types import MappingProxyType

from dryfit.base.units import MM_PER_UNIT, LengthUnit

_UNITS: Mapping[str, LengthUnit] = MappingProxyType(
    {
        "um": "um",
        "mm": "mm",
        "cm": "cm",
        "m": "m",
        **dict.fromkeys(("in", "in.", "inch", "inches", '"', "''"), "in"),
        **dict.fromkeys(("ft", "ft.", "foot", "feet", "'"), "ft"),
    }
)
_VULGAR: Mapping[str, str] = MappingProxyType(
    {
        "½": "1/2",
        "¼": "1/4",
        "¾": "3/4",
        "⅛": "1/8",
        "⅜": "3/8",
        "⅝": "5/8",
        "⅞": "7/8",
        "⅓": "1/3",
        "⅔": "2/3",
    }
)
_MARKS = str.maketrans({"′": "'", "’": "'", "″": '"', "”": '"', "–": "-", "\u2212": "-", "\u00a0": " "})
# 3, 3.5, 1/2, 3 1/2, 3-1/2
_NUMBER = r"(?:(?P<{0}w>\d{{1,9}})[ -]+)?(?P<{0}n>\d{{1,4}})/(?P<{0}d>\d{{1,4}})|(?P<{0}x>\d{{1,9}}(?:\.\d{{1,9}})?)"
_FEET = r"(?:ft\.?|foot|feet|')"
_INCHES = r"(?:in\.?|inch|inches|\"|'')"
_BOTH = re.compile(
    rf"(?P<f>\d{{1,9}}) *{_FEET} *-? *(?:{_NUMBER.format('i')}) *{_INCHES}", re.ASCII | re.IGNORECASE
)
_ONE = re.compile(rf"(?:{_NUMBER.format('o')}) *(?P<u>[A-Za-z.'\"]*)", re.ASCII)
LONGEST = 60  # characters


class NotALength(ValueError):
    """The text is no length that has one meaning; its message says why."""


def read_length(text: str, unit: LengthUnit | None = None) -> float:
    """[mm] of a length as text.

    unit : what a number without one is in; None: it is refused
    Raises NotALength. Source of the units: international yard and pound agreement of 1959, one inch is 25.4 mm.
    """
    plain = _plain(text)
    both = _BOTH.fullmatch(plain)
    if both is not None:
        inches = _number(both, "i")
        if inches >= 12:
            raise NotALength("beside feet there are fewer than 12 inches")
        return float((12 * int(both["f"]) + inches) * Fraction("25.4"))
    one = _ONE.fullmatch(plain)
    if one is None:
        raise NotALength(_why_not(plain))
    word = one["u"] if one["u"] in _UNITS else one["u"].lower()
    if not word:
        if unit is None:
            raise NotALength("the number has no unit")
        return float(_number(one, "o") * Fraction(str(MM_PER_UNIT[unit])))
    # A capital M is no metre, and "Mm" no millimetre: letters of metric units are taken as they stand.
    if word not in _UNITS or (one["u"] != word and _UNITS[word] not in ("in", "ft")):
        raise NotALength(f"{one['u']!r} is no unit of length that is known here")
    return float(_number(one, "o") * Fraction(str(MM_PER_UNIT[_UNITS[word]])))


def _plain(text: str) -> str:
    if len(text) > LONGEST:
        raise NotALength("the text is too long for a length")
    plain = text.translate(_MARKS).strip()
    for sign, fraction in _VULGAR.items():
        plain = plain.replace(sign, f" {fraction}")
    return re.sub(r" +", " ", plain).strip()


def _number(match: re.Match[str], group: str) -> Fraction:
    if match[f"{group}x"] is not None:
        return Fraction(match[f"{group}x"])
    above, below = int(match[f"{group}n"]), int(match[f"{group}d"])
    if below == 0:
        raise NotALength("a fraction has a zero below")
    if match[f"{group}w"] is not None and above >= below:
        raise NotALength(f"{above}/{below} beside a whole number is no fraction of one")
    return Fraction(above, below) + int(match[f"{group}w"] or 0)


def _why_not(plain: str) -> str:
    if "," in plain:
        return "a comma may be a decimal point or part thousands: write 3.66 or 3660"
    if plain.startswith("-"):
        return "a length is not negative"
    return "it is no number with a unit"
