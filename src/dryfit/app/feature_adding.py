"""Add a feature to the document: its faces looked up on the meshes, measured, and then written."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

from dryfit.app.feature_request import FeatureRefused, FeatureRequest, Triple
from dryfit.app.feature_words import describe_feature
from dryfit.app.loading import Opened, open_project
from dryfit.app.measuring import measure_features
from dryfit.app.measuring_picks import describe_pick
from dryfit.base.errors import ComputationRefused, DocumentRefused, Fault, ReferenceUnknown
from dryfit.model.feature import ANGLE_FEATURES, FEATURE_KINDS, Feature, Pick
from dryfit.model.finding import MeasuredFeature
from dryfit.store.document import parse_document
from dryfit.store.edit import DocumentEditor
from dryfit.store.words import suggest

Progress = Callable[[int, int], None]
PLANE_KINDS = ("extent", "section")  # measured on whole parts, without faces


@dataclass(frozen=True, slots=True, eq=False)
class FeatureAdded:
    """A feature that was measured and, where written says so, put into the document.

    words     what is measured, what it should be and within which limits
    diff      the change to the document
    """

    project: str
    document: Path
    feature: Feature
    words: str
    measured: MeasuredFeature
    diff: str
    written: bool


def add_feature(
    path: Path, request: FeatureRequest, write: bool = True, progress: Progress | None = None
) -> FeatureAdded:
    """Measure a feature as asked for and, with write, append it to the document.

    The document keeps everything else as it is, comments included.
    Raises ReferenceUnknown for a kind, part or dimension that is not there, FeatureRefused where the request
    does not say enough, ComputationRefused where no face is at a point or it cannot be measured,
    DocumentRefused where the row would not be valid; nothing is written then.
    """
    _check_kind(request.kind)
    editor = DocumentEditor(path)
    opened = open_project(path, progress)
    row = make_row(request, opened)
    editor.add_feature(**row)
    try:
        project = parse_document(editor.text, editor.path.name).project
    except DocumentRefused as refusal:
        faults = [Fault(_drop_line(fault.where), fault.what, fault.do) for fault in refusal.faults]
        raise DocumentRefused("the feature as it would be written", faults) from refusal
    feature = project.features[-1]
    (measured,) = measure_features(replace(project, features=(feature,)), opened.shapes)
    if measured.measured is None:
        raise ComputationRefused(
            measured.reason, f'feature "{feature.id}"', measured.do or "pick other faces"
        )
    diff = editor.diff()
    if write:
        editor.save()
    return FeatureAdded(
        project=project.name,
        document=editor.path,
        feature=feature,
        words=describe_feature(feature),
        measured=measured,
        diff=diff,
        written=write,
    )


def make_row(request: FeatureRequest, opened: Opened) -> dict[str, Any]:
    """The keys of the [[feature]] that a request asks for; typed points become full picks."""
    known = [part.id for part in opened.project.parts]
    for part in request.parts:
        if part not in known:
            raise ReferenceUnknown(f'there is no part "{part}"', "--part", suggest(part, known, "parts"))
    unit = "deg" if request.kind in ANGLE_FEATURES else "mm"
    row: dict[str, Any] = {"id": request.id or _make_id(request, opened), "kind": request.kind}
    row |= dict(_place_of_whole(request) if request.kind in PLANE_KINDS else _place_of_faces(request, opened))
    row |= {f"nominal_{unit}": request.nominal, f"nominal_std_{unit}": request.std}
    row |= {"dimension": request.dimension, **_limit_keys(request, unit)}
    row |= {"iso_286": request.iso_286, "iso_2768": request.iso_2768}
    return {key: value for key, value in row.items() if value is not None}


def make_pick_row(pick: Pick) -> dict[str, Any]:
    """A pick as the document writes it."""
    return {
        "part": pick.part,
        "point_mm": pick.point_mm,
        "normal": pick.normal,
        "form": pick.form,
        "size_mm": pick.size_mm,
        "direction": pick.direction,
    }


def _check_kind(kind: str) -> None:
    if kind not in FEATURE_KINDS:
        do = suggest(kind, FEATURE_KINDS, "kinds")
        raise ReferenceUnknown(f'there is no kind of feature "{kind}"', "KIND", do)


def _place_of_whole(request: FeatureRequest) -> Iterator[tuple[str, Any]]:
    """Keys of an extent or a section."""
    kind = request.kind
    if not request.parts:
        raise FeatureRefused(f"the {kind} of which part is meant is not said", "--part", "add --part ID")
    if request.along is None:
        what = f"the direction of the {kind} is not said"
        raise FeatureRefused(what, "--along", "add --along X,Y,Z, such as 0,0,1")
    if request.toward or request.start is not None:
        option = "--toward" if request.toward else "--from"
        raise FeatureRefused(f"{option} does not belong to the kind {kind}", option, "use --along")
    yield ("part", request.parts[0]) if len(request.parts) == 1 else ("parts", list(request.parts))
    yield "at_mm", _only_point(request)
    yield "normal", request.across
    yield "direction", request.along


def _only_point(request: FeatureRequest) -> Triple | None:
    if request.kind == "section" and len(request.at) != 1:
        what = f"{len(request.at)} points are given for the cutting plane"
        raise FeatureRefused(
            what, "--at", "give one point with --at X,Y,Z and the normal with --across X,Y,Z"
        )
    return request.at[0] if request.at else None


def _place_of_faces(request: FeatureRequest, opened: Opened) -> Iterator[tuple[str, Any]]:
    """Keys of a feature that is measured on faces."""
    count = len(request.at) + len(request.toward)
    if not count:
        do = "add --at X,Y,Z, a point on the face, or --toward X,Y,Z, the way it looks"
        raise FeatureRefused(f"the {request.kind} of which face is meant is not said", "--at", do)
    if len(request.parts) not in (1, count):
        what = f"{len(request.parts)} parts are given for {count} face{'' if count == 1 else 's'}"
        raise FeatureRefused(what, "--part", "give --part once for all faces, or once for each")
    parts = request.parts * count if len(request.parts) == 1 else request.parts
    points = zip(parts, request.at, strict=False)
    picks = [_describe(opened, part, point) for part, point in points]
    looks = zip(parts[len(request.at) :], request.toward, strict=True)
    picks += [{"part": part, "direction": list(direction)} for part, direction in looks]
    yield "faces", picks
    yield "at_mm", request.start
    yield "normal", request.across
    yield "direction", request.along


def _describe(opened: Opened, part: str, point: Triple) -> dict[str, Any]:
    """The pick of the face at a typed point, with all that is needed to know it again."""
    return make_pick_row(describe_pick(opened.shapes[part], np.array(point)).pick)


def _limit_keys(request: FeatureRequest, unit: str) -> Mapping[str, Any]:
    keys: dict[str, Any] = {}
    if request.limits is not None:
        lower, upper = request.limits
        both = lower is not None and upper is not None
        keys = (
            {f"limits_{unit}": [lower, upper]} if both else {f"lower_{unit}": lower, f"upper_{unit}": upper}
        )
    if request.deviations is not None:
        if None in request.deviations:
            what = "a deviation is given on one side only"
            raise FeatureRefused(what, "--deviations", "write both, LO,HI; or one limit with --limits")
        keys[f"deviations_{unit}"] = list(request.deviations)
    return keys


def _make_id(request: FeatureRequest, opened: Opened) -> str:
    """Such as crown.diameter, or crown.diameter-2 where that is taken."""
    taken = {feature.id for feature in opened.project.features}
    name = f"{request.parts[0] if request.parts else 'feature'}.{request.kind}"
    number, id = 1, name
    while id in taken:
        number += 1
        id = f"{name}-{number}"
    return id


def _drop_line(where: str) -> str:
    """Where a fault is, without the line of a text that nobody has seen."""
    return where.partition(" (line")[0]
