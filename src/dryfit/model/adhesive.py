"""Adhesives: what fills a joint, and within what gap."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, get_args

AdhesiveKind = Literal["epoxy", "polyurethane", "acrylic", "cyanoacrylate", "solvent", "other"]
ADHESIVE_KINDS: tuple[AdhesiveKind, ...] = get_args(AdhesiveKind)

# What an epoxy of the usual kind fills. Common practice, no source: the product's own sheet rules.
EPOXY_FILLS_MM = (0.05, 0.2)


@dataclass(frozen=True, slots=True)
class Adhesive:
    """A product.

    fills_mm       least and largest gap that it fills
    pot_life_min   minutes from mixing until it can no longer be spread; None: not stated
    cure_h         hours until it may be loaded; None: not stated
    temp_c         lowest and highest temperature for bonding; None: not stated
    source         where these figures are from, as "data sheet of 2026"; "" where not stated
    """

    id: str
    kind: AdhesiveKind
    fills_mm: tuple[float, float]
    pot_life_min: float | None = None
    cure_h: float | None = None
    temp_c: tuple[float, float] | None = None
    source: str = ""
