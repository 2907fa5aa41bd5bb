"""The hold points by stage, as they are asked for at the command line."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path

from dryfit.app.ready import HoldPoint, check_before
from dryfit.app.ready_bonding import check_before_bonding
from dryfit.base.errors import ReferenceUnknown

Progress = Callable[[int, int], None]


def check_stage(
    words: Sequence[str],
    stage: str,
    record: bool = True,
    temp_c: float | None = None,
    progress: Progress | None = None,
) -> HoldPoint:
    """The hold point of a stage. words: before bonding the joint, then the project; else the project alone.

    Raises ReferenceUnknown for a stage without checks, or words too many or too few.
    """
    where = "the command line"
    if stage == "bonding":
        if not 1 <= len(words) <= 2:
            do = "name it: dryfit ready --before bonding ring-1:ring-2 [PROJECT]"
            raise ReferenceUnknown("before bonding, one joint is to be named", where, do)
        return check_before_bonding(
            Path(words[1] if len(words) > 1 else "."), words[0], record, temp_c, progress
        )
    if len(words) > 1:
        raise ReferenceUnknown(f"{len(words)} project folders are named", where, "name one")
    return check_before(Path(words[0] if words else "."), stage, record, progress)
