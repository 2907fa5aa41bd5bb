"""What is drawn over a photograph: marks with their uncertainty, residual arrows, planes, sizes, vanishing lines."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from dryfit.app.evidence_page import EvidencePhoto, EvidenceReport
from dryfit.app.photo_cameras import MarkResidual, PhotoCamera
from dryfit.model.photo import MarkedLine, MarkedPoint, Marks, Point2
from dryfit.view.digits import NONE, write_number
from dryfit.view.evidence import dimension_words, distance_words, size_state

FACTORS = (1, 2, 5, 10, 20, 50, 100, 200, 500)
# The longest arrow is about so much of the picture's longer side.
_LONGEST = 0.06


def photo_drawing(report: EvidenceReport, photo: EvidencePhoto) -> dict[str, Any]:
    """Everything that is drawn over one photograph, as plain lists; places in pixels of the upright picture."""
    marks, camera, line = photo.marks, photo.verdict.camera, photo.line
    width, height = line.width_px or 0, line.height_px or 0
    shown = marks or Marks("", 1.0)
    # Where nothing is left to test, the camera takes every mark as it is: there is no residual to show.
    is_tested = camera is not None and camera.p_value is not None
    off = {item.name: item for item in camera.residuals} if camera is not None and is_tested else {}
    suspects = {item.where: item.what for item in camera.suspects} if camera is not None else {}
    suspects |= {item.where: item.what for item in report.sizes.suspects if item.photo in ("", photo.id)}
    return {
        "id": photo.id,
        "width": width,
        "height": height,
        "points": [_point(item, off.get(item.name), suspects) for item in shown.points],
        "lines": [_line(item, off, suspects) for item in shown.lines],
        "planes": [
            {"name": item.name, "outline": _outline(shown, item.name)} for item in shown.planes
        ],
        "lengths": [_length(shown, item.between, f"{item.stated or write_number(item.length.value)}",
                            suspects) for item in shown.lengths],
        "sizes": _sizes(report, photo, shown),
        "vanishing": [] if camera is None else _vanishing(shown, camera),
        "horizon": None if camera is None else _horizon(camera, width, height),
        "factors": list(FACTORS),
        "factor": best_factor(camera, max(width, height)),
    }  # fmt: skip


def best_factor(camera: PhotoCamera | None, side_px: int) -> int:
    """How many times residuals are drawn as large, so that the longest used one is well seen."""
    longest = (
        max((item.distance_px for item in camera.residuals if item.is_used), default=0.0) if camera else 0.0
    )
    if longest <= 0.0:
        return 1
    fit = [factor for factor in FACTORS if factor * longest <= _LONGEST * side_px]
    return fit[-1] if fit else 1


def _point(item: MarkedPoint, off: MarkResidual | None, suspects: Mapping[str, str]) -> dict[str, Any]:
    suspicion = suspects.get(f'point "{item.name}"', "")
    known = ""
    if item.prototype_mm is not None:
        known = ", ".join(write_number(value, 1) for value in item.prototype_mm)
    return {
        "name": item.name,
        "at": list(item.at_px),
        "std": item.std_px,
        "std_words": write_number(item.std_px, 3),
        "plane": item.plane,
        "known": known,
        "off": None if off is None else list(off.off_px),
        "off_words": NONE if off is None else _off_words(off),
        "is_used": off is None or off.is_used,
        "suspicion": suspicion,
    }


def _off_words(off: MarkResidual) -> str:
    return distance_words(off.distance_px) + ("" if off.is_used else ", set aside")


def _line(item: MarkedLine, off: Mapping[str, MarkResidual], suspects: Mapping[str, str]) -> dict[str, Any]:
    ends = [off[name] for name in (f"{item.name}, first", f"{item.name}, last") if name in off]
    words = ", ".join(distance_words(end.distance_px) for end in ends) or NONE
    kinds = [f"along {item.along}"] if item.along else []
    kinds += ["straight"] if item.is_straight else []
    return {
        "name": item.name,
        "at": [list(place) for place in item.points_px],
        "through": list(item.through),
        "std": item.std_px,
        "std_words": write_number(item.std_px, 3),
        "along": item.along,
        "kind_words": ", ".join(kinds),
        "plane": item.plane,
        "off": [list(end.off_px) for end in ends] if len(ends) == 2 else None,
        "off_words": words,
        "suspicion": suspects.get(f'line "{item.name}"', ""),
    }


def _length(
    marks: Marks, between: tuple[str, str], words: str, suspects: Mapping[str, str]
) -> dict[str, Any]:
    first, second = (marks.point(name).at_px for name in between)
    where = (f"length {between[0]} to {between[1]}", f"length {between[1]} to {between[0]}")
    return {
        "between": list(between),
        "at": [list(first), list(second)],
        "words": words,
        "suspicion": next((suspects[name] for name in where if name in suspects), ""),
    }


def _sizes(report: EvidenceReport, photo: EvidencePhoto, marks: Marks) -> list[dict[str, Any]]:
    """Sizes that are marked here with what was measured, if only from another photograph of the same points."""
    found = []
    for item in marks.sizes:
        ends = frozenset(item.between)
        line = next(
            (
                line
                for line in report.sizes.sizes
                if photo.id in line.photos and frozenset(line.between) == ends and line.dimension == item.of
            ),
            None,
        )
        found.append(
            {
                "id": item.id,
                "of": item.of,
                "at": [list(marks.point(name).at_px) for name in item.between],
                "words": "not measured" if line is None else dimension_words(line.value_mm, line.std_mm),
                "state": "not checked" if line is None else size_state(line),
            }
        )
    return found


def _outline(marks: Marks, plane: str) -> list[list[float]]:
    """Convex outline of what is marked in a plane."""
    places = {point.at_px for point in marks.points if point.plane == plane}
    places |= {place for line in marks.lines if line.plane == plane for place in line.points_px}
    return [list(place) for place in convex_outline(sorted(places))]


def convex_outline(places: Sequence[Point2]) -> list[Point2]:
    """Convex hull of sorted places, counter-clockwise in mathematical axes.

    Source: Andrew's monotone chain, Information Processing Letters 9 (1979) 216 (memory).
    """
    if len(places) < 3:
        return list(places)

    def half(order: Sequence[Point2]) -> list[Point2]:
        chain: list[Point2] = []
        for place in order:
            while len(chain) > 1 and _turn(chain[-2], chain[-1], place) <= 0.0:
                chain.pop()
            chain.append(place)
        return chain[:-1]

    return [*half(places), *half(list(reversed(places)))]


def _turn(first: Point2, second: Point2, third: Point2) -> float:
    return (second[0] - first[0]) * (third[1] - first[1]) - (second[1] - first[1]) * (third[0] - first[0])


def _vanishing(marks: Marks, camera: PhotoCamera) -> list[dict[str, Any]]:
    """Lines along each axis drawn on to where they meet."""
    found = []
    for item in camera.vanishing:
        lines = [line for line in marks.lines if line.along == item.axis]
        place = item.place_px
        found.append(
            {
                "axis": item.axis,
                "place": None if place is None else list(place),
                "from": [] if place is None else [list(_nearer(line, place)) for line in lines],
            }
        )
    return found


def _nearer(line: MarkedLine, place: Point2) -> Point2:
    ends = (line.points_px[0], line.points_px[-1])
    return min(ends, key=lambda end: (end[0] - place[0]) ** 2 + (end[1] - place[1]) ** 2)


def _horizon(camera: PhotoCamera, width: int, height: int) -> list[list[float]] | None:
    """Both ends, well beyond the picture."""
    if camera.horizon is None:
        return None
    a, b, c = camera.horizon
    if abs(b) >= abs(a):
        return [[x, -(a * x + c) / b] for x in (-1.0 * width, 2.0 * width)]
    return [[-(b * y + c) / a, y] for y in (-1.0 * height, 2.0 * height)]
