"""Everything that can be read off a test artefact along its axes: lengths and heights."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from itertools import combinations

from dryfit.calc.artefact.angles import list_angles
from dryfit.calc.artefact.rules import Wish
from dryfit.calc.artefact.sizes import BLOCK_MM, BLOCK_RISE_MM, POST_LEVEL_MM, Block, Post, Sizes, Tread
from dryfit.model.artefact import Measure, Point
from dryfit.model.instrument import MeasureKind

AXES = ("x", "y")
_OVER_RAIL_MM = 5.0  # where jaws are set on blocks, over the rail


def list_measures(wish: Wish, sizes: Sizes, first_layer_height_mm: float) -> tuple[Measure, ...]:
    """All measures of a body, numbered from 1.

    first_layer_height_mm : within which the flare acts
    """
    found = [
        *(measure for axis in (0, 1) for measure in _along(sizes, axis)),
        *(measure for axis in (0, 1) for measure in _across(sizes, axis, first_layer_height_mm)),
        *_centres(sizes),
        *_heights(sizes),
        *list_angles(wish, sizes),
    ]
    return tuple(replace(measure, number=number) for number, measure in enumerate(found, 1))


@dataclass(frozen=True, slots=True)
class _Face:
    """A face across a rail: of which thing, where along the rail, and whether it looks outward along it."""

    name: str
    at: float
    sign: float


def _faces(sizes: Sizes, axis: int) -> list[tuple[_Face, _Face]]:
    """The near and the far face of each thing along a rail from A outward."""
    of_blocks = [
        (_Face(block.name, block.start, -1.0), _Face(block.name, block.end, 1.0))
        for block in sizes.along(axis)
    ]
    return [(_Face("A", 0.0, -1.0), _Face("A", sizes.wall, 1.0)), *of_blocks]


def _along(sizes: Sizes, axis: int) -> Iterator[Measure]:
    """Outside, inside and step lengths between A and the blocks of one rail."""
    pairs, name = _faces(sizes, axis), AXES[axis]
    height = sizes.rail_height + _OVER_RAIL_MM
    for index, (near, _) in enumerate(pairs):
        for other, far in pairs[max(index, 1) :]:
            words = f"over the outer faces of {near.name} and {far.name}"
            if other.name == near.name:
                words = f"over the two faces of block {far.name}, along the rail"
            yield _between(
                "outside", f"outside-{name}-{near.name}-{far.name}", axis, near, far, height, words
            )
    for (_, near), (far, _) in combinations(pairs, 2):
        words = f"between the inner faces of {near.name} and {far.name}"
        yield _between("inside", f"inside-{name}-{near.name}-{far.name}", axis, near, far, height, words)
    for (near, _), (far, _) in combinations(pairs, 2):
        words = f"from the face of {near.name} to that of {far.name}, both look toward A"
        yield _between("step", f"step-{name}-{near.name}-{far.name}", axis, near, far, height, words)


def _between(
    kind: MeasureKind,
    id: str,
    axis: int,
    near: _Face,
    far: _Face,
    height: float,
    words: str,
    low: bool = False,
) -> Measure:
    def at(value: float) -> Point:
        return (value, 0.5 * BLOCK_MM, height) if axis == 0 else (0.5 * BLOCK_MM, value, height)

    def out(sign: float) -> Point:
        return (sign, 0.0, 0.0) if axis == 0 else (0.0, sign, 0.0)

    return Measure(
        0,
        id,
        kind,
        "faces",
        at(near.at),
        at(far.at),
        out(near.sign),
        out(far.sign),
        low,
        low,
        words=words,
    )


def _across(sizes: Sizes, rail: int, first_layer_height_mm: float) -> Iterator[Measure]:
    """Widths of blocks across their rail, above the rail and at the foot, where the flare shows."""
    axis = 1 - rail
    for block in sizes.along(rail):
        # the foot of a corner block is hidden by the other rail
        for low in (False,) if block.name in "CD" else (False, True):
            height = 0.5 * first_layer_height_mm if low else sizes.rail_height + _OVER_RAIL_MM
            where = "at its foot: the jaws touch the first layer" if low else "above the rail"
            id = f"{'foot' if low else 'width'}-{AXES[axis]}-{block.name}"
            middle = 0.5 * (block.start + block.end)
            near = _place(block, axis, 0.0, middle, height)
            far = _place(block, axis, BLOCK_MM, middle, height)
            out = (0.0, 1.0, 0.0) if axis == 1 else (1.0, 0.0, 0.0)
            back = (-out[0], -out[1], 0.0)
            words = f"over block {block.name} across the rail, {where}"
            yield Measure(0, id, "outside", "faces", near, far, back, out, low, low, words=words)


def _place(block: Block, axis: int, across: float, along: float, height: float) -> Point:
    return (along, across, height) if axis == 1 else (across, along, height)


def _centres(sizes: Sizes) -> Iterator[Measure]:
    """Centre distances of posts along X and along Y."""
    for first, second in combinations(sizes.posts, 2):
        for axis in (0, 1):
            if _offset(first, second, 1 - axis) == 0.0 and _offset(first, second, axis) != 0.0:
                near, far = sorted((first, second), key=lambda post: (post.x, post.y))
                yield _over_posts("centres", f"centres-{AXES[axis]}-{near.name}-{far.name}", near, far, sizes)


def _offset(first: Post, second: Post, axis: int) -> float:
    return (second.x - first.x, second.y - first.y)[axis]


def _over_posts(kind: MeasureKind, id: str, first: Post, second: Post, sizes: Sizes) -> Measure:
    # above the corner blocks, so that jaws also reach the posts that stand on them
    height = sizes.rail_height + POST_LEVEL_MM
    words = f"middles of posts {first.name} and {second.name}: half the sum of over both and between them"
    return Measure(
        0,
        id,
        kind,
        "points",
        (first.x, first.y, height),
        (second.x, second.y, height),
        words=words,
    )


def _heights(sizes: Sizes) -> Iterator[Measure]:
    """Heights of treads from the underside and from one to another, and of a block over its rail."""
    for name, treads, corner, sign in (
        ("A", sizes.treads_a, (0.0, 0.0), 1.0),
        ("B", sizes.treads_b, (sizes.length_x, sizes.length_y), -1.0),
    ):
        for tread in treads:
            x, y = _on_tread(corner, sign, tread, sizes)
            words = f"from the underside to the tread at {tread.height:g} of {name}"
            id = f"height-{name}-{tread.height:g}"
            yield Measure(
                0, id, "height", "faces", (x, y, 0.0), (x, y, tread.height), from_bed=True, words=words
            )
        for low, high in combinations(treads, 2):
            x, y = _on_tread(corner, sign, low, sizes)
            words = f"from the tread at {low.height:g} up to that at {high.height:g} of {name}"
            id = f"tread-{name}-{low.height:g}-{high.height:g}"
            yield Measure(0, id, "height", "faces", (x, y, low.height), (x, y, high.height), words=words)
    block = sizes.along(0)[0]
    top = sizes.rail_height + BLOCK_RISE_MM
    place = (block.start, 0.5 * sizes.rail_width)
    words = f"from the top of the rail to the top of block {block.name}"
    under, over = (*place, sizes.rail_height), (*place, top)
    yield Measure(0, f"height-{block.name}", "height", "faces", under, over, words=words)


def _on_tread(corner: tuple[float, float], sign: float, tread: Tread, sizes: Sizes) -> tuple[float, float]:
    """The outer edge of a tread of the plate along X, where jaws reach it."""
    return corner[0] + sign * (tread.reach - 2.0), corner[1] + sign * 0.5 * sizes.wall
