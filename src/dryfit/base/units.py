"""Length units of mesh files and documents; the core is in millimetres."""

from __future__ import annotations

from typing import Literal

LengthUnit = Literal["um", "mm", "cm", "m", "in", "ft"]

# International yard and pound agreement of 1959: one inch is 25.4 mm exactly.
MM_PER_UNIT: dict[LengthUnit, float] = {
    "um": 1e-3,
    "mm": 1.0,
    "cm": 10.0,
    "m": 1000.0,
    "in": 25.4,
    "ft": 304.8,
}
