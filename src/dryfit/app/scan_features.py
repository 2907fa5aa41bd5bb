"""The features of a part measured on a scan, against nominal and limits."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from dryfit.app.geometry import PartShape
from dryfit.app.judging import limits_of
from dryfit.app.measuring import nominal_of
from dryfit.app.measuring_kinds import Measurement, measure_kind
from dryfit.app.measuring_picks import FoundFace, find_face
from dryfit.app.scan_faces import Scanned, as_scanned, size_of
from dryfit.app.scan_report import ScannedFeature, decide
from dryfit.base.arrays import Array, IntArray
from dryfit.base.errors import ComputationRefused
from dryfit.calc.faces import FaceLost, Faces
from dryfit.calc.scans import SurfaceMap
from dryfit.model.feature import Feature
from dryfit.model.project import Project

# How many surfaces a kind lies between: each brings the scanner's own uncertainty once.
_SURFACES = {
    "distance": 2,
    "diameter": 2,
    "centres": 2,
    "extent": 2,
    "section": 2,
    "thickness": 2,
    "angle": 2,
}


def features_of(project: Project, part: str) -> tuple[Feature, ...]:
    """The features that lie on one part alone: a scan of it can carry no others."""
    return tuple(item for item in project.features if _parts_of(item) == {part})


def _parts_of(feature: Feature) -> set[str]:
    return {*feature.parts, *(pick.part for pick in feature.faces)}


def measure_on_scan(
    project: Project,
    shape: PartShape,
    faces: Faces,
    scanned: Scanned,
    found: SurfaceMap,
    scanner_std_mm: float,
    is_ambiguous: bool,
) -> tuple[ScannedFeature, ...]:
    """Every feature of the part; one that the scan does not carry says why."""
    return tuple(
        _measure(project, shape, faces, scanned, found, scanner_std_mm, is_ambiguous, feature)
        for feature in features_of(project, shape.part.id)
    )


def _measure(
    project: Project,
    shape: PartShape,
    faces: Faces,
    scanned: Scanned,
    found: SurfaceMap,
    scanner_std_mm: float,
    is_ambiguous: bool,
    feature: Feature,
) -> ScannedFeature:
    nominal: float | None = None
    lower = upper = modelled = None
    try:
        aim, _ = nominal_of(project, feature)
        nominal = None if aim is None else aim.value
        limits = limits_of(feature, nominal)
        lower, upper = limits.lower, limits.upper
        seen = _find(shape, faces, feature)
        as_modelled = measure_kind(feature, seen, {shape.part.id: shape})
        modelled = as_modelled.value
        value, std, points = _value(feature, seen, scanned, found, shape, as_modelled, scanner_std_mm)
    except ComputationRefused as error:
        return ScannedFeature(
            feature.id,
            feature.kind,
            feature.unit,
            None,
            None,
            modelled,
            nominal,
            lower,
            upper,
            "not decided",
            error.what,
        )
    decision, reason = decide(value, std, lower, upper)
    if is_ambiguous and decision in ("accept", "reject", "cannot tell"):
        decision, reason = "not decided", "the scan fits in more than one way: it may be another face"
    return ScannedFeature(
        feature.id,
        feature.kind,
        feature.unit,
        value,
        std,
        modelled,
        nominal,
        lower,
        upper,
        decision,
        reason,
        points,
    )


def _find(shape: PartShape, faces: Faces, feature: Feature) -> list[FoundFace]:
    found = [find_face(shape, faces, pick) for pick in feature.faces]
    lost = [item.reason for item in found if isinstance(item, FaceLost)]
    if lost:
        raise ComputationRefused("; ".join(lost), f'feature "{feature.id}"', "pick the face again")
    return [item for item in found if isinstance(item, FoundFace)]


def _value(
    feature: Feature,
    seen: Sequence[FoundFace],
    scanned: Scanned,
    found: SurfaceMap,
    shape: PartShape,
    modelled: Measurement,
    scanner_std_mm: float,
) -> tuple[float, float, int]:
    """Value, standard uncertainty, and how many points it rests on."""
    common = scanner_std_mm * math.sqrt(_SURFACES.get(feature.kind, 1))
    if feature.kind in ("extent", "section", "thickness"):
        return _between_ends(feature, found, modelled, common)
    shown = [as_scanned(scanned, item.seen) for item in seen]
    laid = [FoundFace(face, item.at_mm, item.triangle) for item, (face, _) in zip(seen, shown, strict=True)]
    measured = measure_kind(feature, laid, {shape.part.id: shape})
    if feature.unit == "deg":
        common = math.degrees(common / min(size_of(face.points) for face, _ in shown))
    std = measured.std
    if feature.kind == "flatness":
        # The zone rests on its two outermost cells; each is as sure as its points allow.
        std = math.sqrt(2.0) * max(_cell_std(cells.deviation_mm) for _, cells in shown)
    return measured.value, math.hypot(std, common), sum(cells.used for _, cells in shown)


def _cell_std(deviation: Array) -> float:
    """Standard uncertainty [mm] of one cell's median, from how neighbouring cells differ."""
    if len(deviation) < 3:
        return 0.0
    return float(1.4826 * np.median(np.abs(np.diff(deviation)))) / math.sqrt(2.0)


def _between_ends(
    feature: Feature, found: SurfaceMap, modelled: Measurement, common: float
) -> tuple[float, float, int]:
    """The size as modelled, longer or shorter by the deviations at its two ends."""
    anchors = modelled.anchors_mm
    if anchors is None:
        raise ComputationRefused("its ends are not known", f'feature "{feature.id}"', "measure it by hand")
    line = feature.direction if feature.direction is not None else anchors[1] - anchors[0]
    line = line / np.linalg.norm(line)
    if float((anchors[1] - anchors[0]) @ line) < 0.0:
        line = -line
    total, variance, points = modelled.value, common**2, 0
    for sign, anchor in zip((-1.0, 1.0), anchors, strict=True):
        near = _end_samples(feature, found, anchor, sign * line)
        if not len(near):
            raise ComputationRefused(
                "there is no scan at one of its ends", f'feature "{feature.id}"', "scan that end, too"
            )
        out = found.deviation_mm[near] * (found.normals[near] @ (sign * line))
        total += (
            float(np.median(out)) if feature.kind != "extent" else _farthest(found, near, anchor, sign * line)
        )
        variance += float(np.median(found.std_mm[near])) ** 2
        points += int(found.count[near].sum())
    return total, math.sqrt(variance), points


def _end_samples(feature: Feature, found: SurfaceMap, anchor: Array, outward: Array) -> IntArray:
    """Samples with a scan that lie at an end and face outward."""
    facing = found.is_seen & (found.normals @ outward > 0.5)
    if feature.kind == "extent":
        depth = (anchor - found.points) @ outward
        return np.flatnonzero(facing & (depth < found.spacing_mm))
    return np.flatnonzero(facing & (np.linalg.norm(found.points - anchor, axis=1) < 2.5 * found.spacing_mm))


def _farthest(found: SurfaceMap, near: IntArray, anchor: Array, outward: Array) -> float:
    """How much farther out than modelled the outermost samples reach: the mean of the farthest tenth."""
    moved = found.points[near] + found.deviation_mm[near, None] * found.normals[near]
    reach = np.sort((moved - anchor) @ outward)
    return float(reach[-max(3, len(reach) // 10) :].mean())
