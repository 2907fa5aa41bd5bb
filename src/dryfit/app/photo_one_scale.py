"""What one scale for a whole picture would have done to a size that no camera method measures."""

from __future__ import annotations

import numpy as np

from dryfit.app.photo_arrays import PhotoArrays
from dryfit.app.photo_lens import flat_marks, glass_of, vanishing_point
from dryfit.app.photo_size_records import Wanted
from dryfit.base.errors import ComputationRefused
from dryfit.calc.photo import one_scale_departure, plane_from_vanishing
from dryfit.model.photo import BuildingAxis

_UNKNOWN = (
    "one scale from a known length is no way out: how wrong it would be is not known without vanishing points"
)


def one_scale_words(arrays: PhotoArrays, item: Wanted) -> str:
    """By how much a size read with the scale of the longest known length would be wrong; "" where none is known."""
    index = {name: number for number, name in enumerate(arrays.names)}
    lengths = [entry for entry in arrays.marks.lengths if all(name in index for name in entry.between)]
    if not lengths:
        return ""
    glass = glass_of(arrays)
    try:
        marks = flat_marks(glass, arrays.marks_px)
        spans = [
            float(np.linalg.norm(marks[index[b]] - marks[index[a]])) for a, b in (x.between for x in lengths)
        ]
        known = lengths[int(np.argmax(spans))]
        first, second = _axes(arrays, item)
        matrix = plane_from_vanishing(
            vanishing_point(arrays, first, glass).point,
            vanishing_point(arrays, second, glass).point,
            glass.lens,
        )
        reference = marks[[index[name] for name in known.between]]
        target = marks[[index[name] for name in item.size.between]]
        wrong = float(one_scale_departure(matrix, reference, target[None])[0])
    except ComputationRefused:
        return _UNKNOWN
    return (
        f"one scale from the length {known.between[0]} to {known.between[1]} is refused: it would be wrong by "
        f"{100.0 * wrong:+.2g} % in a plane along {first} and {second}"
    )


def _axes(arrays: PhotoArrays, item: Wanted) -> tuple[BuildingAxis, BuildingAxis]:
    """Axes of the plane in which the size lies; where none is stated, those along which most lines are marked."""
    plane = arrays.marks.point(item.size.between[0]).plane
    if plane:
        return arrays.marks.plane(plane).axes
    level: BuildingAxis = "x" if len(arrays.segments_px["x"]) >= len(arrays.segments_px["y"]) else "y"
    return level, "z"
