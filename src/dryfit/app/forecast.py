"""Will it go together? The forecast of every characteristic of the assembly."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from dryfit import __version__
from dryfit.app.as_built import AsBuiltParts
from dryfit.app.causes import Causes, Independent, gather_causes, sum_independent
from dryfit.app.gaps import ChainState, Settled, settle_gaps
from dryfit.app.geometry import Shapes, lowest_on_bed, to_machine
from dryfit.app.handwork import WorkedRows, hand_words, worked_points, worked_rows
from dryfit.app.learning import Known, learn
from dryfit.app.learning_report import describe_basis, reading_notes
from dryfit.app.motion import Motion, build_motion, printed_gains, printed_points
from dryfit.app.notes import heat_notes, machine_notes
from dryfit.app.outcomes import Run, forecast_characteristics
from dryfit.app.shims import Shim, shim_gaps, with_shims
from dryfit.app.structure import Structure, build_structure, with_joints
from dryfit.base.arrays import Array
from dryfit.base.errors import ComputationRefused
from dryfit.calc.chain.montecarlo import DEFAULT_SAMPLES
from dryfit.calc.characteristics import Gauge
from dryfit.calc.placing import NotSettled, Poses, describe_motions, place_exactly
from dryfit.model.contacts import ON_GROUND
from dryfit.model.forecast import CharacteristicForecast, ForecastReport, PartForecast
from dryfit.model.project import Project

Progress = Callable[[int, int], None]


@dataclass(frozen=True, slots=True, eq=False)
class Chain:
    """A project made ready to be forecast: each stage is re-used as long as what it depends on stays.

    shapes, structure, independent  change with meshes, joints, order and characteristics
    motion                          changes with bed poses too
    as_built                        what was printed and read; None: nothing is taken into account
    shims                           that lie in joints, or what was sanded off
    The project itself carries the figures, which change most often.
    """

    project: Project
    shapes: Shapes
    structure: Structure
    independent: Independent
    motion: Motion
    as_built: AsBuiltParts | None = None
    shims: tuple[Shim, ...] = ()


@dataclass(frozen=True, slots=True)
class Provenance:
    """Where a forecast comes from: hash of its inputs, hashes of its meshes, notes on what was read."""

    input_hash: str = ""
    mesh_hashes: tuple[tuple[str, str], ...] = ()
    notes: tuple[str, ...] = ()
    what_if: tuple[str, ...] = ()


def build_chain(project: Project, shapes: Shapes, as_built: AsBuiltParts | None = None) -> Chain:
    """Contacts, placing and derivatives of a project.

    as_built : prints and readings that the forecast is to rest on
    """
    structure = build_structure(project, shapes)
    return chain_from_structure(project, shapes, structure, as_built)


def chain_from_structure(
    project: Project, shapes: Shapes, structure: Structure, as_built: AsBuiltParts | None = None
) -> Chain:
    """The same, with the structure at hand."""
    motion = build_motion(project, shapes, structure)
    return Chain(project, shapes, structure, sum_independent(project, structure), motion, as_built)


def with_figures(chain: Chain, project: Project) -> Chain:
    """The chain of a project that differs from the chain's own in figures and their uncertainty only.

    The caller sees to that: bed poses, joints, parts and characteristics must be the same.
    """
    return replace(chain, project=project)


def with_poses(chain: Chain, project: Project) -> Chain:
    """The chain of a project that differs in bed poses, machines of parts and figures only."""
    # Looking for a part's lowest point goes over its whole mesh: only where the part is turned.
    turns, floors = chain.motion.to_machine.copy(), chain.motion.floors.copy()
    for index, (part, before) in enumerate(zip(project.parts, chain.project.parts, strict=True)):
        if part.bed != before.bed:
            turns[index], floors[index] = to_machine(part), lowest_on_bed(part, chain.shapes[part.id])
    motion = build_motion(project, chain.shapes, chain.structure, (turns, floors))
    return replace(chain, project=project, motion=motion)


def with_bond_lines(chain: Chain, project: Project) -> Chain:
    """The chain of a project that differs in bond lines and figures only.

    A bond line moves what the placing seeks; contacts, order and derivatives stay.
    """
    structure = with_joints(chain.structure, chain.project, project)
    return replace(chain, project=project, structure=structure)


def without_handwork(chain: Chain) -> Chain:
    """The chain as it was before anything was sanded, shimmed or bonded."""
    if chain.as_built is None:
        return chain
    return replace(chain, as_built=replace(chain.as_built, works=(), gaps=()))


def hand_notes(chain: Chain) -> tuple[str, ...]:
    """What was sanded, shimmed and measured at bonds, in words."""
    if chain.as_built is None:
        return ()
    return hand_words(chain.structure, worked_of(chain), chain.as_built.works, chain.as_built.gaps)


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


def learn_chain(chain: Chain) -> Known | None:
    """What the readings of a chain's printed parts say; None where there are none."""
    if chain.as_built is None:
        return None
    return learn(
        chain.project, chain.shapes, chain.structure, chain.motion, chain.independent, chain.as_built
    )


