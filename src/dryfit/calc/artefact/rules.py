"""How much of the room a test artefact takes, and what is given up where material or time are short."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace

# Common practice, no source: an upright stands on a foot of a tenth of its height; the ledge at its foot
# carries the stock of a square [mm].
FOOT_LEDGE_MM = 10.0
RAILS_MM = ((8.0, 6.0), (6.0, 6.0), (5.0, 5.0))  # width and height, widest first
_FOOT_LENGTH, _FOOT_SHARE = 70.0, 0.25
_SLENDER = 10.0
_LEG_LEAST, _LEG_SHARE = 38.0, 0.35
_SECOND = 0.85  # height of the second upright over the first: which is which can then be seen
_SHORTEST = 100.0


@dataclass(frozen=True, slots=True)
class Wish:
    """What a body is to be designed for.

    room_mm     x, y, z that the body may take
    volume_mm3  of material, at most
    line_mm     width of one printed line
    jaw_mm      longest length that jaws read; 0 where there are none
    blades_mm   lengths of the blades of squares, and heights that a dial is run up
    """

    room_mm: tuple[float, float, float]
    volume_mm3: float
    line_mm: float
    jaw_mm: float = 0.0
    blades_mm: tuple[float, ...] = ()


@dataclass(frozen=True, slots=True)
class Form:
    """What the rules may change: spans, heights of the two uprights (0: left out), which rail of RAILS_MM."""

    length_x: float
    length_y: float
    height_a: float
    height_b: float
    rail: int = 0


def full_form(wish: Wish) -> Form:
    """The form that takes all of the room; uprights end where taller ones would not stand on their feet."""
    length_x, length_y, height = (float(math.floor(value)) for value in wish.room_mm)
    height = min(height, math.floor(_SLENDER * _LEG_SHARE * min(length_x, length_y)))
    return Form(length_x, length_y, height, math.floor(_SECOND * height))


def lesser_forms(wish: Wish, full: Form) -> Iterator[tuple[Form, Form]]:
    """In turn, what may be given up to save material: the most and the least of it.

    Thinner rails, a lower second upright, a lower first one, no second one, shorter rails.
    """
    least_b = min(full.height_b, _least_height(wish))
    least_a = min(full.height_a, math.ceil(least_b / _SECOND))
    form = full
    for rail in range(1, len(RAILS_MM)):
        form = replace(form, rail=rail)
        yield form, form
    lower = replace(form, height_b=least_b)
    yield form, lower
    low = replace(lower, height_a=least_a)
    yield lower, low
    single = replace(low, height_b=0.0)
    yield single, single
    short_x, short_y = min(_SHORTEST, full.length_x), min(_SHORTEST, full.length_y)
    yield single, replace(single, length_x=short_x, length_y=short_y)


def say_what_was_given_up(wish: Wish, form: Form) -> tuple[str, ...]:
    """In words, by what a form stays behind the room, and why."""
    full, said = full_form(wish), []
    if full.height_a < math.floor(wish.room_mm[2]):
        said.append(
            f"uprights of {full.height_a:g} mm at most where the room has {wish.room_mm[2]:g}: taller ones would "
            "not stand on so narrow a bed"
        )
    if form.rail:
        (width, height), (wide, high) = RAILS_MM[form.rail], RAILS_MM[0]
        said.append(f"rails of {width:g} x {height:g} mm instead of {wide:g} x {high:g}, to save material")
    if not form.height_b:
        said.append("no second upright, to save material: a standing square cannot be turned round")
    elif form.height_b < full.height_b:
        said.append(
            f"second upright {form.height_b:g} mm tall instead of {full.height_b:g}, to save material"
        )
    if form.height_a < full.height_a:
        said.append(f"first upright {form.height_a:g} mm tall instead of {full.height_a:g}, to save material")
    for axis, now, most in (("X", form.length_x, full.length_x), ("Y", form.length_y, full.length_y)):
        if now < most:
            said.append(f"{now:g} mm long in {axis} instead of {most:g}, to save material")
    return tuple(said)


def between(most: Form, least: Form, share: float) -> Form:
    """A form part of the way from the least to the most, in whole millimetres."""

    def mix(high: float, low: float) -> float:
        return float(math.floor(low + share * (high - low)))

    return Form(
        mix(most.length_x, least.length_x),
        mix(most.length_y, least.length_y),
        mix(most.height_a, least.height_a),
        mix(most.height_b, least.height_b),
        least.rail,
    )


def _least_height(wish: Wish) -> float:
    """Of an upright, so that the longest blade at hand is used, but none beyond 300 mm."""
    blade = max((blade for blade in wish.blades_mm if blade <= 300.0), default=150.0)
    return math.ceil(blade + RAILS_MM[-1][1] + 5.0)


def foot_length(form: Form) -> float:
    """Of the ledges at an upright, along each rail."""
    return float(math.floor(min(_FOOT_LENGTH, _FOOT_SHARE * min(form.length_x, form.length_y))))


def leg_of(form: Form, height: float) -> float:
    """How far the plates of an upright reach at their foot."""
    return max(height / _SLENDER, min(_LEG_LEAST, _FOOT_SHARE * min(form.length_x, form.length_y)))
