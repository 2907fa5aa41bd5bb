"""Plain words for what a document holds, and the nearest known word to a mistyped one."""

from __future__ import annotations

import datetime
from collections.abc import Iterable
from difflib import get_close_matches
from typing import Any

LONGEST_SHOWN = 40


def find_nearest(word: str, known: Iterable[str]) -> str | None:
    """The known word that word was probably meant to be, whatever its case; None where none is near."""
    by_lower: dict[str, str] = {}
    for candidate in known:
        by_lower.setdefault(candidate.lower(), candidate)
    # A word of hundreds of letters is no typing slip, and comparing it would take long.
    matches = get_close_matches(word[:80].lower(), by_lower, n=1, cutoff=0.6)
    return by_lower[matches[0]] if matches else None


def suggest(word: str, known: Iterable[str], noun: str) -> str:
    """What to do about an unknown word: the nearest known one, then all of them where they are few."""
    words = sorted(set(known))
    nearest = find_nearest(word, words)
    listed = f"{noun}: " + ", ".join(words[:20]) + (", ..." if len(words) > 20 else "")
    if not words:
        return f"there are no {noun} yet; add one or remove the reference"
    return f'did you mean "{nearest}"? {listed}' if nearest else listed


def quote(text: str) -> str:
    """Text in quotes, cut where it is long, control characters made visible."""
    cut = text if len(text) <= LONGEST_SHOWN else text[:LONGEST_SHOWN] + "..."
    return '"' + "".join(c if c.isprintable() else repr(c)[1:-1] for c in cut) + '"'


def describe_value(value: Any) -> str:
    """A value of a TOML document in words, for "... is expected here, not ..."."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return f"the text {quote(value)}"
    if isinstance(value, int | float):
        shown = repr(value)
        return shown if len(shown) <= LONGEST_SHOWN else f"a number of {len(shown)} digits"
    if isinstance(value, dict):
        return "a table"
    if isinstance(value, list):
        return "a list"
    if isinstance(value, datetime.date | datetime.time):
        return "a date or time"
    return f"a {type(value).__name__}"


def count_things(number: int, noun: str, nouns: str = "") -> str:
    """1 part, 2 parts"""
    return f"{number} {noun if number == 1 else nouns or noun + 's'}"


def join_words(words: Iterable[str]) -> str:
    """a, b, c"""
    return ", ".join(words)
