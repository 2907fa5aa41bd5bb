"""What a source of the chain is called in plain words."""

from __future__ import annotations

_FIGURES = {
    "scale_x": "scale along X",
    "scale_y": "scale along Y",
    "scale_z": "scale along Z",
    "skew_xy_deg": "lean of X against Y",
    "skew_xz_deg": "lean of the upright toward X",
    "skew_yz_deg": "lean of the upright toward Y",
    "boundary_offset_mm": "offset of outlines",
    "first_layer_flare_mm": "flare of the first layers",
    "shrinkage": "shrinkage",
    "expansion_per_k": "thermal expansion",
    "scatter": "scatter of printed points",
    "play": "seating play",
    "bond_line_mm": "bond line thickness",
    "temp_c": "temperature",
    "readings": "uncertainty of the readings",
    "own_shape": "shape of its own",
    "handwork": "sanding and shimming",
    "gap": "gaps measured where it was bonded",
}


def describe_source(source: str) -> str:
    """In words: tall.skew_xy_deg is the lean of X against Y (tall); an unknown one is given as it is."""
    owner, _, key = source.rpartition(".")
    words = _FIGURES.get(key)
    return source if words is None or not owner else f"{words} ({owner})"


def describe_figure(name: str) -> str:
    """A figure of a machine in plain words, without the machine."""
    return _FIGURES[name]
