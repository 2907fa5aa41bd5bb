"""What placing and the error model need to know of each part's shape."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from dryfit.base.arrays import Array
from dryfit.calc.mesh import MeshMeasures, measure_mesh
from dryfit.model.joint import GROUND
from dryfit.model.mesh import TriangleMesh
from dryfit.model.part import Part
from dryfit.model.project import Project


@dataclass(frozen=True, slots=True, eq=False)
class PartShape:
    """A part's mesh in the assembly.

    part      as it was when the mesh was read: its bed pose may have been varied since
    mesh      in assembly coordinates [mm]
    measures  of that mesh
    """

    part: Part
    mesh: TriangleMesh
    measures: MeshMeasures

    @property
    def size_mm(self) -> float:
        """A typical length: half the diagonal of its box."""
        return 0.5 * float(np.linalg.norm(self.measures.bounds[1] - self.measures.bounds[0]))


Shapes = Mapping[str, PartShape]


def shape_in_assembly(part: Part, mesh: TriangleMesh) -> PartShape:
    """The part's mesh brought from its own design frame into the assembly."""
    placement = part.placement
    vertices = mesh.vertices
    if not (np.array_equal(placement.rotation, np.eye(3)) and not placement.translation_mm.any()):
        vertices = vertices @ placement.rotation.T + placement.translation_mm
    placed = TriangleMesh(vertices, mesh.faces, mesh.name, mesh.sha256, mesh.notes)
    return PartShape(part, placed, measure_mesh(placed))


def to_machine(part: Part) -> Array:
    """Rotation (3, 3) from assembly axes to machine axes in the part's bed pose."""
    rotation: Array = part.bed.rotation @ part.placement.rotation.T
    return rotation


def lowest_on_bed(part: Part, shape: PartShape) -> float:
    """Height in machine axes of the part's lowest point, which rests on the bed."""
    return float((shape.mesh.vertices @ to_machine(part)[2]).min())


def part_numbers(project: Project) -> dict[str, int]:
    """Index of each part by id; the ground is -1."""
    numbers = {part.id: index for index, part in enumerate(project.parts)}
    numbers[GROUND] = -1
    return numbers
