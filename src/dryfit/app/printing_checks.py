"""Whether one part can be printed on its own machine in its own bed pose."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence

from dryfit.app.geometry import PartShape
from dryfit.app.printing_checks_bed import check_faces_on_bed, check_footprint, check_overhangs
from dryfit.app.printing_checks_faces import mating_faces
from dryfit.app.printing_checks_holes import check_holes
from dryfit.app.printing_checks_room import check_room
from dryfit.app.printing_checks_walls import check_walls
from dryfit.base.errors import ComputationRefused
from dryfit.calc.thickness import DEFAULT_SAMPLES, ThicknessMap, thickness_map
from dryfit.model.finding import Finding, MeasuredFeature
from dryfit.model.joint import FaceContacts
from dryfit.model.part import Part
from dryfit.model.project import Project

Progress = Callable[[int, int], None]


def measure_walls(
    shape: PartShape, samples: int = DEFAULT_SAMPLES, seed: int = 1, progress: Progress | None = None
) -> ThicknessMap | str:
    """The thickness of a part all over, or in words why it cannot be measured."""
    try:
        return thickness_map(shape.mesh, samples, seed, progress)
    except ComputationRefused as error:
        return error.what


def check_printing(
    project: Project,
    part: Part,
    shape: PartShape,
    faces: Mapping[str, FaceContacts],
    thickness: ThicknessMap | str,
    measured: Sequence[MeasuredFeature] = (),
    slender: float | None = None,
) -> tuple[Finding, ...]:
    """What speaks for and against printing a part as it lies.

    faces     contact faces by joint id; those of joints of other parts are left aside
    thickness as measure_walls gives it
    measured  measured features of the project; the diameters among them are looked at for holes
    slender   the slenderness of the part, where it is at hand
    """
    machine = project.machine(part.machine)
    mine = mating_faces(project, part, faces)
    return (
        *check_room(machine, part, shape),
        *check_walls(machine, part, thickness),
        *check_footprint(machine, part, shape, slender),
        *check_faces_on_bed(machine, part, shape, mine, measured),
        *check_overhangs(machine, part, shape, mine),
        *check_holes(machine, part, shape, measured),
    )