def causes_of(chain: Chain, known: Known | None = None) -> Causes:
    """What acts on the lines of a chain: after its readings, where known says what they taught."""
    causes = (
        gather_causes(chain.project, chain.structure, chain.motion, chain.independent)
        if known is None
        else known.causes
    )
    return with_shims(causes, chain.structure, chain.shims)


def place_chain(chain: Chain, known: Known | None = None) -> Poses:
    """Exact placement of the parts as they are expected to print.

    known : what readings say of them, as learn_chain has it; None: as the project has it, whatever was read
    Raises ComputationRefused where a part does not settle on its contacts.
    """
    structure, motion = chain.structure, chain.motion
    table = structure.table
    gaps = designed_gaps(structure) + shim_gaps(structure, chain.shims)
    project = chain.project if known is None else known.project
    gains = printed_gains(project, motion)
    first = printed_points(project, structure, gains, motion.first, table.p_first)
    second = printed_points(project, structure, gains, motion.second, table.p_second)
    if known is not None:
        first = first + known.on_first[:, None] * table.direction
        second = second + known.on_second[:, None] * table.direction
    first, second = worked_points(structure, worked_of(chain), first, second)
    try:
        return place_exactly(table, structure.placing, structure.centroids, first, second, gaps)
    except NotSettled as error:
        raise ComputationRefused(
            "a part does not settle on its contacts",
            f'part "{chain.project.parts[error.part].id}"',
            "check the error figures of its machine and the contact points of its joints",
        ) from error


def worked_of(chain: Chain) -> WorkedRows:
    """What was sanded off faces, or shimmed."""
    works = () if chain.as_built is None else chain.as_built.works
    return worked_rows(chain.project, chain.structure, works)


def chain_state(chain: Chain) -> ChainState:
    """The stages of a chain one by one."""
    return ChainState(
        chain.project,
        chain.shapes,
        chain.structure,
        chain.motion,
        chain.independent,
        chain.as_built,
        chain.shims,
    )


def settle_chain(chain: Chain, known: Known | None, poses: Poses) -> Settled:
    """What is expected of the lines, handwork and gaps measured at bonded joints counted with."""
    state = chain_state(chain)
    gaps = () if chain.as_built is None else chain.as_built.gaps
    return settle_gaps(state, causes_of(chain, known), worked_of(chain), poses, gaps)


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
    with_prior: bool = True,
) -> ForecastReport:
    """Forecast every characteristic of a project, by the readings of its printed parts where the chain has any.

    samples, seed : of the Monte Carlo that is run where a source is not normal
    most_causes : keep the largest contributions only, for a quick answer; None keeps them all
    with_prior : whether the report says besides what was known before any part was read, and which readings are
        suspect; False for a quick answer
    Raises ComputationRefused where the parts do not settle on their contacts.
    """
    given = provenance or Provenance()
    known = learn_chain(chain)
    structure, project = chain.structure, chain.project
    poses = place_chain(chain, known)

    def outcomes(chain: Chain, poses: Poses, known: Known | None) -> tuple[CharacteristicForecast, ...]:
        settled = settle_chain(chain, known, poses)
        off = [settled.correction[structure.results == index] for index in range(len(structure.gauges))]
        exact = [
            read_gauge(gauge, poses) + (0.0 if gauge.is_range else float(lines[0]))
            for gauge, lines in zip(structure.gauges, off, strict=True)
        ]
        run = Run(
            project,
            settled.structure,
            settled.causes,
            poses,
            samples,
            seed,
            most_causes,
            progress,
            settled.correction,
        )
        return forecast_characteristics(run, exact)

    prior: tuple[CharacteristicForecast, ...] = ()
    basis = None
    if with_prior and chain.as_built is not None:
        basis = describe_basis(project, chain.as_built, known)
        bare = without_handwork(chain)
        is_moved = bool(chain.as_built.works or chain.as_built.gaps)
        prior = outcomes(bare, place_chain(bare), None) if known is not None or is_moved else ()
    return ForecastReport(
        project=project.name,
        risk=project.risk,
        characteristics=outcomes(chain, poses, known),
        placing=_placing(chain, poses),
        assumptions=(
            *given.notes,
            *structure.notes,
            *machine_notes(project),
            *heat_notes(project),
            *(() if known is None else reading_notes(known)),
            *hand_notes(chain),
        ),
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
        prior=prior,
        basis=basis,
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
