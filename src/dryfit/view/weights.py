"""Weights and measures in rows and sentences, and as plain tables for --json."""

from __future__ import annotations

from typing import Any

from dryfit.app.weighing import PartWeight, Weights
from dryfit.base.arrays import Array
from dryfit.base.estimate import Estimate
from dryfit.view.blocks import Block, Sentence, Table
from dryfit.view.digits import NONE, write_estimate, write_number


def weight_blocks(weights: Weights) -> list[Block]:
    """A row for every part, the assembly below."""
    rows = [_row(part) for part in weights.parts]
    rows.append(
        (
            "all parts",
            f"{weights.volume_mm3 / 1000.0:.1f}",
            f"{weights.area_mm2 / 100.0:.0f}",
            _grams(weights.solid_g),
            _grams(weights.printed_g),
            _place(weights.centre_mm),
        )
    )
    heads = (
        "part",
        "volume in cm3",
        "surface in cm2",
        "solid in g",
        "with shell and infill in g",
        "centre of gravity in mm",
    )
    blocks: list[Block] = [Table(heads, tuple(rows), frozenset({1, 2, 3, 4, 5}))]
    blocks += [
        Sentence(f"weight: {part.part}: {part.reason}.", "not checked")
        for part in weights.parts
        if part.reason
    ]
    blocks += [Sentence(f"assumed: {note}", mark=True) for note in weights.notes]
    return blocks


def weights_plain(weights: Weights) -> dict[str, Any]:
    """The weights under the keys of `dryfit parts --json`."""
    return {
        "volume_mm3": weights.volume_mm3,
        "area_mm2": weights.area_mm2,
        "solid_g": _estimate(weights.solid_g),
        "printed_g": _estimate(weights.printed_g),
        "centre_mm": _list(weights.centre_mm),
        "inertia_kg_mm2": _list(weights.inertia_kg_mm2),
        "without": list(weights.without),
        "notes": list(weights.notes),
        "parts": [_part(part) for part in weights.parts],
    }


def _row(part: PartWeight) -> tuple[str, ...]:
    return (
        part.part,
        NONE if part.volume_mm3 is None else f"{part.volume_mm3 / 1000.0:.1f}",
        f"{part.area_mm2 / 100.0:.0f}",
        _grams(part.solid_g),
        _grams(part.printed_g),
        _place(part.centre_mm),
    )


def _grams(mass: Estimate | None) -> str:
    if mass is None:
        return NONE
    return write_estimate(mass.value, mass.std) if mass.std > 0 else write_number(mass.value, 1)


def _place(centre: Array | None) -> str:
    return NONE if centre is None else ", ".join(f"{value:.1f}" for value in centre)


def _part(part: PartWeight) -> dict[str, Any]:
    return {
        "id": part.part,
        "volume_mm3": part.volume_mm3,
        "area_mm2": part.area_mm2,
        "density_g_per_cm3": _estimate(part.density),
        "density_from": part.density_from,
        "solid_g": _estimate(part.solid_g),
        "printed_g": _estimate(part.printed_g),
        "centre_mm": _list(part.centre_mm),
        "inertia_kg_mm2": _list(part.inertia_kg_mm2),
        "not_known_because": part.reason or None,
    }


def _estimate(value: Estimate | None) -> dict[str, float] | None:
    return None if value is None else {"value": value.value, "std": value.std}


def _list(value: Array | None) -> Any:
    return None if value is None else value.tolist()
