"""Numbers in text: all of them, or an exact complaint."""

from __future__ import annotations

import numpy as np

from dryfit.base.arrays import Array

_BLOCK = 1 << 22  # bytes split at a time: a token costs ten times its length in memory


class NotNumbersError(ValueError):
    """Text that should hold numbers only does not."""


def parse_numbers(text: bytes) -> Array:
    """All numbers of a text, separated by white space.

    Raises NotNumbersError where anything else stands in it, digits grouped by underscores included.
    """
    blocks = []
    start = 0
    while start < len(text):
        stop = _end_of_token(text, start + _BLOCK)
        blocks.append(parse_tokens(text[start:stop].split()))
        start = stop
    return np.concatenate(blocks) if blocks else np.zeros(0)


def parse_tokens(tokens: list[bytes]) -> Array:
    """The number that each token is. Raises NotNumbersError where one is none."""
    try:
        numbers = np.fromiter(map(float, tokens), dtype=np.float64, count=len(tokens))
    except ValueError as fault:
        raise NotNumbersError(str(fault)) from fault
    # Python reads 1_000 as a thousand; no mesh format does.
    if b"_" in b"".join(tokens):
        raise NotNumbersError("an underscore")
    return numbers


def _end_of_token(text: bytes, position: int) -> int:
    """The first position from the given one on at which no token is cut."""
    while position < len(text) and not text[position : position + 1].isspace():
        position += 1
    return min(position, len(text))


def is_number(token: bytes) -> bool:
    """Whether a token is a number as parse_numbers reads it."""
    try:
        return len(parse_numbers(token)) == 1
    except NotNumbersError:
        return False
