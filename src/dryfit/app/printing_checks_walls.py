"""Walls against multiples of the width of one printed line."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np

from dryfit.calc.thickness import ThicknessMap, ThinPlace, least_walls
from dryfit.model.finding import MOST_PLACES, Finding
from dryfit.model.machine import Machine
from dryfit.model.part import Part

TOPIC = "wall"
# All of these: common practice, no source.
LEAST_WIDTHS = 1.0  # a wall thinner than one line is left out
SOUND_WIDTHS = 2.0  # a wall of one line on each side stands; a single line is weak
WHOLE_UP_TO_WIDTHS = 4.0  # in thicker walls the lines share what is left over
OFF_WHOLE_WIDTHS = 0.25  # farther than this from a whole number of lines, a gap or a squeezed line remains
FEATHER_DEG = 10.0  # two sides that meet under more than this run out to an edge: only its rim is lost
_ROUNDING = 1e-3  # relative: a wall of exactly two widths in single precision has two widths


def check_walls(machine: Machine, part: Part, thickness: ThicknessMap | str) -> Iterator[Finding]:
    """Findings on the walls of a part; exactly one where nothing is wrong."""
    if isinstance(thickness, str):
        do = "mend the mesh and measure again"
        yield Finding(TOPIC, (part.id,), "not checked", f"walls not measured: {thickness}", do)
        return
    yield from _unmeasured(part, thickness)
    width = machine.extrusion_width_mm
    least = least_wall_mm(thickness)
    if width is None:
        yield Finding(
            TOPIC,
            (part.id,),
            "not checked",
            f"thinnest wall {least:.2f} mm, but machine {machine.id} states no extrusion_width_mm"
            if least is not None
            else f"machine {machine.id} states no extrusion_width_mm",
            "state extrusion_width_mm, the width of one printed line, at the machine",
        )
        return
    found = [*_below_one(part, thickness, width), *_below_two(part, thickness, width)]
    yield from found or [_sound(part, thickness, width, least)]
    yield from _between_whole(part, thickness, width)


def _unmeasured(part: Part, thickness: ThicknessMap) -> Iterator[Finding]:
    lost = thickness.unmeasured
    if len(lost):
        yield Finding(
            TOPIC,
            (part.id,),
            "not checked",
            f"at {len(lost)} of {len(thickness.points)} samples no opposite surface was found: a body of the mesh may "
            "be inside out",
            "see what its health says",
            count=len(lost),
            places_mm=thickness.points[lost],
            triangles=np.unique(thickness.triangles[lost]),
        )


def least_wall_mm(thickness: ThicknessMap) -> float | None:
    """The thinnest place [mm] between two sides that are nearly parallel; None where there is none."""
    walls = thickness.wall_mm[thickness.thickness.is_wall]
    return float(walls.min()) if len(walls) else None


def _below_one(part: Part, thickness: ThicknessMap, width: float) -> Iterator[Finding]:
    places = least_walls(thickness, LEAST_WIDTHS * width * (1.0 - _ROUNDING))
    even = [place for place in places if place.taper_deg <= FEATHER_DEG]
    feather = [place for place in places if place.taper_deg > FEATHER_DEG]
    if even:
        yield _thin(
            part,
            thickness,
            even,
            "stop",
            f"thinner than one extrusion width of {width:g} mm: it would not print there",
            f"thicken to {SOUND_WIDTHS * width:g} mm or more",
        )
    if feather:
        yield _thin(
            part,
            thickness,
            feather,
            "caution",
            f"running out to an edge finer than one extrusion width of {width:g} mm: its rim would not print",
            f"blunt the edge to {width:g} mm in the model, so that its place is known",
        )


def _below_two(part: Part, thickness: ThicknessMap, width: float) -> Iterator[Finding]:
    places = [
        place
        for place in least_walls(thickness, SOUND_WIDTHS * width * (1.0 - _ROUNDING))
        if place.least_mm >= LEAST_WIDTHS * width * (1.0 - _ROUNDING) and place.taper_deg <= FEATHER_DEG
    ]
    if places:
        yield _thin(
            part,
            thickness,
            places,
            "caution",
            f"thinner than two extrusion widths of {width:g} mm: a single line is weak, and soon soft in the sun",
            f"thicken to {SOUND_WIDTHS * width:g} mm, or try one such wall first",
        )


def _thin(
    part: Part, thickness: ThicknessMap, places: Sequence[ThinPlace], state: str, why: str, do: str
) -> Finding:
    samples = np.concatenate([place.samples for place in places])
    count = len(places)
    noun = "1 place" if count == 1 else f"{count} places"
    return Finding(
        TOPIC,
        (part.id,),
        state,  # type: ignore[arg-type]
        f"{noun} down to {places[0].least_mm:.2f} mm, {why}",
        do,
        count=count,
        amount=places[0].least_mm,
        unit="mm",
        places_mm=np.array([place.point_mm for place in places[:MOST_PLACES]]),
        triangles=np.unique(thickness.triangles[samples]),
    )


def _sound(part: Part, thickness: ThicknessMap, width: float, least: float | None) -> Finding:
    thinnest = "no two surfaces bound a wall" if least is None else f"thinnest {least:.2f} mm"
    return Finding(
        TOPIC,
        (part.id,),
        "pass",
        f"no wall below {SOUND_WIDTHS:g} extrusion widths of {width:g} mm was found, {thinnest} ({thickness.density})",
        amount=least,
        unit="" if least is None else "mm",
    )


def _between_whole(part: Part, thickness: ThicknessMap, width: float) -> Iterator[Finding]:
    """A note, not a caution: many machines vary the width of their lines."""
    lines = thickness.wall_mm / width
    is_even = thickness.thickness.is_wall & (thickness.thickness.taper_deg <= FEATHER_DEG)
    is_near = is_even & (lines > SOUND_WIDTHS) & (lines < WHOLE_UP_TO_WIDTHS)
    odd = np.flatnonzero(is_near & (np.abs(lines - np.rint(lines)) > OFF_WHOLE_WIDTHS))
    if len(odd):
        middle = float(np.median(thickness.wall_mm[odd]))
        yield Finding(
            TOPIC,
            (part.id,),
            "pass",
            f"note: walls of about {middle:.2f} mm are {middle / width:.1f} lines of {width:g} mm, no whole number: a "
            "gap or a thin line may remain between",
            count=len(odd),
            amount=middle,
            unit="mm",
            places_mm=thickness.points[odd],
            triangles=np.unique(thickness.triangles[odd]),
        )
