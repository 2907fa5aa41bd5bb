"""Alignment of a scan by datums that the user names, and how it differs from the best fit."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from dryfit.app.geometry import PartShape
from dryfit.app.measuring_forms import SeenFace
from dryfit.app.measuring_picks import find_face
from dryfit.app.scan_faces import Scanned, as_scanned, size_of
from dryfit.app.scan_report import DatumFace
from dryfit.base.arrays import Array
from dryfit.base.errors import ComputationRefused, ReferenceUnknown
from dryfit.calc.elements import CylinderFit, PlaneFit, SphereFit
from dryfit.calc.faces import FaceLost, Faces
from dryfit.calc.scans import DatumAlignment, DatumElement, align_by_datums
from dryfit.model.project import Project


@dataclass(frozen=True, slots=True, eq=False)
class ByDatums:
    """The alignment, what each datum is, and how far the best fit leaves it off."""

    alignment: DatumAlignment
    faces: tuple[DatumFace, ...]


def align_datums(
    project: Project,
    shape: PartShape,
    faces: Faces,
    scanned: Scanned,
    names: Sequence[str],
    middle: Array,
    length_mm: float,
    scanner_std_mm: float,
) -> ByDatums:
    """Lay a scan, already laid by best fit, on named features of the part, in the order of their names.

    Raises ReferenceUnknown for a name that is no feature with a face on the part, ComputationRefused where the
    scan shows too little of one or its form is no datum.
    """
    elements = [_element(project, shape, faces, scanned, name, scanner_std_mm) for name in names]
    alignment = align_by_datums(elements, middle, length_mm)
    told = []
    for name, element, held in zip(names, elements, alignment.held, strict=True):
        turn = math.degrees(
            math.atan2(
                float(np.linalg.norm(np.cross(element.found_direction, element.direction))),
                abs(float(element.found_direction @ element.direction)),
            )
        )
        away = element.found_point_mm - element.point_mm
        along = float(away @ element.direction)
        offset = along
        if element.form == "cylinder":
            offset = float(np.linalg.norm(away - along * element.direction))
        elif element.form == "sphere":
            offset, turn = float(np.linalg.norm(away)), 0.0
        told.append(DatumFace(name, element.form, offset, turn, element.point_std_mm, held))
    return ByDatums(alignment, tuple(told))


def _element(
    project: Project, shape: PartShape, faces: Faces, scanned: Scanned, name: str, scanner_std_mm: float
) -> DatumElement:
    feature = next((item for item in project.features if item.id == name), None)
    picks = [] if feature is None else [pick for pick in feature.faces if pick.part == shape.part.id]
    if not picks:
        have = [item.id for item in project.features if any(p.part == shape.part.id for p in item.faces)]
        listed = ", ".join(have[:8]) if have else "none: add one with dryfit feature add"
        what = f"{name} is no feature with a face on {shape.part.id}"
        raise ReferenceUnknown(what, "--datum", f"name features with faces on it: {listed}")
    found = find_face(shape, faces, picks[0])
    if isinstance(found, FaceLost):
        raise ComputationRefused(found.reason, f'feature "{name}"', "pick the face again")
    modelled = found.seen
    shown, _ = as_scanned(scanned, modelled)
    return _datum(name, modelled, shown, scanner_std_mm)


def _datum(name: str, modelled: SeenFace, shown: SeenFace, scanner_std_mm: float) -> DatumElement:
    one, two, size = modelled.fit, shown.fit, size_of(modelled.points)
    if isinstance(one, PlaneFit) and isinstance(two, PlaneFit):
        return DatumElement(
            "plane",
            modelled.centroid_mm,
            modelled.normal,
            # The same spot of the plane: where its own middle stands over the modelled one.
            shown.centroid_mm,
            shown.normal,
            size,
            math.hypot(two.std.position_mm, scanner_std_mm),
            math.hypot(math.radians(two.std.tilt_deg), scanner_std_mm / size),
        )
    if isinstance(one, CylinderFit) and isinstance(two, CylinderFit):
        axis = two.axis if two.axis @ one.axis > 0 else -two.axis
        at = two.point_mm + float((one.point_mm - two.point_mm) @ axis) * axis
        return DatumElement(
            "cylinder",
            one.point_mm,
            one.axis,
            at,
            axis,
            max(one.length_mm, one.radius_mm),
            math.hypot(two.std.position_mm, scanner_std_mm),
            math.hypot(math.radians(two.std.axis_deg), scanner_std_mm / max(one.length_mm, 1e-9)),
        )
    if isinstance(one, SphereFit) and isinstance(two, SphereFit):
        z = np.array([0.0, 0.0, 1.0])
        std = math.hypot(two.std.position_mm, scanner_std_mm)
        return DatumElement("sphere", one.centre_mm, z, two.centre_mm, z, size, std, 0.0)
    raise ComputationRefused(
        f"the face of {name} is a {modelled.form or 'free form'}; datums are planes, cylinders and spheres",
        "--datum",
        "name another feature",
    )
