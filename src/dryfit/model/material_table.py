"""Printing plastics by family: expansion, density, glass transition.

The ranges are those that makers' data sheets print for unfilled filament, put down from memory; no sheet
was at hand. A fibre-filled grade differs by a factor of two or more and needs its own stated values.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

from dryfit.base.citation import Citation
from dryfit.base.estimate import Estimate

DATA_SHEETS = Citation("typical of data sheets, from memory")


@dataclass(frozen=True, slots=True)
class FamilyProperties:
    """What is typical of a family of plastics.

    expansion_per_k     linear expansion near room temperature [1/K]
    density_g_per_cm3   of the solid plastic, without infill [g/cm3]
    glass_transition_c  where stiffness is lost; for TPU it lies far below room temperature [C]
    source              where the three values come from
    """

    family: str
    expansion_per_k: Estimate
    density_g_per_cm3: Estimate
    glass_transition_c: Estimate
    source: Citation = DATA_SHEETS


def _typical(
    family: str, expansion: tuple[float, float], density: tuple[float, float], glass: tuple[float, float]
) -> FamilyProperties:
    """Each pair is (value, one standard deviation of the spread over data sheets)."""
    return FamilyProperties(family, Estimate(*expansion), Estimate(*density), Estimate(*glass))


_ROWS = (
    _typical("PLA", (70e-6, 8e-6), (1.24, 0.01), (57.0, 3.0)),
    _typical("PETG", (60e-6, 6e-6), (1.27, 0.01), (78.0, 4.0)),
    _typical("ABS", (90e-6, 9e-6), (1.04, 0.015), (105.0, 3.0)),
    _typical("ASA", (95e-6, 9e-6), (1.07, 0.01), (100.0, 4.0)),
    _typical("PC", (68e-6, 3e-6), (1.20, 0.01), (147.0, 3.0)),
    # Nylon spans PA 6 to PA 12 (1.14 to 1.01 g/cm3); moisture lowers the glass transition of either.
    _typical("PA", (95e-6, 15e-6), (1.09, 0.05), (50.0, 8.0)),
    _typical("TPU", (150e-6, 25e-6), (1.21, 0.02), (-35.0, 15.0)),
)

FAMILIES: Mapping[str, FamilyProperties] = MappingProxyType({row.family: row for row in _ROWS})
