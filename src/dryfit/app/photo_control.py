"""A photograph with six or more known points: do they go together, and is it mirrored?"""

from __future__ import annotations

import numpy as np

from dryfit.app.photo_arrays import PhotoArrays
from dryfit.app.photo_lens import glass_of
from dryfit.app.photo_size_records import LEVEL, Suspect
from dryfit.base.arrays import Array
from dryfit.base.errors import ComputationRefused
from dryfit.calc.photo import Lens, Resection, resect
from dryfit.calc.photo.records import chi_square_limit

# A picture is mirrored where it fits so many times better flipped back (as in a joint adjustment).
_CLEARLY = 2.0
_LEAST = 6
# So many known points tell where the lens's middle lies, and leave enough to test one another.
_ENOUGH_FOR_CENTRE = 9


def control_known_points(arrays: PhotoArrays) -> list[Suspect]:
    """Known points that do not fit the camera of the rest, and a mirrored picture; nothing without six of them."""
    rows = list(arrays.known)
    if len(rows) < _LEAST:
        return []
    found = _try(arrays, rows, arrays.photo.is_mirrored)
    other = _try(arrays, rows, not arrays.photo.is_mirrored)
    if other is not None and (found is None or _CLEARLY * _size(other) < _size(found)):
        state = "false" if arrays.photo.is_mirrored else "true"
        was = "nothing" if found is None else f"{_size(found):.3g} px"
        what = f"its known points fit within {_size(other):.3g} px flipped left to right, and within {was} as it is"
        do = f"look for writing on the picture, then state mirrored = {state} of this photo"
        return [Suspect(arrays.photo.id, f'photo "{arrays.photo.id}"', what, do)]
    return _worst_first(arrays, rows, found)


def resect_known(arrays: PhotoArrays) -> tuple[tuple[int, ...], Resection] | None:
    """Indices of the known points and the camera that they give all together; None where they give none."""
    rows = list(arrays.known)
    found = _try(arrays, rows, arrays.photo.is_mirrored) if len(rows) >= _LEAST else None
    return None if found is None else (tuple(rows), found)


def _worst_first(arrays: PhotoArrays, rows: list[int], found: Resection | None) -> list[Suspect]:
    suspects: list[Suspect] = []
    limit = chi_square_limit(LEVEL / len(rows), 2)
    while found is not None:
        tests = np.nan_to_num(found.normalised)
        worst = int(tests.argmax())
        if tests[worst] <= limit:
            break
        name = arrays.names[rows[worst]]
        what = (
            "its mark or its known place does not go with the other known points, "
            f"{float(np.linalg.norm(found.residual_px[worst])):.1f} px off"
        )
        do = "look at it under the magnifier, and whether its place is stated rightly"
        suspects.append(Suspect(arrays.photo.id, f'point "{name}"', what, do, float(tests[worst])))
        rows = [row for row in rows if row != rows[worst]]
        found = _try(arrays, rows, arrays.photo.is_mirrored) if len(rows) >= _LEAST else None
    return suspects


def _try(arrays: PhotoArrays, rows: list[int], is_flipped: bool) -> Resection | None:
    """The camera, or None where the points determine none."""
    marks: Array = arrays.marks_px[rows].copy()
    centre = np.array(arrays.centre_px)
    if is_flipped:
        marks[:, 0] = arrays.width_px - 1.0 - marks[:, 0]
        centre[0] = arrays.width_px - 1.0 - centre[0]
    glass = glass_of(arrays)
    estimated = ["focal_px"] if arrays.lens.std[0] > 0.0 else []
    if not glass.is_known:  # a lens that bends is not to be taken for wrong marks
        estimated.append("k1")
    if len(rows) >= _ENOUGH_FOR_CENTRE and arrays.lens.std[1] > 0.0:
        estimated += ["centre_x_px", "centre_y_px"]
    lens = None if arrays.lens.is_focal_guessed and not glass.is_known else glass.lens
    if lens is not None:
        lens = Lens(lens.focal_px, centre, *lens.distortion)
    places = arrays.known_mm[[arrays.known.index(row) for row in rows]]
    std = float(arrays.known_std_mm.max())
    try:
        return resect(marks, arrays.std_px[rows], places, std, estimated, lens, None if lens else centre)
    except ComputationRefused:
        return None


def _size(found: Resection) -> float:
    return float(np.sqrt(np.mean(found.residual_px**2)))
