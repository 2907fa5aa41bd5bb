"""What a page or a terminal shows: headings, sentences and tables, without layout."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from dryfit.model.finding import State

__all__ = ["COLOURS", "SHAPES", "Block", "Heading", "Sentence", "State", "Table"]

# A state is a shape and a word before it is a colour: filled disc, open triangle, filled square, open disc.
SHAPES: Mapping[State, str] = {"pass": "●", "caution": "△", "stop": "■", "not checked": "○"}

# Bluish green, orange, vermilion, blue of a published colour-blind-safe set: Okabe and Ito 2008 (memory).
COLOURS: Mapping[State, str] = {
    "pass": "#009E73",
    "caution": "#E69F00",
    "stop": "#D55E00",
    "not checked": "#0072B2",
}


@dataclass(frozen=True, slots=True)
class Heading:
    """A line that opens a report; state marks its outcome."""

    text: str
    state: State | None = None


@dataclass(frozen=True, slots=True)
class Sentence:
    """A plain sentence; state where it reports an outcome; mark: one of a list."""

    text: str
    state: State | None = None
    mark: bool = False


@dataclass(frozen=True, slots=True)
class Table:
    """Rows of text under heads. right: columns set to the right; states: one per row, or empty."""

    heads: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    right: frozenset[int] = frozenset()
    states: tuple[State, ...] = ()


Block = Heading | Sentence | Table
