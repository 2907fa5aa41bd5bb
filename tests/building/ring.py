"""A flat ring of equal segments that closes on itself."""

from __future__ import annotations

from fractions import Fraction
from typing import Literal, get_args

import numpy as np

from building.meshes import ring_segment_mesh
from building.project import Assembled, material, square_face
from dryfit.base.arrays import Array
from dryfit.base.estimate import Estimate
from dryfit.model.characteristic import Characteristic
from dryfit.model.joint import Joint, Role
from dryfit.model.machine import Machine
from dryfit.model.part import Bed, Part
from dryfit.model.project import Assembly, Project

Pose = Literal["same", "assembled", "alternate"]
Layout = Literal["radial", "tall"]
POSES: tuple[Pose, ...] = get_args(Pose)
LAYOUTS: tuple[Layout, ...] = get_args(Layout)
INNER_MM, OUTER_MM, HEIGHT_MM, MEAN_MM = 560.0, 600.0, 40.0, 580.0


def ring(
    count: int,
    printer: Machine,
    pose: Pose = "same",
    layout: Layout = "radial",
    first_deg: float = 0.0,
    turn_deg: float = 0.0,
    play_mm: float = 0.0,
    closing: Role | None = None,
) -> Assembled:
    """count segments of a ring, the first face at first_deg, all turned on the bed by turn_deg more.

    pose : each segment lies as the first one; as assembled; or as the first, every second turned by 90
    layout : pin and slot side by side along the radius, or one above the other
    closing : role of the joint between the last and the first segment; None: by rule, it closes
    """
    sweep = 360.0 / count
    ids = [f"r{k + 1}" for k in range(count)]
    parts = tuple(
        Part(name, "x", printer.id, "p", bed=Bed((0.0, 0.0, turn_deg + _bed_turn(pose, sweep, k))))
        for k, name in enumerate(ids)
    )
    meshes = {
        name: ring_segment_mesh(INNER_MM, OUTER_MM, HEIGHT_MM, first_deg + k * sweep, sweep)
        for k, name in enumerate(ids)
    }
    play = Estimate(0.0, play_mm)
    joints = tuple(
        Joint(
            f"j{k + 1}",
            (ids[k], ids[(k + 1) % count]),
            "pin-and-slot",
            _locators(layout, first_deg + (k + 1) * sweep),
            faces=square_face(*_face(first_deg + (k + 1) * sweep), 1600.0),
            contact_play_mm=play,
            locator_play_mm=play,
            role=closing if k == count - 1 else None,
        )
        for k in range(count)
    )
    out, _ = _radial(first_deg)
    last = f"j{count}"
    characteristics = (
        Characteristic("gap", "gap", joint=last, lower=-0.1, upper=0.4),
        Characteristic("step", "step", joint=last, direction=out, lower=-0.1, upper=0.4),
        Characteristic("climb", "step", joint=last, direction=np.array([0.0, 0.0, 1.0]), upper=0.4),
    )
    project = Project(
        "ring",
        Fraction(1, 20),
        machines=(printer,),
        materials=(material(),),
        parts=parts,
        joints=joints,
        characteristics=characteristics,
        assembly=Assembly("r1", tuple(ids)),
    )
    return Assembled(project, meshes)


def _bed_turn(pose: Pose, sweep: float, k: int) -> float:
    if pose == "assembled":
        return 0.0
    return -sweep * k + (90.0 * (k % 2) if pose == "alternate" else 0.0)


def _radial(angle_deg: float) -> tuple[Array, Array]:
    """Outward radius and the tangent, counter-clockwise."""
    angle = np.radians(angle_deg)
    return np.array([np.cos(angle), np.sin(angle), 0.0]), np.array([-np.sin(angle), np.cos(angle), 0.0])


def _face(angle_deg: float) -> tuple[Array, Array]:
    out, along = _radial(angle_deg)
    half = 0.5 * HEIGHT_MM
    points = [out * radius + [0.0, 0.0, z] for radius in (INNER_MM, OUTER_MM) for z in (-half, half)]
    return np.array(points), along


def _locators(layout: Layout, angle_deg: float) -> Array:
    out, _ = _radial(angle_deg)
    if layout == "radial":
        return np.array([out * (MEAN_MM - 10.0), out * (MEAN_MM + 10.0)])
    return np.array([out * MEAN_MM + [0.0, 0.0, z] for z in (-10.0, 10.0)])
