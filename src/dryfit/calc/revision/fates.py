"""What becomes of a printed part whose shape has changed: rules of the bench."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Fate = Literal["good", "rework", "lost"]


@dataclass(frozen=True, slots=True)
class Bench:
    """What can be done to a printed part (common practice, no source; each is settable).

    same_mm   what no printer makes, and what a re-export leaves, is no change of shape
    sand_mm   depth that can be sanded off a face and kept flat
    fill_mm   thickness that a shim, or filler sanded back, can add
    reach_mm  free way that a sanding block needs over a face, along its normal
    """

    same_mm: float = 0.02
    sand_mm: float = 0.5
    fill_mm: float = 0.3
    reach_mm: float = 20.0

    def __post_init__(self) -> None:
        if not all(value >= 0.0 for value in (self.same_mm, self.sand_mm, self.fill_mm, self.reach_mm)):
            raise ValueError("what a bench can do is not negative")


def judge_fate(
    bench: Bench,
    added_mm: float,
    removed_mm: float,
    scatter_mm: float = 0.0,
    shell_mm: float | None = None,
    is_reached: bool | None = True,
) -> tuple[Fate, str]:
    """The fate of a printed part, and why in words.

    added_mm, removed_mm : greatest thickness that the new shape has more, and has less
    scatter_mm : within which the machine repeats itself, two standard deviations; a change below it changes nothing
    shell_mm : solid plastic under the surface; no more than half of it may be sanded off. None: not stated
    is_reached : whether a block reaches what must be sanded; None: not known, which does not count as reached
    """
    free = max(bench.same_mm, scatter_mm)
    if max(added_mm, removed_mm) <= free:
        return "good", f"the change is within {free:.2g} mm, which the machine does not repeat"
    if added_mm > free and added_mm > bench.fill_mm:
        return (
            "lost",
            f"{added_mm:.3g} mm are missing on it, more than {bench.fill_mm:g} mm of shim or filler",
        )
    if removed_mm > free:
        if removed_mm > bench.sand_mm:
            return (
                "lost",
                f"{removed_mm:.3g} mm are too much on it, more than {bench.sand_mm:g} mm to sand off",
            )
        if shell_mm is not None and removed_mm > 0.5 * shell_mm:
            return (
                "lost",
                f"sanding {removed_mm:.3g} mm off would leave less than half of its {shell_mm:g} mm shell",
            )
        if not is_reached:
            return "lost", f"{removed_mm:.3g} mm are too much on it where no sanding block reaches"
    deeds = [
        *([f"sand {removed_mm:.2g} mm off"] if removed_mm > free else []),
        *([f"fill or shim {added_mm:.2g} mm"] if added_mm > free else []),
    ]
    return "rework", " and ".join(deeds)
