"""How the sources move the rows of the contact table: the part of the chain that bed poses change."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

import numpy as np

from dryfit.app.geometry import Shapes, lowest_on_bed, to_machine
from dryfit.app.structure import Structure
from dryfit.base.arrays import Array, IntArray
from dryfit.calc.errormodel import machine_gain, outward_motion, part_gain, row_derivatives
from dryfit.model.contacts import ON_GROUND
from dryfit.model.machine import AFFINE_FIGURES, FIGURES, Machine
from dryfit.model.part import Part
from dryfit.model.project import REFERENCE_TEMP_C, Project

# Columns of a side's derivatives: the figures of the part's machine, then its isotropic strain.
STRAIN = len(FIGURES)
COLUMNS = STRAIN + 1


@dataclass(frozen=True, slots=True, eq=False)
class Side:
    """One side of every row: which part it belongs to and how the sources of that part move it.

    part         (n,)
    arm          (n, 3) [mm] point less the part's centroid, assembly axes
    offset, flare (n, 3) unit outward motion, assembly axes
    derivatives  (n, COLUMNS) of direction . printed point, by the machine figures and the strain
    inset        (n, 3) [mm] how far inside the model a corrected copy was made to lie there, before its
                 deformation was made up for; None where no part has a copy
    """

    part: IntArray
    arm: Array
    offset: Array
    flare: Array
    derivatives: Array
    inset: Array | None = None


@dataclass(frozen=True, slots=True, eq=False)
class Motion:
    """How the sources of machines and materials move the rows and, through them, the lines.

    to_machine  (parts, 3, 3) rotation from assembly to machine axes
    floors      (parts,) [mm] height of each part's lowest point, machine axes
    by_figure   (q, machines * figures) derivatives of the lines by the figures of each machine
    by_strain   (q, materials) derivatives of the lines by the strain of each material
    made_up     shift of the lines (q,) that corrected copies make up for, by the name of the source that
                causes it, as "tall.skew_xz_deg"; empty where no part has a copy
    """

    first: Side
    second: Side
    to_machine: Array
    floors: Array
    by_figure: Array
    by_strain: Array
    made_up: Mapping[str, Array] = field(default_factory=dict)


def build_motion(
    project: Project, shapes: Shapes, structure: Structure, stands: tuple[Array, Array] | None = None
) -> Motion:
    """Derivatives of every row by the figures of the machines that print its two parts.

    stands : to_machine and floors as in Motion, where they are known already
    """
    if stands is None:
        turns = np.array([to_machine(part) for part in project.parts]).reshape(-1, 3, 3)
        stands = turns, np.array([lowest_on_bed(part, shapes[part.id]) for part in project.parts])
    rotations, floors = stands
    layers = {machine.id: machine.error.first_layer_height_mm for machine in project.machines}
    heights = np.array([layers[part.machine] for part in project.parts])
    table = structure.table
    sides = []
    for part, points, normals in (
        (table.first, table.p_first, table.n_first),
        (table.second, table.p_second, table.n_second),
    ):
        sides.append(
            _side(part, points, normals, table.direction, structure.centroids, rotations, floors, heights)
        )
    by_figure, by_strain = _shared_columns(project, structure, sides[0], sides[1])
    made_up: Mapping[str, Array] = {}
    if any(part.compensation for part in project.parts):
        copies = _copies(project, shapes, rotations, floors)
        sides, made_up = _make_up(project, structure, sides, copies)
    return Motion(sides[0], sides[1], rotations, floors, by_figure, by_strain, made_up)


@dataclass(frozen=True, slots=True, eq=False)
class _Copies:
    """The poses in which corrected copies were made, and what they make up for.

    rotations, floors  as in Motion; a part without a copy has its own
    layers    (parts,) [mm] height within which the flare was taken off
    figures   (parts, COLUMNS) machine figures and strain that were made up for; 0 without a copy
    """

    rotations: Array
    floors: Array
    layers: Array
    figures: Array


def _copies(project: Project, shapes: Shapes, rotations: Array, floors: Array) -> _Copies:
    turns, heights = rotations.copy(), floors.copy()
    layers, figures = np.zeros(len(floors)), np.zeros((len(floors), COLUMNS))
    for index, part in enumerate(project.parts):
        made = part.compensation
        if made is None:
            continue
        figures[index] = [*made.figures, -made.shrinkage]
        layers[index] = made.first_layer_height_mm
        if made.bed != part.bed:
            posed = replace(part, bed=made.bed)
            turns[index], heights[index] = to_machine(posed), lowest_on_bed(posed, shapes[part.id])
    return _Copies(turns, heights, layers, figures)


def _make_up(
    project: Project, structure: Structure, sides: list[Side], copies: _Copies
) -> tuple[list[Side], Mapping[str, Array]]:
    """The sides with what was taken off their surfaces, and the shift of the lines made up for."""
    table = structure.table
    made_up: dict[str, Array] = {}
    changed = []
    for side, sign, points, normals in (
        (sides[0], -1.0, table.p_first, table.n_first),
        (sides[1], 1.0, table.p_second, table.n_second),
    ):
        copy = _side(
            side.part,
            points,
            normals,
            table.direction,
            structure.centroids,
            copies.rotations,
            copies.floors,
            copies.layers,
        )
        mine = np.where(side.part == ON_GROUND, 0, side.part)
        taken = np.where((side.part == ON_GROUND)[:, None], 0.0, copies.figures[mine])
        changed.append(replace(side, inset=taken[:, 6:7] * copy.offset + taken[:, 7:8] * copy.flare))
        _add_made_up(made_up, project, structure.sensitivity, side.part, sign * copy.derivatives * taken)
    return changed, made_up


def _add_made_up(
    made_up: dict[str, Array], project: Project, lines: Array, part: IntArray, shares: Array
) -> None:
    """Sums of the shares (n, COLUMNS) by source, through the sensitivities of the lines (q, n)."""
    for index, owner in enumerate(project.parts):
        rows = part == index
        if owner.compensation is None or not rows.any():
            continue
        shift = lines[:, rows] @ shares[rows]
        names = [f"{owner.machine}.{name}" for name in FIGURES] + [f"{owner.material}.shrinkage"]
        for column, name in enumerate(names):
            if shift[:, column].any():
                made_up[name] = made_up.get(name, np.zeros(len(lines))) + shift[:, column]


def _shared_columns(project: Project, structure: Structure, first: Side, second: Side) -> tuple[Array, Array]:
    machine_of, material_of = _memberships(project)
    rows = len(structure.table)
    by_figure = np.zeros((rows, len(project.machines), len(FIGURES)))
    by_strain = np.zeros((rows, len(project.materials)))
    for side, sign in ((first, -1.0), (second, 1.0)):
        moves = np.nonzero(side.part != ON_GROUND)[0]
        part = side.part[moves]
        by_figure[moves, machine_of[part]] += sign * side.derivatives[moves, :STRAIN]
        by_strain[moves, material_of[part]] += sign * side.derivatives[moves, STRAIN]
    lines = structure.sensitivity
    columns = len(project.machines) * len(FIGURES)  # stated, since without rows it could not be inferred
    return lines @ by_figure.reshape(rows, columns), lines @ by_strain


def _memberships(project: Project) -> tuple[IntArray, IntArray]:
    machines = {machine.id: index for index, machine in enumerate(project.machines)}
    materials = {material.id: index for index, material in enumerate(project.materials)}
    return (
        np.array([machines[part.machine] for part in project.parts], dtype=np.int64),
        np.array([materials[part.material] for part in project.parts], dtype=np.int64),
    )


def _side(
    part: IntArray,
    points: Array,
    normals: Array,
    direction: Array,
    centroids: Array,
    rotations: Array,
    floors: Array,
    heights: Array,
) -> Side:
    rows = len(part)
    arm, offset, flare = np.zeros((rows, 3)), np.zeros((rows, 3)), np.zeros((rows, 3))
    derivatives = np.zeros((rows, COLUMNS))
    mine = np.nonzero(part != ON_GROUND)[0]
    owner = part[mine]
    turn = rotations[owner]
    arm[mine] = points[mine] - centroids[owner]
    height = np.einsum("nj,nj->n", points[mine], turn[:, 2]) - floors[owner]
    outward = outward_motion(normals[mine], turn, height, heights[owner])
    offset[mine], flare[mine] = outward.offset, outward.flare
    derivatives[mine, : len(AFFINE_FIGURES)] = row_derivatives(
        np.einsum("nij,nj->ni", turn, direction[mine]), np.einsum("nij,nj->ni", turn, arm[mine])
    )
    derivatives[:, len(AFFINE_FIGURES)] = np.einsum("ij,ij->i", direction, offset)
    derivatives[:, len(AFFINE_FIGURES) + 1] = np.einsum("ij,ij->i", direction, flare)
    derivatives[:, STRAIN] = np.einsum("ij,ij->i", direction, arm)
    return Side(part, arm, offset, flare, derivatives)


def printed_points(project: Project, structure: Structure, gains: Array, side: Side, nominal: Array) -> Array:
    """Exact printed positions (n, 3) of one side's points before placing.

    gains : (parts, 3, 3) of printed_gains
    """
    printed = nominal.copy()
    outline = outline_figures(project)
    moves = side.part != ON_GROUND
    part = side.part[moves]
    commanded = side.arm[moves] if side.inset is None else side.arm[moves] - side.inset[moves]
    arm = np.einsum("nij,nj->ni", gains[part], commanded)
    grown = outline[part, :1] * side.offset[moves] + outline[part, 1:] * side.flare[moves]
    printed[moves] = structure.centroids[part] + arm + grown
    return printed


def printed_gains(project: Project, motion: Motion) -> Array:
    """G (parts, 3, 3) of every part at the expected figures of its machine and material.

    Where a corrected copy is printed, what it makes up for is in it: with the figures unchanged, G is the identity.
    """
    machine_gains = {machine.id: machine_gain(affine_values(machine)) for machine in project.machines}
    departure = project.assembly.temp_c.value - REFERENCE_TEMP_C
    strains = {item.id: (item.shrinkage.value, item.expansion_per_k.value) for item in project.materials}
    own = [strains[part.material] for part in project.parts]
    gains = part_gain(
        np.array([machine_gains[part.machine] for part in project.parts]).reshape(-1, 3, 3),
        motion.to_machine,
        np.array([shrinkage for shrinkage, _ in own]),
        np.array([expansion * departure for _, expansion in own]),
    )
    for index, part in enumerate(project.parts):
        if part.compensation is not None:
            gains[index] = gains[index] @ made_up_gain(part)
    return gains


def made_up_gain(part: Part) -> Array:
    """(3, 3) from the model of a part to its corrected copy, assembly axes, in the pose in which it was made."""
    made = part.compensation
    if made is None:
        return np.eye(3)
    turn = made.bed.rotation @ part.placement.rotation.T
    gain = machine_gain(np.array(made.figures[: len(AFFINE_FIGURES)]))
    return np.asarray(np.linalg.inv(part_gain(gain, turn, made.shrinkage)), dtype=np.float64)


def affine_values(machine: Machine) -> Array:
    """(6,) expected affine figures of a machine: scales [-], skews [deg]."""
    return np.array([machine.error.figures[name].value for name in AFFINE_FIGURES])


def outline_figures(project: Project) -> Array:
    """(parts, 2) expected boundary offset and first-layer flare of each part's machine [mm]."""
    by_machine = {
        machine.id: [machine.error.figures[name].value for name in FIGURES[6:]]
        for machine in project.machines
    }
    return np.array([by_machine[part.machine] for part in project.parts]).reshape(-1, 2)
