"""Measure the features of a project on its meshes and judge them."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from fractions import Fraction

import numpy as np

from dryfit.app.geometry import Shapes
from dryfit.app.judging import AbsoluteLimits, dependents_of, judge, limits_of
from dryfit.app.measuring_kinds import Measurement, measure_kind
from dryfit.app.measuring_picks import FoundFace, find_face
from dryfit.base.arrays import IntArray
from dryfit.base.errors import ComputationRefused
from dryfit.base.estimate import Estimate
from dryfit.calc.faces import FaceLost, Faces, segment_faces
from dryfit.model.feature import Feature
from dryfit.model.finding import MeasuredFeature
from dryfit.model.project import Project

LimitsOf = Callable[[Feature, float | None], AbsoluteLimits]


def measure_features(
    project: Project,
    shapes: Shapes,
    find_limits: LimitsOf = limits_of,
    segmented: Mapping[str, Faces] | None = None,
) -> tuple[MeasuredFeature, ...]:
    """Every feature whose parts are all among the shapes, measured and judged, in the document's order.

    segmented : faces of parts by id, where they are at hand; the others are found here, once per part, and
        only for parts that a feature picks faces of
    A feature that cannot be measured is not checked, with the reason; none is left out in silence, except
    those of parts whose shape is not given.
    """
    faces = dict(segmented or {})
    wanted = [feature for feature in project.features if set(_parts_of(feature)) <= set(shapes)]
    for name in dict.fromkeys(pick.part for feature in wanted for pick in feature.faces):
        if name not in faces:
            faces[name] = segment_faces(shapes[name].mesh)
    return tuple(_measure_one(project, shapes, feature, find_limits, faces) for feature in wanted)


def nominal_of(project: Project, feature: Feature) -> tuple[Estimate | None, str]:
    """What a feature should be, and where that comes from in words.

    Raises ComputationRefused where a dimension gives it and has no size, or the project no scale.
    """
    if feature.dimension is None:
        return feature.nominal, "" if feature.nominal is None else "stated"
    dimension = project.dimension(feature.dimension)
    full = dimension.size_mm
    if full is None:
        raise ComputationRefused(
            dimension.unknown,
            f'dimension "{dimension.id}"',
            "measure it: dryfit schedule shows what would tell",
        )
    if dimension.model_mm is not None:
        size = "" if project.scale is None else f" at {_write_scale(project.scale)}"
        words = f"{dimension.id}, {full.value:.6g} mm (std {full.std:.3g}){size}, by the schedule"
        return dimension.model_mm, words
    if project.scale_from is not None:
        raise ComputationRefused(
            f"the scale follows from {project.scale_from.dimension}, which nothing measures",
            "[project].scale_from",
            f"add an [[observation]] of {project.scale_from.dimension}, or state the scale",
        )
    if project.scale is None:
        raise ComputationRefused(
            f"the nominal comes from {feature.dimension}, and the project states no scale",
            "[project].scale",
            'state it, such as scale = "1:20"',
        )
    up, down = project.scale.numerator, project.scale.denominator
    words = f"{feature.dimension}, {full.value:g} mm (std {full.std:g}) at {_write_scale(project.scale)}"
    return Estimate(full.value * up / down, full.std * up / down, full.distribution), words


def _write_scale(scale: Fraction) -> str:
    return f"{scale.numerator}:{scale.denominator}"


def _parts_of(feature: Feature) -> tuple[str, ...]:
    return (*feature.parts, *(pick.part for pick in feature.faces))


def _measure_one(
    project: Project, shapes: Shapes, feature: Feature, find_limits: LimitsOf, faces: Mapping[str, Faces]
) -> MeasuredFeature:
    blank = MeasuredFeature(
        id=feature.id,
        kind=feature.kind,
        parts=feature.parts,
        unit=feature.unit,
        state="not checked",
        reason="",
    )
    try:
        blank = _with_aim(project, feature, find_limits, blank)
        found = [find_face(shapes[pick.part], faces[pick.part], pick) for pick in feature.faces]
        lost = [item for item in found if isinstance(item, FaceLost)]
        if lost:
            reason = "; ".join(item.reason for item in lost)
            return replace(blank, reason=reason, do="pick the face again, or put the mesh right")
        seen = [item for item in found if isinstance(item, FoundFace)]
        measurement = measure_kind(feature, seen, shapes)
    except ComputationRefused as error:
        return replace(blank, reason=error.what, do=error.do)
    return _judged(project, feature, blank, seen, measurement)


def _with_aim(
    project: Project, feature: Feature, find_limits: LimitsOf, blank: MeasuredFeature
) -> MeasuredFeature:
    """The record with nominal and limits, which hold whether or not the feature can be measured."""
    nominal, nominal_from = nominal_of(project, feature)
    blank = replace(blank, nominal=nominal, nominal_from=nominal_from)
    limits = find_limits(feature, None if nominal is None else nominal.value)
    return replace(blank, lower=limits.lower, upper=limits.upper, limits_from=limits.words)


def _judged(
    project: Project,
    feature: Feature,
    blank: MeasuredFeature,
    seen: list[FoundFace],
    measurement: Measurement,
) -> MeasuredFeature:
    limits = AbsoluteLimits(blank.lower, blank.upper, blank.limits_from)
    verdict = judge(measurement.value, blank.nominal, limits, feature.unit)
    is_wrong = verdict.state in ("stop", "caution")
    return replace(
        blank,
        state=verdict.state,
        reason=verdict.reason,
        do=verdict.do,
        measured=measurement.value,
        std=measurement.std,
        notes=(*(note for item in seen for note in item.notes), *measurement.notes),
        anchors_mm=np.zeros((0, 3)) if measurement.anchors_mm is None else measurement.anchors_mm,
        triangles=_triangles_of(seen),
        dependents=dependents_of(project, feature) if is_wrong else (),
    )


def _triangles_of(seen: list[FoundFace]) -> tuple[tuple[str, IntArray], ...]:
    """Per part, the triangles of all its measured faces."""
    by_part: dict[str, list[IntArray]] = {}
    for item in seen:
        by_part.setdefault(item.seen.part, []).append(item.seen.triangles)
    return tuple((part, np.unique(np.concatenate(rows))) for part, rows in by_part.items())
