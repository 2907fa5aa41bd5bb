"""Sizes of a test artefact and where everything stands on it.

The body is a rectangle of low rails near the edges of the bed. At two opposite corners stand uprights of L
section, A and B, whose two plates step back like stairs; at the other two corners stand blocks, C and D.
Blocks and round posts stand along the rails. Everything stands on the bed and narrows upward, so that it
prints without support.
"""

from __future__ import annotations

import math
import string
from collections.abc import Iterator
from dataclasses import dataclass, field
from itertools import count
from typing import Literal

from dryfit.calc.artefact.rules import FOOT_LEDGE_MM, RAILS_MM, Form, Wish, foot_length, leg_of

# Common practice, no source: what jaws, rules and feelers need to be set against a face, and what a printer
# lays down upright without trouble [mm].
BLOCK_MM, POST_MM, TOP_POST_MM = 12.0, 10.0, 8.0
BLOCK_RISE_MM, POST_RISE_MM, TOP_POST_RISE_MM = 14.0, 22.0, 10.0  # over the rail; over the block
POST_LEVEL_MM = 18.0  # over the rail: where jaws are set on posts
_JAW_ROOM = 7.0
_LEG_TOP, _TREAD = 12.0, 5.0
_WALL = 2.4
_REACH = 0.97  # of an instrument's range that lengths are laid out for
REACHED = 0.99  # of its range that it is trusted to read: a print may come out longer than commanded
_CORNER_SHARE = 0.62  # of the shorter rail: how far posts stand from the corner that jaws span
_SEARCH_MM = 40


@dataclass(frozen=True, slots=True)
class Block:
    """A block on the rail along an axis (0: X, 1: Y), from start to end."""

    name: str
    axis: int
    start: float
    end: float


@dataclass(frozen=True, slots=True)
class Post:
    """A round post, upright about (x, y): on the rail along X, on a rail along Y, or on a corner block."""

    name: str
    on: Literal["x", "y", "corner"]
    x: float
    y: float
    diameter: float
    height: float


@dataclass(frozen=True, slots=True)
class Tread:
    """A step of an upright: its height over the bed, and how far its plates reach from the corner below it."""

    height: float
    reach: float


@dataclass(frozen=True, slots=True)
class Sizes:
    """A body, in machine axes from its own corner at the bed [mm].

    length_x, length_y  over all
    rail_width, rail_height, wall
    foot        length of the ledge on which the stock of a square stands, and its width
    treads_a, treads_b  of the uprights, lowest first; none where an upright is left out
    blocks      along both rails that begin at A, in order; the last of each is the corner block C or D
    posts
    """

    length_x: float
    length_y: float
    rail_width: float
    rail_height: float
    wall: float
    foot: tuple[float, float]
    treads_a: tuple[Tread, ...]
    treads_b: tuple[Tread, ...]
    blocks: tuple[Block, ...]
    posts: tuple[Post, ...]

    @property
    def height(self) -> float:
        return self.treads_a[-1].height

    def length(self, axis: int) -> float:
        return (self.length_x, self.length_y)[axis]

    def along(self, axis: int) -> tuple[Block, ...]:
        """The blocks of one rail, from A outward."""
        return tuple(block for block in self.blocks if block.axis == axis)


def lay_out(wish: Wish, form: Form) -> Sizes:
    """All sizes of a form."""
    rail_width, rail_height = RAILS_MM[form.rail]
    wall = round(max(2, math.ceil(_WALL / wish.line_mm - 1e-9)) * wish.line_mm, 3)
    blocks, posts = _furnish(wish, form, rail_height)
    return Sizes(
        length_x=form.length_x,
        length_y=form.length_y,
        rail_width=rail_width,
        rail_height=rail_height,
        wall=wall,
        foot=(foot_length(form), rail_width + FOOT_LEDGE_MM),
        treads_a=_treads(wish, form, form.height_a, rail_height),
        treads_b=_treads(wish, form, form.height_b, rail_height) if form.height_b else (),
        blocks=blocks,
        posts=posts,
    )


def _treads(wish: Wish, form: Form, height: float, rail_height: float) -> tuple[Tread, ...]:
    leg = leg_of(form, height)
    steps = max(2, min(6, 1 + int((leg - _LEG_TOP) / _TREAD)))
    low = rail_height + BLOCK_RISE_MM
    heights = [low + (height - low) * ((step + 1) / steps) ** 1.3 for step in range(steps)]
    reach = _REACH * wish.jaw_mm
    if low < reach and height > REACHED * wish.jaw_mm:
        # one step is the highest that jaws reach from the underside
        nearest = min(range(steps - 1), key=lambda step: abs(heights[step] - reach))
        heights[nearest] = reach
    heights = sorted(math.floor(value) for value in heights)
    return tuple(
        Tread(float(value), round(leg - (leg - _LEG_TOP) * step / (steps - 1), 1))
        for step, value in enumerate(heights)
    )


