"""What is marked on the pictures of the invented observatory: true places, and a hand that is 0.6 pixels unsure.

Stated lengths differ from the true ones as measured ones do, each by less than two of its standard uncertainties.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from dryfit.app import demo_photographs_building as b
from dryfit.app.demo_photographs_camera import Shot
from dryfit.base.arrays import Array

STD_PX = 0.6


@dataclass(frozen=True, slots=True)
class Line:
    """A line between two places [mm], marked at count points along it."""

    name: str
    start: tuple[float, float, float]
    end: tuple[float, float, float]
    along: str
    plane: str = ""
    count: int = 3


@dataclass(frozen=True, slots=True)
class Wish:
    """What is marked on one picture.

    why      a comment above the marks
    points   names of points of the building, and the plane of each; "" none
    called   a prefix of the names, where they are not to be those of other pictures
    planes   rows as they stand in the file
    lengths  ends, length, its std, axis, source
    sizes    id, ends, dimension, axis
    """

    why: str
    points: Mapping[str, str]
    lengths: Sequence[tuple[str, str, str, str, str, str]]
    sizes: Sequence[tuple[str, str, str, str, str]]
    called: str = ""
    planes: Sequence[str] = ()
    lines: Sequence[Line] = field(default_factory=tuple)


def write_marks(shot: Shot, wish: Wish, sha256: str) -> str:
    """The text of a file of marks; sha256 : of the picture."""
    hand = np.random.default_rng(shot.seed + 1000)
    known = b.list_points()

    def mark(points_mm: Array) -> list[str]:
        seen = shot.see(points_mm)
        return [_place(place) for place in seen + hand.normal(0.0, STD_PX, seen.shape)]

    rows = [f"# {line}" for line in wish.why.splitlines()]
    rows += ["schema = 1", f'photo_sha256 = "{sha256}"', f"std_px = {STD_PX}", ""]
    rows += [f"[[plane]]\n{plane}\n" for plane in wish.planes]
    places = mark(np.array([known[name] for name in wish.points]))
    for (name, plane), place in zip(wish.points.items(), places, strict=True):
        in_plane = f'\nplane = "{plane}"' if plane else ""
        rows.append(f'[[point]]\nname = "{wish.called}{name}"\nat_px = {place}{in_plane}\n')
    for line in wish.lines:
        steps = np.linspace(0.0, 1.0, line.count)[:, None]
        along = np.array(line.start) + steps * (np.array(line.end) - np.array(line.start))
        text = f'[[line]]\nname = "{line.name}"\npoints_px = [{", ".join(mark(along))}]\n'
        text += "straight = true\n" if line.count > 2 else ""
        text += f'along = "{line.along}"\n' + (f'plane = "{line.plane}"\n' if line.plane else "")
        rows.append(text)
    rows += [*_lengths(wish), *_sizes(wish)]
    return "\n".join(rows)


def _lengths(wish: Wish) -> Iterator[str]:
    for first, second, length, std, along, source in wish.lengths:
        yield (
            f'[[length]]\nbetween = ["{wish.called}{first}", "{wish.called}{second}"]\nlength = "{length}"\n'
            f'std = "{std}"\nalong = "{along}"\nsource = "invented: {source}"\n'
        )


def _sizes(wish: Wish) -> Iterator[str]:
    for id, first, second, of, along in wish.sizes:
        yield (
            f'[[size]]\nid = "{id}"\nbetween = ["{wish.called}{first}", "{wish.called}{second}"]\n'
            f'of = "{of}"\nalong = "{along}"\n'
        )


def _place(place: Array) -> str:
    return f"[{place[0]:.1f}, {place[1]:.1f}]"
