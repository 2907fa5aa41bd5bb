"""A grid of boxes in memory whose neighbours are joined, as large as a benchmark wants it."""

from __future__ import annotations

from fractions import Fraction

import numpy as np

from dryfit.app.geometry import PartShape, shape_in_assembly
from dryfit.base.estimate import Estimate
from dryfit.model.characteristic import Characteristic
from dryfit.model.joint import FaceContacts, Joint
from dryfit.model.machine import FIGURES, ErrorModel, Machine
from dryfit.model.material import Material
from dryfit.model.mesh import TriangleMesh
from dryfit.model.part import Bed, Part
from dryfit.model.project import Assembly, Project

SIDE_MM = 100.0
_QUADS = ((0, 2, 3, 1), (4, 5, 7, 6), (0, 1, 5, 4), (2, 6, 7, 3), (0, 4, 6, 2), (1, 3, 7, 5))


def box(low: np.ndarray, size_mm: float) -> TriangleMesh:
    corners = np.array([[low[a] + size_mm * ((k >> a) & 1) for a in range(3)] for k in range(8)])
    return TriangleMesh(corners, np.array([t for a, b, c, d in _QUADS for t in ((a, b, c), (a, c, d))]))


def grid_project(
    counts: tuple[int, int, int], most_joints: int, characteristics: int
) -> tuple[Project, dict[str, PartShape]]:
    """Boxes side by side, two machines, four bed poses; every pair of neighbours has a joint with locators.

    Neighbours along an edge or over the plan's diagonal are joined by stated contacts as well, until there
    are most_joints. A gap is asked for wherever a part has a joint already.
    """
    cells = [tuple(int(i) for i in cell) for cell in np.ndindex(*counts)]
    parts = tuple(
        Part(
            _name(c),
            "x",
            machine="mn"[sum(c[:2]) % 2],
            material="p",
            bed=Bed((0.0, 0.0, 90.0 * (sum(c) % 4))),
        )
        for c in cells
    )
    shapes = {
        part.id: shape_in_assembly(part, box(SIDE_MM * np.array(cell), SIDE_MM))
        for part, cell in zip(parts, cells, strict=True)
    }
    steps = ((0, 0, 1), (0, 1, 0), (1, 0, 0), (1, 1, 0), (1, -1, 0), (1, 0, 1), (0, 1, 1), (1, 1, 1))
    joints = [
        _joint(cell, step)
        for step in steps
        for cell in cells
        if all(0 <= c + s < n for c, s, n in zip(cell, step, counts, strict=True))
    ][:most_joints]
    order = {part.id: index for index, part in enumerate(parts)}
    joints.sort(key=lambda joint: order[joint.parts[1]])
    held: set[str] = set()
    asked = []
    for joint in joints:
        if joint.parts[1] in held:
            asked.append(Characteristic(f"g-{joint.id}", "gap", joint=joint.id, lower=-0.3, upper=0.3))
        held.add(joint.parts[1])
    figures = {name: Estimate(0.001 if "scale" in name else 0.1, 0.0005) for name in FIGURES}
    figures |= {"boundary_offset_mm": Estimate(0.05, 0.02), "first_layer_flare_mm": Estimate(0.0)}
    machines = tuple(
        Machine(name, (1e3, 1e3, 1e3), ErrorModel(figures, 0.05, 0.0, "stated")) for name in "mn"
    )
    material = Material("p", "PLA", Estimate(0.002, 0.0005), Estimate(7e-5, 8e-6))
    project = Project(
        "grid",
        Fraction(1),
        machines=machines,
        materials=(material,),
        parts=parts,
        joints=tuple(joints),
        characteristics=tuple(asked[:characteristics]),
        assembly=Assembly(parts[0].id),
    )
    return project, shapes


def _name(cell: tuple[int, ...]) -> str:
    return "p" + "-".join(str(index) for index in cell)


def _joint(cell: tuple[int, ...], step: tuple[int, int, int]) -> Joint:
    """A square of contacts half as wide as the boxes, across the line between their middles."""
    first, second = _name(cell), _name(tuple(c + s for c, s in zip(cell, step, strict=True)))
    normal = np.array(step, dtype=np.float64) / np.linalg.norm(step)
    middle = SIDE_MM * (np.array(cell) + 0.5 + 0.5 * np.array(step))
    one = np.cross(normal, np.eye(3)[int(np.abs(normal).argmin())])
    one /= np.linalg.norm(one)
    two = np.cross(normal, one)
    square = np.array(
        [middle + 0.25 * SIDE_MM * (s * one + t * two) for s, t in ((-1, -1), (1, -1), (1, 1), (-1, 1))]
    )
    play = Estimate(0.0, 0.05)
    return Joint(
        f"{first}:{second}",
        (first, second),
        "pin-and-slot",
        np.array([middle - 0.1 * SIDE_MM * one, middle + 0.1 * SIDE_MM * one]),
        contact_play_mm=play,
        locator_play_mm=play,
        faces=FaceContacts(square, square, np.tile(normal, (4, 1)), 2500.0),
    )
