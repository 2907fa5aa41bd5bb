"""Printing materials: what they shrink and expand by."""

from __future__ import annotations

from dataclasses import dataclass

from dryfit.base.estimate import Estimate


@dataclass(frozen=True, slots=True)
class Material:
    """shrinkage: isotropic, 0.002 is 0.2 % smaller [-]; expansion_per_k: linear [1/K].

    density_g_per_cm3: of the solid plastic, without infill; None: neither stated nor in the table.

    notes: what was taken from tables rather than stated, in words, for the list of assumptions.
    """

    id: str
    family: str
    shrinkage: Estimate
    expansion_per_k: Estimate
    notes: tuple[str, ...] = ()
    density_g_per_cm3: Estimate | None = None
