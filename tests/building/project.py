"""Records with short names, and the forecast of an assembly built in memory."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from scipy.spatial.transform import Rotation

from building.meshes import moved
from dryfit.app.forecast import Chain, build_chain, run_forecast
from dryfit.app.geometry import PartShape, shape_in_assembly
from dryfit.base.arrays import Array
from dryfit.base.estimate import Estimate
from dryfit.model.characteristic import Characteristic
from dryfit.model.forecast import CharacteristicForecast, ForecastReport
from dryfit.model.joint import FaceContacts, Joint
from dryfit.model.machine import FIGURES, ErrorModel, Machine
from dryfit.model.material import Material
from dryfit.model.mesh import TriangleMesh
from dryfit.model.part import Bed
from dryfit.model.project import Project

NOTHING = Estimate(0.0)


@dataclass(frozen=True, slots=True, eq=False)
class Assembled:
    """A project and the meshes of its parts, in their own design frames."""

    project: Project
    meshes: Mapping[str, TriangleMesh]

    @property
    def shapes(self) -> dict[str, PartShape]:
        return {part.id: shape_in_assembly(part, self.meshes[part.id]) for part in self.project.parts}

    @property
    def chain(self) -> Chain:
        return build_chain(self.project, self.shapes)

    def replaced(self, **fields: object) -> Assembled:
        """The same assembly with other fields of the project."""
        return Assembled(dataclasses.replace(self.project, **fields), self.meshes)  # type: ignore[arg-type]


def forecast(assembled: Assembled) -> ForecastReport:
    return run_forecast(assembled.chain)


def by_id(report: ForecastReport) -> dict[str, CharacteristicForecast]:
    return {item.id: item for item in report.characteristics}


def predicted(report: ForecastReport) -> dict[str, float]:
    """Central value of each characteristic by id."""
    return {item.id: item.predicted for item in report.characteristics}


def standard_uncertainty(report: ForecastReport) -> dict[str, float]:
    """Standard uncertainty of each characteristic by id."""
    return {item.id: item.std for item in report.characteristics}


def machine(
    id: str = "m",
    repeatability_mm: float = 0.0,
    first_layer_height_mm: float = 0.0,
    **figures: float | Estimate,
) -> Machine:
    """A machine whose unnamed figures are exactly 0; a bare number is an exact figure."""
    full = dict.fromkeys(FIGURES, Estimate(0.0))
    for name, value in figures.items():
        full[name] = value if isinstance(value, Estimate) else Estimate(value)
    model = ErrorModel(full, repeatability_mm, first_layer_height_mm, "stated")
    return Machine(id, (1000.0, 1000.0, 1000.0), model)


def exact_machine(id: str = "m") -> Machine:
    """A machine that prints what it is told."""
    return machine(id)


def material(id: str = "p", shrinkage: Estimate = NOTHING, expansion_per_k: Estimate = NOTHING) -> Material:
    return Material(id, "PLA", shrinkage, expansion_per_k)


def square_face(points: Array, normal: Array, area_mm2: float = 0.0) -> FaceContacts:
    """Contacts of a plane face whose two sides touch."""
    points = np.asarray(points, dtype=np.float64)
    return FaceContacts(points, points, np.tile(normal, (len(points), 1)), area_mm2)


def face_of_box(
    centre: Array, normal_axis: int, sides_mm: tuple[float, float], sign: float = 1.0
) -> FaceContacts:
    """Four corners of a rectangle square to an assembly axis; sides along the two following axes."""
    one, two = np.eye(3)[(normal_axis + 1) % 3], np.eye(3)[(normal_axis + 2) % 3]
    corners = np.array(
        [
            np.asarray(centre) + 0.5 * (s * sides_mm[0] * one + t * sides_mm[1] * two)
            for s, t in ((-1, -1), (1, -1), (1, 1), (-1, 1))
        ]
    )
    return square_face(corners, sign * np.eye(3)[normal_axis], sides_mm[0] * sides_mm[1])


def rigidly_moved(assembled: Assembled, rotation: Array, shift_mm: Array) -> Assembled:
    """Everything turned and shifted together, each part lying on its bed as before."""
    project = assembled.project
    meshes = {name: moved(mesh, rotation, shift_mm) for name, mesh in assembled.meshes.items()}
    beds = {
        part.id: tuple(Rotation.from_matrix(part.bed.rotation @ rotation.T).as_euler("xyz", degrees=True))
        for part in project.parts
    }
    return Assembled(
        dataclasses.replace(
            project,
            parts=tuple(dataclasses.replace(part, bed=Bed(beds[part.id])) for part in project.parts),
            joints=tuple(_moved_joint(joint, rotation, shift_mm) for joint in project.joints),
            characteristics=tuple(
                _moved_characteristic(item, rotation, shift_mm) for item in project.characteristics
            ),
        ),
        meshes,
    )


def _moved_joint(joint: Joint, rotation: Array, shift_mm: Array) -> Joint:
    faces, locators = joint.faces, joint.locator_points_mm
    if faces is not None:
        faces = FaceContacts(
            faces.points_on_first @ rotation.T + shift_mm,
            faces.points_on_second @ rotation.T + shift_mm,
            faces.normals @ rotation.T,
            faces.area_mm2,
        )
    if locators is not None:
        locators = locators @ rotation.T + shift_mm
    return dataclasses.replace(joint, faces=faces, locator_points_mm=locators)


def _moved_characteristic(item: Characteristic, rotation: Array, shift_mm: Array) -> Characteristic:
    return dataclasses.replace(
        item,
        points_mm=None if item.points_mm is None else item.points_mm @ rotation.T + shift_mm,
        direction=None if item.direction is None else item.direction @ rotation.T,
        axes=None if item.axes is None else item.axes @ rotation.T,
    )
