"""What the search for bed poses and locator layouts proposes, and why."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from dryfit.model.part import Bed

# What the parts' own shares show: a neutral part moves the result no longer, a cancelling one is made up
# for by others, an easing one still moves it, by less or to the better side.
Effect = Literal["neutral", "cancels", "eases"]
Layout = Literal["long", "short", "stated points"]


@dataclass(frozen=True, slots=True)
class OrientOptions:
    """What the search may change.

    grid_deg         spacing of the turns about the machine's vertical that are tried
    is_refined       whether turns between those of the grid are looked for afterwards
    with_locators    whether the locators of a joint may move to the other axis of its face
    with_stated_points  whether that goes for joints whose locator points are stated, too
    keep_parts       ids of parts whose bed pose stays, for instance because they are printed
    seed             of the random starts
    random_starts    their number
    """

    grid_deg: float = 15.0
    is_refined: bool = True
    with_locators: bool = False
    with_stated_points: bool = False
    keep_parts: tuple[str, ...] = ()
    seed: int = 1
    random_starts: int = 6


@dataclass(frozen=True, slots=True)
class PoseChange:
    """A part that should lie otherwise on the bed.

    stated, chosen  bed poses, design -> machine axes
    turn_deg        turn about the machine's vertical, after the resting pose
    is_other_rest   whether it lies on another face than stated
    effect, reason  what the change does, from the computed shares
    characteristic  the one that gains most from it
    share_before, share_after  by how much the part itself moves that characteristic, in its unit, with the
                   locators as chosen
    """

    part: str
    stated: Bed
    chosen: Bed
    turn_deg: float
    is_other_rest: bool
    effect: Effect
    reason: str
    characteristic: str
    share_before: float
    share_after: float


@dataclass(frozen=True, slots=True)
class LayoutChange:
    """A joint whose locators should lie otherwise."""

    joint: str
    stated: Layout
    chosen: Layout
    reason: str


@dataclass(frozen=True, slots=True)
class CharacteristicChange:
    """A characteristic before and after, in its own unit; the losses are None where it is left out."""

    id: str
    unit: str
    predicted_before: float
    predicted_after: float
    std_before: float
    std_after: float
    p_out_before: float | None
    p_out_after: float | None
    loss_before: float | None
    loss_after: float | None


@dataclass(frozen=True, slots=True)
class OrientReport:
    """Bed poses and locator layouts of least expected loss.

    loss_before, loss_after  expected squared departure from the middle of the limits in half bands, added up
                     over the characteristics, by exact placement
    left_out         what the search did not judge or could not change, in words
    assumptions      what the figures rest on, in words
    """

    project: str
    parts: tuple[PoseChange, ...]
    joints: tuple[LayoutChange, ...]
    characteristics: tuple[CharacteristicChange, ...]
    loss_before: float
    loss_after: float
    left_out: tuple[str, ...]
    assumptions: tuple[str, ...]

    @property
    def has_changes(self) -> bool:
        """Whether anything should be changed."""
        return bool(self.parts or self.joints)
