"""What tells the squareness of a machine from a test artefact: diagonals and the gaps of a square."""

from __future__ import annotations

import math
from collections.abc import Iterator
from itertools import product

from dryfit.calc.artefact.rules import Wish
from dryfit.calc.artefact.sizes import BLOCK_RISE_MM, POST_LEVEL_MM, Sizes, Tread
from dryfit.model.artefact import Measure, Point

_FLAT_MM = 3.0  # height at which a square lies against the rails
_STANDING_BLADE_MM = 140.0  # where no square is at hand: so that one that is bought can be used
_BLADE_SHARE = 0.96  # of a blade that is used: its very tip may be rounded
_LEAST_BLADE_MM = 25.0
_UNDER_TOP_MM = 4.0
_LEAST_SLANT = 0.25  # sine of the flattest diagonal: a flatter one says little of squareness


def list_angles(wish: Wish, sizes: Sizes) -> Iterator[Measure]:
    """Diagonals in all three planes, squares stood against uprights and laid round corners."""
    yield from _level_diagonals(sizes)
    yield from _upright_diagonals(sizes)
    yield from _standing_squares(wish, sizes)
    yield from _lying_squares(wish, sizes)


def _level_diagonals(sizes: Sizes) -> Iterator[Measure]:
    """From corner to corner of the rectangle, and between posts across its corners."""
    x, y, height = sizes.length_x, sizes.length_y, 0.5 * (sizes.rail_height + _FLAT_MM)
    both = ((0.0, 0.0, height), (x, y, height), (-1.0, -1.0, 0.0), (1.0, 1.0, 0.0))
    if sizes.treads_b:
        words = "over the outer upright edges of A and B"
        yield Measure(0, "diagonal-xy-A-B", "diagonal", "points", *both, words=words)
    both = ((x, 0.0, height), (0.0, y, height), (1.0, -1.0, 0.0), (-1.0, 1.0, 0.0))
    words = "over the outer upright edges of blocks C and D"
    yield Measure(0, "diagonal-xy-C-D", "diagonal", "points", *both, words=words)
    front = [post for post in sizes.posts if post.on == "x"]
    sides = [post for post in sizes.posts if post.on == "y"]
    level = sizes.rail_height + POST_LEVEL_MM
    for first, second in product(front, sides):
        sine = abs(second.y - first.y) / math.hypot(second.x - first.x, second.y - first.y)
        if _LEAST_SLANT < sine < math.sqrt(1.0 - _LEAST_SLANT**2):
            yield Measure(
                0, f"diagonal-xy-{first.name}-{second.name}", "diagonal", "points",
                (first.x, first.y, level), (second.x, second.y, level),
                words=f"middles of posts {first.name} and {second.name}: half the sum of over both and between them",
            )  # fmt: skip


def _upright_diagonals(sizes: Sizes) -> Iterator[Measure]:
    """From edges of an upright to the top edge of the corner block at the far end of each of its rails."""
    low = sizes.rail_height + BLOCK_RISE_MM
    far = (sizes.length_x, sizes.length_y)
    for name, treads, is_far in (("A", sizes.treads_a, False), ("B", sizes.treads_b, True)):
        for axis, tread in product((0, 1), treads):
            block = "CD"[axis] if not is_far else "DC"[axis]
            yield from _edges(name, block, axis, tread, tread is treads[-1], low, far, is_far)


def _edges(
    name: str,
    block: str,
    axis: int,
    tread: Tread,
    is_top: bool,
    low: float,
    far: tuple[float, float],
    is_far: bool,
) -> Iterator[Measure]:
    length, sign = far[axis], -1.0 if is_far else 1.0
    start, across = (length, far[1 - axis]) if is_far else (0.0, 0.0)
    # the top has an edge on either side; below it only the side of the tread is free
    for reach, out in ((tread.reach, sign), (0.0, -sign))[: 2 if is_top else 1]:
        run, rise = length - reach, tread.height - low
        if not _LEAST_SLANT < rise / math.hypot(run, rise) < math.sqrt(1.0 - _LEAST_SLANT**2):
            continue
        at, end = start + sign * reach, length - start
        first = _point(axis, at, across, tread.height)
        second = _point(axis, end, across, low)
        side = "outer" if reach == 0.0 else "inner"
        yield Measure(
            0, f"diagonal-{'xy'[axis]}z-{name}-{tread.height:g}-{side}-{block}", "diagonal", "points", first, second,
            _point(axis, out, 0.0, 0.0), _point(axis, sign, 0.0, 0.0),
            words=f"from the {side} edge of the tread at {tread.height:g} of {name} to the outer top edge of block "
            f"{block}, rule flat on the outer faces",
        )  # fmt: skip


def _point(axis: int, along: float, across: float, height: float) -> Point:
    return (along, across, height) if axis == 0 else (across, along, height)


def _standing_squares(wish: Wish, sizes: Sizes) -> Iterator[Measure]:
    """A square on the ledge at the foot of an upright, its blade up a plate; at A and B the other way round."""
    blades = wish.blades_mm or (_STANDING_BLADE_MM,)
    for name, treads, is_far in (("A", sizes.treads_a, False), ("B", sizes.treads_b, True)):
        for axis, blade in product((0, 1), dict.fromkeys(blades)):
            if not treads:
                continue
            most = treads[-1].height - sizes.rail_height - _UNDER_TOP_MM
            height = float(math.floor(min(_BLADE_SHARE * blade, most)))
            if height < _LEAST_BLADE_MM:
                continue
            sign = -1.0 if is_far else 1.0
            at = sizes.length(axis) - sizes.wall if is_far else sizes.wall
            across = sizes.length(1 - axis) - sizes.wall - 3.0 if is_far else sizes.wall + 3.0
            heel, tip = sizes.rail_height, sizes.rail_height + height
            side = "+" if sign > 0 else "-"
            yield Measure(
                0, f"square-{'xy'[axis]}z-{name}-{height:g}", "square", "points",
                _point(axis, at, across, heel), _point(axis, at, across, tip),
                toward=_point(axis, sign, 0.0, 0.0),
                words=f"stock on the ledge at the foot of {name}, pointing to {side}{'XY'[axis]}, blade up the inner "
                f"face of the plate; gap {height:g} mm above the ledge",
            )  # fmt: skip


def _lying_squares(wish: Wish, sizes: Sizes) -> Iterator[Measure]:
    """A square laid round each corner from outside: stock along X, blade along Y.

    The face that the blade follows looks away from the body; the gap opens at the tip where that face leans
    away from it, as where a wall leans away from a square that stands inside: `toward` is that outward direction.
    """
    blades = wish.blades_mm or (_STANDING_BLADE_MM,)
    corners = (("A", 0.0, 0.0), ("C", 1.0, 0.0), ("B", 1.0, 1.0), ("D", 0.0, 1.0))
    for (name, right, back), blade in product(corners, dict.fromkeys(blades)):
        length = float(math.floor(min(_BLADE_SHARE * blade, sizes.length_y - 2.0)))
        if length < _LEAST_BLADE_MM:
            continue
        x, y = right * sizes.length_x, back * sizes.length_y
        forth = -1.0 if back else 1.0
        yield Measure(
            0, f"square-xy-{name}-{length:g}", "square", "points",
            (x, y, _FLAT_MM), (x, y + forth * length, _FLAT_MM), toward=(1.0 if right else -1.0, 0.0, 0.0),
            words=f"square laid round corner {name} from outside, stock along the rail in X, blade along the rail in "
            f"Y; gap {length:g} mm from the corner",
        )  # fmt: skip
