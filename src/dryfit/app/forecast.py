"""Will it go together? The forecast of every characteristic of the assembly."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from dryfit import __version__
from dryfit.app.causes import Independent, gather_causes, sum_independent
from dryfit.app.geometry import Shapes
from dryfit.app.motion import Motion, build_motion, printed_gains, printed_points
from dryfit.app.notes import heat_notes, machine_notes
from dryfit.app.outcomes import Run, forecast_characteristics
from dryfit.app.structure import Structure, build_structure
from dryfit.base.arrays import Array
from dryfit.base.errors import ComputationRefused
from dryfit.calc.chain.montecarlo import DEFAULT_SAMPLES
from dryfit.calc.characteristics import Gauge
from dryfit.calc.placing import NotSettled, Poses, describe_motions, place_exactly
from dryfit.model.contacts import ON_GROUND
from dryfit.model.forecast import ForecastReport, PartForecast
from dryfit.model.project import Project

Progress = Callable[[int, int], None]


@dataclass(frozen=True, slots=True, eq=False)
class Chain:
    """A project made ready to be forecast: each stage is re-used as long as what it depends on stays.

    shapes, structure, independent  change with meshes, joints, order and characteristics
    motion                          changes with bed poses too
    The project itself carries the figures, which change most often.
    """

    project: Project
    shapes: Shapes
    structure: Structure
    independent: Independent
    motion: Motion


@dataclass(frozen=True, slots=True)
class Provenance:
    """Where a forecast comes from: hash of its inputs, hashes of its meshes, notes on what was read."""

    input_hash: str = ""
    mesh_hashes: tuple[tuple[str, str], ...] = ()
    notes: tuple[str, ...] = ()
    what_if: tuple[str, ...] = ()


def build_chain(project: Project, shapes: Shapes) -> Chain:
    """Contacts, placing and derivatives of a project."""
    structure = build_structure(project, shapes)
    return chain_from_structure(project, shapes, structure)


def chain_from_structure(project: Project, shapes: Shapes, structure: Structure) -> Chain:
    """The same, with the structure at hand."""
    motion = build_motion(project, shapes, structure)
    return Chain(project, shapes, structure, sum_independent(project, structure), motion)


def with_figures(chain: Chain, project: Project) -> Chain:
    """The chain of a project that differs from the chain's own in figures and their uncertainty only.

    The caller sees to that: bed poses, joints, parts and characteristics must be the same.
    """
    return Chain(project, chain.shapes, chain.structure, chain.independent, chain.motion)


def with_poses(chain: Chain, project: Project) -> Chain:
    """The chain of a project that differs in bed poses, machines of parts and figures only."""
    motion = build_motion(project, chain.shapes, chain.structure)
    return Chain(project, chain.shapes, chain.structure, chain.independent, motion)


def designed_gaps(structure: Structure) -> Array:
    """(n,) separation that each row seeks: the modelled one, or the bond line where it is stated."""
    table = structure.table
    gap = table.nominal_separation.copy()
    for index, rows in enumerate(structure.joint_rows):
        bond = rows.joint.bond_line_mm
        if bond is not None:
            faces = (table.joint == index) & table.is_face
            gap[faces] += bond.value - gap[faces].mean()
    return gap


def place_chain(chain: Chain) -> Poses:
    """Exact placement of the parts as they are expected to print.

    Raises ComputationRefused where a part does not settle on its contacts.
    """
    structure, motion = chain.structure, chain.motion
    table = structure.table
    gains = printed_gains(chain.project, motion)
    try:
        return place_exactly(
            table,
            structure.placing,
            structure.centroids,
            printed_points(chain.project, structure, gains, motion.first, table.p_first),
            printed_points(chain.project, structure, gains, motion.second, table.p_second),
            designed_gaps(structure),
        )
    except NotSettled as error:
        raise ComputationRefused(
            "a part does not settle on its contacts",
            f'part "{chain.project.parts[error.part].id}"',
            "check the error figures of its machine and the contact points of its joints",
        ) from error


def read_gauge(gauge: Gauge, poses: Poses) -> float:
    """Exact value of a characteristic in the placed assembly."""
    turn = np.eye(3) if gauge.carrier == ON_GROUND else poses.rotation[gauge.carrier]
    return gauge.evaluate(poses.x_first[gauge.rows], poses.x_second[gauge.rows], turn)


def run_forecast(
    chain: Chain,
    provenance: Provenance | None = None,
    samples: int = DEFAULT_SAMPLES,
    seed: int = 1,
    progress: Progress | None = None,
    most_causes: int | None = None,
) -> ForecastReport:
    """Forecast every characteristic of a project.

    samples, seed : of the Monte Carlo that is run where a source is not normal
    most_causes : keep the largest contributions only, for a quick answer; None keeps them all
    Raises ComputationRefused where the parts do not settle on their contacts.
    """
    given = provenance or Provenance()
    causes = gather_causes(chain.project, chain.structure, chain.motion, chain.independent)
    poses = place_chain(chain)
    structure, project = chain.structure, chain.project
    exact = [read_gauge(gauge, poses) for gauge in structure.gauges]
    run = Run(project, structure, causes, poses, samples, seed, most_causes, progress)
    return ForecastReport(
        project=project.name,
        risk=project.risk,
        characteristics=forecast_characteristics(run, exact),
        placing=_placing(chain, poses),
        assumptions=(*given.notes, *structure.notes, *machine_notes(project), *heat_notes(project)),
        datum="ground" if structure.datum < 0 else project.parts[structure.datum].id,
        order=tuple(project.parts[part].id for part in _order(structure)),
        closing=tuple(
            rows.joint.id
            for rows, locates in zip(structure.joint_rows, structure.sequence.is_locating, strict=True)
            if not locates
        ),
        what_if=given.what_if,
        program_version=__version__,
        input_hash=given.input_hash,
        mesh_hashes=given.mesh_hashes,
    )


def _order(structure: Structure) -> tuple[int, ...]:
    datum = () if structure.datum < 0 else (structure.datum,)
    return (*datum, *structure.sequence.order)


def _placing(chain: Chain, poses: Poses) -> tuple[PartForecast, ...]:
    structure, project = chain.structure, chain.project
    steps = {step.part: step for step in structure.placing.steps}
    forecasts = []
    for part in _order(structure):
        step = steps.get(part)
        free: tuple[str, ...] = ()
        joints: tuple[str, ...] = ()
        if step is not None:
            free = describe_motions(step.free, structure.centroids[part], step.size_mm)
            indices = dict.fromkeys(int(joint) for joint in structure.table.joint[step.rows])
            joints = tuple(structure.joint_rows[joint].joint.id for joint in indices)
        turn = float(np.degrees(np.arccos(np.clip((np.trace(poses.rotation[part]) - 1.0) / 2.0, -1.0, 1.0))))
        x, y, z = (float(value) for value in poses.translation[part])
        forecasts.append(
            PartForecast(
                project.parts[part].id, free, float(poses.residual_rms_mm[part]), (x, y, z), turn, joints
            )
        )
    return tuple(forecasts)
