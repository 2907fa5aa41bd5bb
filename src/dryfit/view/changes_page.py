"""Two revisions side by side, in words and marks."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from dryfit.app.changes import WORKING
from dryfit.app.changes_page import ChangesShown
from dryfit.app.changes_parts import PartKind
from dryfit.app.releases import ReleaseList
from dryfit.model.forecast import CharacteristicForecast
from dryfit.view.as_built_page import Wash, figure_words

# Colours of Okabe and Ito's set (2008, memory); "" for paper.
KIND_WASHES: Mapping[PartKind, Wash] = {
    "changed": Wash("■", "#D55E00", 0),
    "moved and changed": Wash("■", "#D55E00", 1),
    "mirrored": Wash("◧", "#CC79A7", 2),
    "unit slip": Wash("✕", "#CC79A7", 3),
    "moved": Wash("△", "#E69F00", 0),
    "new": Wash("◆", "#0072B2", 0),
    "gone": Wash("◇", "#0072B2", 2),
    "not compared": Wash("○", "#56B4E9", 3),
    "other triangles": Wash("◐", "", 0),
    "unchanged": Wash("●", "", 0),
}


def kind_entries() -> list[dict[str, object]]:
    """How the views draw what became of parts, the gravest first."""
    return [
        {"id": kind, "shape": wash.shape, "colour": wash.colour, "hatch": wash.hatch}
        for kind, wash in KIND_WASHES.items()
    ]


def map_of(shown: ChangesShown, urls: Mapping[str, str]) -> dict[str, Any] | None:
    """How deviations are coloured; None where no part deviates."""
    if not shown.reach_mm:
        return None
    return {
        "urls": dict(urls),
        "low": -shown.reach_mm,
        "high": shown.reach_mm,
        "reach": shown.reach_mm,
        "step": shown.step_mm,
        "title": "added +, lost -, mm",
        "label": "deviation of shape",
        "ticks": [],
        "marks": [],
    }


def end_words(name: str, releases: ReleaseList) -> str:
    """A state to choose: "release A, 2026-11-20, first ring"."""
    if name == WORKING:
        return "the working state"
    item = next(item for item in releases.releases if item.letter == name)
    because = f", {item.because}" if item.because else ""
    return f"release {item.letter}, {item.at[:10]}{because}"


def side_figure(item: CharacteristicForecast | None) -> str:
    """Value and probability out of limits on one side of a comparison."""
    return "not forecast" if item is None else figure_words(item)


Pair = tuple[CharacteristicForecast | None, CharacteristicForecast | None]


def sorted_pairs(pairs: Sequence[Pair]) -> tuple[list[Pair], list[Pair], list[Pair]]:
    """Characteristics whose shown figures differ, those whose digits are the same, and those with one side only."""
    single = [pair for pair in pairs if None in pair]
    both = [pair for pair in pairs if None not in pair]
    alike = [pair for pair in both if side_figure(pair[0]) == side_figure(pair[1])]
    return [pair for pair in both if pair not in alike], alike, single