@dataclass(slots=True)
class _Rail:
    """A rail while it is furnished: its length, and the stretches of it that are taken."""

    length: float
    taken: list[tuple[float, float]] = field(default_factory=list)

    def place(self, middle: float, width: float) -> float | None:
        """Take the place nearest to the wanted one at which jaws go in on both sides; None without any."""
        for shift in sorted(range(-_SEARCH_MM, _SEARCH_MM + 1), key=lambda shift: (abs(shift), shift)):
            at = float(math.floor(middle) + shift)
            low, high = at - 0.5 * width, at + 0.5 * width
            is_free = all(high + _JAW_ROOM <= start or low - _JAW_ROOM >= end for start, end in self.taken)
            if is_free and low > 0.0 and high < self.length:
                self.taken.append((low, high))
                return at
        return None


def _furnish(wish: Wish, form: Form, rail_height: float) -> tuple[tuple[Block, ...], tuple[Post, ...]]:
    """Blocks and posts. The block next to A comes first: it alone shows the flare on every side."""
    far_x, far_y = form.length_x, form.length_y
    at_a = max(foot_length(form), leg_of(form, form.height_a))
    at_b = max(foot_length(form), leg_of(form, form.height_b)) if form.height_b else 0.0
    along_x = _Rail(far_x, [(0.0, at_a), (far_x - BLOCK_MM, far_x)])
    along_y = _Rail(far_y, [(0.0, at_a), (far_y - BLOCK_MM, far_y)])
    beyond = _Rail(far_y, [(0.0, BLOCK_MM), (far_y - at_b, far_y)])  # from C to B
    rails = (along_x, along_y)
    near = at_a + _JAW_ROOM + 0.5 * BLOCK_MM + 1.0
    first = [rail.place(near, BLOCK_MM) for rail in rails]
    posts = _posts(wish, form, rail_height, rails, beyond)
    names = iter(string.ascii_uppercase.replace("P", "")[4:] + string.ascii_lowercase.replace("p", ""))
    blocks: list[Block] = []
    for axis, rail in enumerate(rails):
        middles = [
            first[axis],
            *(rail.place(wanted, BLOCK_MM) for wanted in _wanted(wish, rail.length, near)),
        ]
        own = sorted(middle for middle in middles if middle is not None)
        blocks += [Block(next(names), axis, at - 0.5 * BLOCK_MM, at + 0.5 * BLOCK_MM) for at in own]
        blocks.append(Block("CD"[axis], axis, rail.length - BLOCK_MM, rail.length))
    return tuple(blocks), posts


def _wanted(wish: Wish, length: float, near: float) -> Iterator[float]:
    """Middles of further blocks: at the shares of the rail that jaws reach one after another, and near by."""
    reach = _REACH * wish.jaw_mm if wish.jaw_mm else length
    pieces = max(1, math.ceil(length / reach - 1e-9))
    for step in range(1, pieces):
        yield length * step / pieces - 0.5 * BLOCK_MM
    yield near + 40.0
    yield 0.6 * min(reach, length)


def _posts(
    wish: Wish, form: Form, rail_height: float, rails: tuple[_Rail, _Rail], beyond: _Rail
) -> tuple[Post, ...]:
    """On the rail along X, on both rails along Y, so that jaws span them across a corner; and on C and D."""
    reach = _REACH * wish.jaw_mm if wish.jaw_mm else math.inf
    corner = min(reach / math.sqrt(2.0), _CORNER_SHARE * min(form.length_x, form.length_y))
    middle = 0.5 * BLOCK_MM
    low, high = rail_height + POST_RISE_MM, rail_height + BLOCK_RISE_MM + TOP_POST_RISE_MM
    far_x, far_y = form.length_x - middle, form.length_y - middle
    along_x = sorted(
        at
        for at in (rails[0].place(wanted, POST_MM) for wanted in (form.length_x - corner, corner))
        if at is not None
    )
    left = rails[1].place(corner, POST_MM)
    right = beyond.place(corner if left is None else left, POST_MM)
    names = (f"P{number}" for number in count(1))
    return (
        *(Post(next(names), "x", x, middle, POST_MM, low) for x in along_x),
        *(
            Post(next(names), "y", x, y, POST_MM, low)
            for x, y in ((middle, left), (far_x, right))
            if y is not None
        ),
        Post(next(names), "corner", far_x, middle, TOP_POST_MM, high),
        Post(next(names), "corner", middle, far_y, TOP_POST_MM, high),
    )
