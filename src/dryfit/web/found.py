"""What a view is told of findings, features and walls: plain values, addresses and words."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

from dryfit.app.checking import PartsReport
from dryfit.app.live import Snapshot
from dryfit.app.measuring_picks import PickDescription
from dryfit.app.view_marks import FeatureMark, FoundMark, Marked, pack_triangles
from dryfit.app.view_walls import WallScale, WidthMark, mark_widths, scale_walls
from dryfit.base.arrays import Array
from dryfit.model.finding import Finding, MeasuredFeature
from dryfit.view.blocks import COLOURS, State
from dryfit.view.parts import deviation_words, measured_words
from dryfit.view.walls import tick_words, width_words
from dryfit.web.overlays import walls_address

if TYPE_CHECKING:
    from dryfit.web.overlays import Overlays

_PICKED: State = "not checked"  # its colour stands for what is only picked: it is neither right nor wrong


def describe_finding(
    finding: Finding, mark: FoundMark, at: int, shapes: Mapping[str, Any], overlays: Overlays
) -> dict[str, Any]:
    """A finding in the view, looking at one of its places; without any place, at its part."""
    found = _blank(mark.parts, finding.state)
    found["faces"] = _faces(mark.triangles, shapes, overlays)
    if len(mark.places_mm):
        found |= {
            "places": mark.places_mm.tolist(),
            "at": at,
            "words": place_flag(finding, at, len(mark.places_mm)),
            "line": None if mark.line_mm is None else mark.line_mm.tolist(),
            "box": None if mark.boxes_mm is None else mark.boxes_mm[at].tolist(),
            "view": {
                "part": mark.parts[0],
                "at": mark.places_mm[at].tolist(),
                "from": mark.look_from[at].tolist(),
                "reach": float(mark.reach_mm[at]),
            },
        }
        return found
    return found | {"view": {"parts": list(mark.parts)}}


def describe_feature_mark(
    measured: MeasuredFeature, mark: FeatureMark, shapes: Mapping[str, Any], overlays: Overlays
) -> dict[str, Any]:
    """A measured feature in the view: its faces and its dimension line with value and deviation."""
    return _blank(mark.parts, measured.state) | {
        "faces": _faces(mark.triangles, shapes, overlays),
        "words": feature_flag(measured),
        "line": None if mark.line_mm is None else mark.line_mm.tolist(),
        "lead": None if mark.lead_mm is None else mark.lead_mm.tolist(),
        "view": {
            "part": mark.parts[0],
            "at": mark.middle_mm.tolist(),
            "from": mark.look_from.tolist(),
            "reach": mark.reach_mm,
        },
    }


def describe_picks(
    picks: Sequence[PickDescription], shapes: Mapping[str, Any], overlays: Overlays
) -> dict[str, Any]:
    """Faces that are picked for a feature to be; joints are put away meanwhile."""
    marked = tuple((pick.pick.part, pick.face.triangles) for pick in picks)
    points = [pick.pick.point_mm for pick in picks if pick.pick.point_mm is not None]
    return _blank((), _PICKED) | {
        "faces": _faces(marked, shapes, overlays),
        "places": [point.tolist() for point in points],
    }


def describe_walls(
    snapshot: Snapshot, report: PartsReport, scale: WallScale, part: str | None
) -> dict[str, Any]:
    """How walls are coloured, with the extrusion widths of a part's machine, or of all."""
    return {
        "urls": {item.id: walls_address(item) for item in report.parts if item.thickness is not None},
        "low": scale.low_mm,
        "high": scale.high_mm,
        "ticks": [{"value": tick, "words": tick_words(tick, scale)} for tick in scale.ticks_mm],
        "marks": [{"value": mark.wall_mm, "words": width_words(mark)} for mark in marks_of(snapshot, part)],
    }


def scale_of(snapshot: Snapshot, report: PartsReport) -> WallScale | None:
    """One scale for all parts, so that their colours compare; None where no wall was measured."""
    widths = {machine.extrusion_width_mm for machine in _machines(snapshot, None)}
    return scale_walls(
        [item.thickness for item in report.parts if item.thickness is not None],
        [width for width in widths if width is not None],
    )


def marks_of(snapshot: Snapshot, part: str | None) -> tuple[WidthMark, ...]:
    """Multiples of the extrusion width of a part's machine; without a part, of all machines in use."""
    widths = sorted({machine.extrusion_width_mm or 0.0 for machine in _machines(snapshot, part)})
    known = [width for width in widths if width]
    marks = [mark for width in known for mark in mark_widths(width)]
    if len(known) > 1:  # of several machines the two that walls are judged by
        marks = [mark for mark in marks if mark.multiple <= 2]
    return tuple(sorted(marks, key=lambda mark: mark.wall_mm))


def _machines(snapshot: Snapshot, part: str | None) -> list[Any]:
    project = snapshot.opened.project
    used = {item.machine for item in project.parts if part in (None, item.id)}
    return [machine for machine in project.machines if machine.id in used]


def place_flag(finding: Finding, at: int, count: int) -> str:
    """The few words at a place in the view."""
    return finding.topic if count == 1 else f"{finding.topic}, place {at + 1} of {count}"


def feature_flag(measured: MeasuredFeature) -> str:
    """The few words on a dimension line."""
    words = f"{measured.id} {measured_words(measured)}"
    deviation = deviation_words(measured)
    return words if measured.deviation is None else f"{words} ({deviation})"


def place_words(point: Array) -> str:
    """Coordinates in words."""
    x, y, z = (f"{value + 0.0:.2f}" for value in point)
    return f"x {x}, y {y}, z {z} mm in the model"


def _faces(marked: Marked, shapes: Mapping[str, Any], overlays: Overlays) -> list[dict[str, str]]:
    return [
        {"part": part, "url": overlays.keep(pack_triangles(shapes[part].mesh, triangles))}
        for part, triangles in marked
        if len(triangles)
    ]


def _blank(parts: Sequence[str], state: State) -> dict[str, Any]:
    return {
        "parts": list(parts),
        "colour": COLOURS[state],
        "words": "",
        "places": [],
        "at": None,
        "faces": [],
        "line": None,
        "lead": None,
        "box": None,
        "view": None,
    }
