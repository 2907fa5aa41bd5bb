"""A report of a scan with something in every list, made by hand; every figure in it is invented."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from dryfit.app.scan_report import (
    AlignmentDifference,
    DatumFace,
    FaceLength,
    ScannedFace,
    ScannedFeature,
    ScanReport,
)
from dryfit.calc.scans import (
    NominalSurface,
    RigidMotion,
    deviate_points,
    find_worst,
    map_deviations,
    summarise,
    weigh_pose,
)
from dryfit.calc.scans.telling import Alternative, Comparison, FreeMotion
from support.scans import plain_box

STILL = RigidMotion(np.eye(3), np.zeros(3))


def full_report() -> ScanReport:
    """Ambiguous, with a free motion, datums, faces, lengths and features of each decision."""
    mesh = plain_box()
    surface = NominalSurface(mesh)
    points, normals, _ = surface.sample(6000, 3)
    seen = normals[:, 0] < 0.5
    scan = (points + 0.1 * normals[:, 2:3] * normals)[seen]
    found = deviate_points(surface, scan, STILL, 2.0)
    information = weigh_pose(surface, scan, STILL, 0.05)
    mapped = map_deviations(surface, found, information, 0.02)
    z, centre = np.array([0.0, 0.0, 1.0]), np.zeros(3)
    turned = RigidMotion(np.diag([-1.0, -1.0, 1.0]), np.zeros(3))
    half = Alternative(turned, turned, Comparison(0.0002, 0.4), z, 180.0, centre, 0.0)
    worse = replace(half, axis=np.array([1.0, 0.0, 0.0]), comparison=Comparison(0.2, 30.0))
    face = ScannedFace("a:b", "b", centre, z, 0.101, 0.021, np.eye(3)[:2], (0.01, -0.02), (0.003, 0.004), 40)
    unseen = replace(
        face,
        joint="b:c",
        other="c",
        offset_mm=None,
        std_mm=None,
        tilt_deg=None,
        tilt_std_deg=None,
        reason="no scan",
    )
    features = tuple(
        ScannedFeature(name, "distance", "mm", value, 0.03, 30.0, 30.0, 29.8, 30.2, decision, "invented", 900)
        for name, value, decision in (
            ("low", 29.5, "reject"),
            ("near", 30.19, "cannot tell"),
            ("good", 30.0, "accept"),
        )
    )
    missing = ScannedFeature(
        "gone", "diameter", "mm", None, None, 8.0, 8.0, None, None, "not decided", "no scan there"
    )
    return ScanReport(
        project="Invented",
        part="a",
        file="a.xyz",
        format="xyz",
        sha256="0" * 64,
        unit="mm",
        points=len(scan),
        left_out=(3, 2, 1),
        share=0.98,
        alignment="datums",
        motion=STILL,
        information=information,
        scatter_mm=0.05,
        scanner_std_mm=0.02,
        alternatives=(half,),
        runner_up=worse,
        free=(FreeMotion(np.array([0, 0, 1.0, 0, 0, 0]), "turn", z, centre),),
        statistics=summarise(mapped),
        worst=find_worst(mapped),
        map=mapped,
        mesh=mesh,
        features=(*features, missing),
        faces=(face, unseen),
        lengths=(FaceLength(("a:b", "a:c"), 30.0, 0.2, 0.03),),
        difference=AlignmentDifference(
            (DatumFace("top", "plane", 0.1, 0.01, 0.02, 3),),
            np.array([0.01, 0, 0]),
            np.array([0, 0, 0.1]),
            0.11,
            (("a:b", 0.1, 0.0),),
            (("width", "mm", 40.02, 40.0), ("bore", "mm", None, 8.1)),
            3,
        ),
        notes=("invented",),
        record=7,
    )
