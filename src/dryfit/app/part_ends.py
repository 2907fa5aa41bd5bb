"""What is measured on a part, in its own frame, in the assembly, and as its machine was told to print it.

A measure of a part holds its two ends where jaws or rule touch it. `ends` is "faces" where it is the distance of
two parallel faces, whose unit normal is then `toward`; "points" for two points. Of a square, `toward` is the
direction of its stock. Outward directions are those of the surface (a mitre at an edge or corner, zero for a centre).
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from dryfit.app.geometry import PartShape, lowest_on_bed
from dryfit.app.motion import made_up_gain
from dryfit.base.arrays import Array
from dryfit.calc.errormodel import outward_motion
from dryfit.model.artefact import Measure, Point
from dryfit.model.part import Part

_OFFSET, _FLARE = 6, 7


def ends_in_assembly(part: Part, ends: Measure) -> Measure:
    """A measure of the part's own design frame, in assembly coordinates."""
    turn, shift = part.placement.rotation, part.placement.translation_mm
    return _moved(ends, turn, shift)


def ends_in_design(part: Part, measure: Measure) -> Measure:
    """A measure in assembly coordinates, in the part's own design frame."""
    turn = part.placement.rotation.T
    return _moved(measure, turn, -turn @ part.placement.translation_mm)


def commanded(measure: Measure, part: Part, shape: PartShape, first_layer_height_mm: float) -> Measure:
    """A measure in assembly coordinates, in machine axes as commanded in the part's bed pose.

    Where the part is printed as a corrected copy, the copy is what was commanded. The ends come out relative to
    the part's centroid; those of parallel faces are brought onto one line across them.
    """
    turn = part.bed.rotation @ part.placement.rotation.T
    points = np.array([measure.first, measure.second])
    normals = np.array([measure.first_out, measure.second_out])
    floor = lowest_on_bed(part, shape) if first_layer_height_mm > 0 else 0.0
    heights = points @ turn[2] - floor
    outward = outward_motion(normals, turn, heights, first_layer_height_mm)
    arms = points - shape.measures.centroid_mm
    across = None if measure.toward is None else np.array(measure.toward)
    made = part.compensation
    if made is not None:
        taken = outward_motion(normals, turn, heights, made.first_layer_height_mm)
        inset = made.figures[_OFFSET] * taken.offset + made.figures[_FLARE] * taken.flare
        gain = made_up_gain(part)
        arms = (arms - inset) @ gain.T
        if across is not None:
            # The normal of a face goes by the inverse of what its points go by; the stock of a square lies in it.
            across = np.linalg.inv(gain).T @ across if measure.kind != "square" else gain @ across
            across = across / np.linalg.norm(across)
    first, second = arms
    if measure.ends == "faces" and measure.kind != "square" and across is not None:
        second = first + across * float(across @ (second - first))
    is_low = (outward.flare != 0).any(axis=1)
    return replace(
        measure,
        first=_point(turn @ first),
        second=_point(turn @ second),
        first_out=_point(turn @ outward.offset[0]),
        second_out=_point(turn @ outward.offset[1]),
        first_is_low=bool(is_low[0]),
        second_is_low=bool(is_low[1]),
        toward=_point(turn @ across) if measure.kind == "square" and across is not None else None,
    )


def reading_directions(measure: Measure) -> tuple[Array, Array]:
    """(3,) and (3,) by how much a reading grows where its first and its second end move, assembly axes."""
    if measure.kind == "square":
        # The gap at the tip opens where the blade's end draws back from the stock's side.
        stock = np.array(measure.toward)
        return stock, -stock
    if measure.ends == "faces":
        along = np.array(measure.toward)
    else:
        along = np.subtract(measure.second, measure.first)
        along = along / np.linalg.norm(along)
    return -along, along


def _moved(measure: Measure, turn: Array, shift: Array) -> Measure:
    return replace(
        measure,
        first=_point(turn @ np.array(measure.first) + shift),
        second=_point(turn @ np.array(measure.second) + shift),
        first_out=_point(turn @ np.array(measure.first_out)),
        second_out=_point(turn @ np.array(measure.second_out)),
        toward=None if measure.toward is None else _point(turn @ np.array(measure.toward)),
    )


def _point(values: Array) -> Point:
    x, y, z = (float(value) for value in values)
    return x, y, z
