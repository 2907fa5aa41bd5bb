"""Colours of deviations: paper at zero, dark blue inside the model, burnt orange outside; grey without a scan."""

from __future__ import annotations

import math

import numpy as np

from dryfit.base.arrays import Array

PAPER, BLUE, ORANGE = (247, 244, 236), (16, 52, 104), (176, 74, 10)
UNSEEN = (196, 196, 196)


def scale_limit_mm(values: Array) -> float:
    """The round value [mm] at the ends of the scale: the least of 1, 2 or 5 times a power of ten that holds 99 %."""
    known = np.abs(values[np.isfinite(values)])
    most = float(np.quantile(known, 0.99)) if len(known) else 0.0
    if most <= 0.0:
        return 0.001
    power = 10.0 ** math.floor(math.log10(most))
    return float(next(step * power for step in (1.0, 2.0, 5.0, 10.0) if step * power >= most * (1 - 1e-9)))


def deviation_colours(values: Array, limit_mm: float) -> np.ndarray:
    """Red, green and blue (n, 3) of deviations (n,) [mm]; NaN is grey, beyond the limits the colour of the end."""
    share = np.clip(np.nan_to_num(values) / limit_mm, -1.0, 1.0)
    ends = np.where(share[:, None] >= 0.0, np.array(ORANGE), np.array(BLUE))
    # The square root spreads small values: half the limit is well past half the colour.
    mixed = np.array(PAPER) + np.sqrt(np.abs(share))[:, None] * (ends - np.array(PAPER))
    mixed[~np.isfinite(values)] = UNSEEN
    colours: np.ndarray = np.rint(mixed).astype(np.uint8)
    return colours
