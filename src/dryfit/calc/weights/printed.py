"""Mass of a printed body with a solid shell and a partly filled inside."""

from __future__ import annotations

from dryfit.base.errors import ComputationRefused


def printed_share(volume_mm3: float, area_mm2: float, shell_mm: float, infill: float) -> float:
    """Share of a part's volume that is plastic: shell wholly, the rest by the infill.

    shell_mm : thickness of the solid shell along every surface; infill : 0 to 1
    Returns (shell + infill (volume - shell)) / volume, where the shell's volume is area * shell_mm, at
    most the whole. Corners make that too much by the order of shell_mm^2 per length of edge, so a small
    part comes out somewhat heavy (common practice, no source).
    """
    if not (volume_mm3 > 0 and area_mm2 > 0):
        raise ComputationRefused(
            "a part without a positive volume has no mass", "mesh", "close the mesh and turn it outside out"
        )
    if shell_mm < 0 or not 0 <= infill <= 1:
        raise ValueError("shell_mm cannot be negative, infill lies from 0 to 1")
    shell = min(volume_mm3, area_mm2 * shell_mm)
    return (shell + infill * (volume_mm3 - shell)) / volume_mm3


def printed_mass(
    volume_mm3: float, area_mm2: float, density_g_per_cm3: float, shell_mm: float, infill: float
) -> float:
    """Mass [g] of a part printed with a solid shell and an infill; see printed_share."""
    share = printed_share(volume_mm3, area_mm2, shell_mm, infill)
    return share * volume_mm3 * density_g_per_cm3 / 1000.0
