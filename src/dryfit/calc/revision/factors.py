"""Unit slips: a shape that came back larger or smaller by a factor between two units of length."""

from __future__ import annotations

import numpy as np

from dryfit.base.arrays import Array

# Millimetres in each unit that a modelling program may write.
_UNITS_MM = {"um": 0.001, "mm": 1.0, "cm": 10.0, "in": 25.4, "ft": 304.8, "m": 1000.0}
_AGREE = 1e-3  # share by which the three extents may differ in their factor


def find_unit_factor(old_extents_mm: Array, new_extents_mm: Array) -> tuple[float, str, str] | None:
    """The factor between two sizes, and the units that it lies between: (1000.0, "m", "mm"); None for another.

    old_extents_mm, new_extents_mm : (3,) [mm] of the shape before and after
    A factor of 1000 says that numbers which mean millimetres were read as metres, as far as sizes can tell.
    """
    old, new = np.sort(np.asarray(old_extents_mm)), np.sort(np.asarray(new_extents_mm))
    is_thick = old > 1e-9
    if not is_thick.any():
        return None
    ratios = new[is_thick] / old[is_thick]
    ratio = float(np.median(ratios))
    if not ratio > 0 or float(np.abs(ratios / ratio - 1.0).max()) > _AGREE:
        return None
    best: tuple[float, str, str] | None = None
    for name, size in _UNITS_MM.items():
        for other, other_size in _UNITS_MM.items():
            factor = size / other_size
            # A pair with mm in it explains more than one without: the document is in mm.
            if (
                factor != 1.0
                and abs(ratio / factor - 1.0) <= _AGREE
                and (best is None or "mm" in (name, other))
            ):
                best = (factor, name, other)
    return best
