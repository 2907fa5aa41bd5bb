"""Blocks standing on one another, the lowest on the ground."""

from __future__ import annotations

from fractions import Fraction

import numpy as np

from building.meshes import box_mesh
from building.project import Assembled, face_of_box, material
from dryfit.base.estimate import Estimate
from dryfit.model.characteristic import Characteristic
from dryfit.model.joint import GROUND, Joint, Locators
from dryfit.model.machine import Machine
from dryfit.model.material import Material
from dryfit.model.part import Bed, Part
from dryfit.model.project import Assembly, Project

AT_REFERENCE = Estimate(20.0)


def tower(
    printer: Machine,
    characteristics: tuple[Characteristic, ...],
    heights_mm: tuple[float, ...] = (100.0, 200.0),
    side_mm: float = 80.0,
    locators: Locators = "pin-and-slot",
    plastic: Material | None = None,
    beds_deg: tuple[tuple[float, float, float], ...] = ((0.0, 0.0, 0.0),),
    temp_c: Estimate = AT_REFERENCE,
    bond_line_mm: Estimate | None = None,
) -> Assembled:
    """Blocks b1, b2 ... of one footprint, its corner at the origin. Joints g:b1, b1:b2 ...

    The pin of each joint stands at a quarter of the footprint's x side, the slot at three quarters.
    """
    stuff = plastic or material()
    levels = np.concatenate([[0.0], np.cumsum(heights_mm)])
    ids = [f"b{k + 1}" for k in range(len(heights_mm))]
    parts = tuple(
        Part(name, "x", printer.id, stuff.id, bed=Bed(beds_deg[k % len(beds_deg)]))
        for k, name in enumerate(ids)
    )
    meshes = {
        name: box_mesh((0.0, 0.0, low), (side_mm, side_mm, high))
        for name, low, high in zip(ids, levels[:-1], levels[1:], strict=True)
    }
    joints = []
    for below, above, z in zip([GROUND, *ids[:-1]], ids, levels[:-1], strict=True):
        middle = np.array([0.5 * side_mm, 0.5 * side_mm, z])
        quarter = np.array([0.25 * side_mm, 0.0, 0.0])
        joints.append(
            Joint(
                f"{below}:{above}",
                (below, above),
                locators,
                np.array([middle - quarter, middle + quarter]),
                bond_line_mm=bond_line_mm,
                faces=face_of_box(middle, 2, (side_mm, side_mm)),
                contact_play_mm=Estimate(0.0),
                locator_play_mm=None if locators == "none" else Estimate(0.0),
            )
        )
    project = Project(
        "tower",
        Fraction(1, 20),
        machines=(printer,),
        materials=(stuff,),
        parts=parts,
        joints=tuple(joints),
        characteristics=characteristics,
        assembly=Assembly(GROUND, tuple(ids), temp_c),
    )
    return Assembled(project, meshes)
