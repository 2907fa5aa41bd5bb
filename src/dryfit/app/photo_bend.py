"""Lens distortion from lines that are straight in reality, with what is believed of any lens beside them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from dryfit.base.arrays import Array
from dryfit.base.errors import ComputationRefused
from dryfit.calc.photo import Lens, fit_plumb_lines
from dryfit.calc.photo.records import chance_of

# Lines that are this unlikely to be straight with the marks as they are stated widen what they say.
_UNLIKELY = 0.01


@dataclass(frozen=True, slots=True, eq=False)
class BentLines:
    """k1 and k2 (2,) for the focal length of the lens that was given, with their covariance (2, 2).

    note  how they were found
    """

    figures: Array
    covariance: Array
    note: str


def bend_of(lines_px: Sequence[Array], std_px: Array, lens: Lens, believed_std: Array) -> BentLines:
    """k1 and k2 of a lens from the marks along straight lines.

    std_px : (l,) of the marks of each line   believed_std : (2,) of k1 and k2 about zero, without the lines
    Raises ComputationRefused where the lines do not tell k1.
    """
    spread = float(np.sqrt(np.mean(std_px**2)))
    fit_plumb_lines(lines_px, spread, lens)  # do they tell anything at all?
    fit = fit_plumb_lines(lines_px, spread, lens, True, believed_std)
    chance = chance_of(fit.vpv, fit.dof)
    covariance = fit.covariance
    count = len(lines_px)
    note = f"lens distortion from {count} straight line{'' if count == 1 else 's'}"
    if chance is not None and chance < _UNLIKELY:
        factor = fit.vpv / fit.dof
        covariance = covariance * factor
        worst = int(fit.bow_px.argmax())
        note += (
            f"; they are not as straight as their marks are said to be: line {worst + 1} stays "
            f"{fit.bow_px[worst]:.2g} px off, with marks of {spread:.2g} px. What they say was widened "
            f"{factor**0.5:.1f} times"
        )
    return BentLines(np.array([fit.lens.k1, fit.lens.k2]), covariance, note)


def try_bend(
    lines_px: Sequence[Array], std_px: Array, lens: Lens, believed_std: Array
) -> tuple[BentLines | None, str]:
    """The same, or None and why not."""
    try:
        return bend_of(lines_px, std_px, lens, believed_std), ""
    except ComputationRefused as refusal:
        return None, refusal.what
