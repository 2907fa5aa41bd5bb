"""What is typed into the panel of a new feature, as the request that the command line makes too."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from dryfit.app.feature_adding import PLANE_KINDS
from dryfit.app.feature_request import FeatureRefused, FeatureRequest, Triple, read_direction, read_limits
from dryfit.model.feature import Pick

KIND_WORDS: Mapping[str, str] = {
    "distance": "distance: between two plane faces",
    "extent": "extent: of parts along a direction",
    "diameter": "diameter: of a bore, a cylinder, a sphere or a tube",
    "position": "position: of a bore from a plane face (pick the bore first)",
    "angle": "angle: of the material between two plane faces",
    "flatness": "flatness: of a plane face",
    "section": "section: of a cut through the picked point",
    "thickness": "thickness: of the wall behind the picked point",
    "centres": "centres: from one round face to another",
}
# Faces that each kind is measured on; None: one on each part that it is measured over.
FACES_OF: Mapping[str, int | None] = {
    "distance": 2,
    "extent": None,
    "diameter": 1,
    "position": 2,
    "angle": 2,
    "flatness": 1,
    "section": 1,
    "thickness": 1,
    "centres": 2,
}
LIMIT_WORDS: Mapping[str, str] = {
    "": "none",
    "limits": "lower,upper",
    "deviations": "deviations from what it should be",
    "iso_286": "ISO 286-1 grade or class",
    "iso_2768": "ISO 2768-1 class",
}


def make_request(typed: Mapping[str, str], picks: Sequence[Pick]) -> FeatureRequest:
    """The feature that was asked for. typed: by field, a field that is not there is empty.

    Raises FeatureRefused where faces are missing or a figure cannot be read.
    """
    said = {name: words.strip() for name, words in typed.items()}
    kind = said["kind"]
    _check_count(kind, len(picks))
    points = [_triple(pick) for pick in picks]
    chosen, limit = said.get("limits", ""), said.get("limit", "")
    if chosen and not limit:
        raise FeatureRefused("the limits are not written", "limits", f"write them as {LIMIT_WORDS[chosen]}")
    return FeatureRequest(
        kind=kind,
        id=said.get("id") or None,
        parts=tuple(dict.fromkeys(pick.part for pick in picks))
        if kind in PLANE_KINDS
        else tuple(pick.part for pick in picks),
        at=() if kind == "extent" else tuple(points),
        along=_direction(said.get("along", ""), "measured along") if kind in PLANE_KINDS else None,
        across=_direction(said.get("across", ""), "cut across") if kind == "section" else None,
        nominal=_number(said.get("nominal", ""), "should be"),
        std=_number(said.get("std", ""), "known within (std)"),
        dimension=said.get("dimension") or None,
        limits=read_limits(limit, "limits") if chosen == "limits" else None,
        deviations=read_limits(limit, "limits") if chosen == "deviations" else None,
        iso_286=limit if chosen == "iso_286" else None,
        iso_2768=limit if chosen == "iso_2768" else None,
    )


def _check_count(kind: str, count: int) -> None:
    wanted = FACES_OF[kind]
    if count == wanted or (wanted is None and count):
        return
    need = "at least one part" if wanted is None else "one face" if wanted == 1 else f"{wanted} faces"
    raise FeatureRefused(
        f"{count} of {need} picked",
        f"the {kind}",
        "double click in the view, or press Enter with the view in focus",
    )


def _triple(pick: Pick) -> Triple:
    if pick.point_mm is None:
        raise ValueError("a face that was picked in the view has a point")
    x, y, z = (float(value) for value in pick.point_mm)
    return x, y, z


def _direction(words: str, field: str) -> Triple | None:
    return read_direction(words, field) if words else None


def _number(words: str, field: str) -> float | None:
    if not words:
        return None
    try:
        return float(words)
    except ValueError as error:
        raise FeatureRefused(
            f'"{words}" is no number', field, "write it as a number, such as 20.5"
        ) from error
