"""The sources of a project and what they do to each result, to first order.

Shared sources (machine figures, shrinkage, temperature, bond lines) have a column each. Independent ones
(the scatter of each printed point, the play of each contact) are many and small: they are summed in
closed form under the name of their part or joint. Play that is not normal keeps a column per contact, so
that Monte Carlo can draw it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from dryfit.app.motion import Motion, Side
from dryfit.app.structure import Structure
from dryfit.base.arrays import Array, IntArray
from dryfit.base.estimate import Estimate
from dryfit.calc.chain import Sources, independent_columns
from dryfit.model.machine import FIGURES
from dryfit.model.project import REFERENCE_TEMP_C, Project


@dataclass(frozen=True, slots=True, eq=False)
class Causes:
    """What acts on the q lines of the structure.

    sources   n sources with a column each; several columns may share a name
    matrix    (q, n) derivatives of the lines
    groups    names of the summed sources
    spread    (q, g) variance of each line by each group
    reach     (q, g) worst-case reach of each line by each group
    left      what is left of the sources that readings tell of, where there are any; None: nothing was read
    """

    sources: Sources
    matrix: Array
    groups: tuple[str, ...]
    spread: Array
    reach: Array
    left: Left | None = None


@dataclass(frozen=True, slots=True, eq=False)
class Left:
    """The summed sources after readings, line by line, for results that hang on several lines together.

    row_variance  (n,) [mm2] of each row of the table by the scatter and play that no reading touches
    lines         (k,) which lines the next is of: those of ranges
    errors        (k, p) what is left of scatter that was read and of the readings' own, as independent unit sources
    """

    row_variance: Array
    lines: IntArray
    errors: Array


@dataclass(frozen=True, slots=True, eq=False)
class Independent:
    """Squares and sizes of the sensitivities, summed by part and by joint; no figure changes them.

    part_square, part_size    (q, parts) for one millimetre of scatter per point
    joint_square, joint_size  (q, joints) for the stated play of each contact
    """

    part_square: Array
    part_size: Array
    joint_square: Array
    joint_size: Array


def sum_independent(project: Project, structure: Structure) -> Independent:
    """Sums that scatter and play need, once per structure."""
    table, sensitivity = structure.table, structure.sensitivity
    size = np.abs(sensitivity)
    square = sensitivity**2
    parts, joints = len(project.parts), len(structure.joint_rows)
    plays = [_play(structure, row, int(joint)) for row, joint in enumerate(table.joint)]
    summed = table.is_locating & np.array([play.distribution == "normal" for play in plays], dtype=bool)
    play = np.where(summed, np.array([play.std for play in plays]), 0.0)
    width = np.where(summed, np.array([play.half_width for play in plays]), 0.0)
    return Independent(
        part_square=_sum_by(square, table.first, parts) + _sum_by(square, table.second, parts),
        part_size=_sum_by(size, table.first, parts) + _sum_by(size, table.second, parts),
        joint_square=_sum_by(square * play**2, table.joint, joints),
        joint_size=_sum_by(size * width, table.joint, joints),
    )


def _play(structure: Structure, row: int, joint: int) -> Estimate:
    if joint < 0:
        return Estimate(0.0)
    rows = structure.joint_rows[joint]
    return rows.contact_play if structure.table.is_face[row] else rows.locator_play


def _sum_by(values: Array, key: IntArray, count: int) -> Array:
    """Sums (q, count) of the columns of values (q, n) with equal key; keys below 0 are left out."""
    from scipy.sparse import csr_matrix

    mine = np.nonzero(key >= 0)[0]
    incidence = csr_matrix((np.ones(len(mine)), (mine, key[mine])), shape=(len(key), count))
    summed: Array = np.asarray((incidence.T @ values.T).T)
    return summed


def part_columns(structure: Structure, side: Side, sign: float, part: int) -> Array:
    """(q, COLUMNS) share of one part's side in the derivatives of the lines."""
    mine = side.part == part
    share: Array = sign * (structure.sensitivity[:, mine] @ side.derivatives[mine])
    return share


def gather_causes(project: Project, structure: Structure, motion: Motion, independent: Independent) -> Causes:
    """Every source of the project, its columns and its summed groups."""
    named, columns = shared_sources(project, structure, motion)
    named, columns = _spread_correlated(project, named, columns)
    add_made_up(motion, named, columns)
    matrix = np.array(columns).T.reshape(len(structure.sensitivity), len(named))
    keep = [
        index
        for index, (_, estimate) in enumerate(named)
        if (estimate.std > 0 or estimate.value != 0) and matrix[:, index].any()
    ]
    groups, spread, reach = summed_groups(project, structure, independent)
    return Causes(Sources.of([named[index] for index in keep]), matrix[:, keep], groups, spread, reach)


def shared_sources(
    project: Project, structure: Structure, motion: Motion
) -> tuple[list[tuple[str, Estimate]], list[Array]]:
    """Sources with a column (q,) each, as the project states them: what readings tie together is not told apart.

    First the figures of every machine in the order of FIGURES, then materials and temperature, bond lines, and
    play that is not normal.
    """
    named: list[tuple[str, Estimate]] = []
    columns: list[Array] = []
    for index, machine in enumerate(project.machines):
        for offset, name in enumerate(FIGURES):
            named.append((f"{machine.id}.{name}", machine.error.figures[name]))
            columns.append(motion.by_figure[:, index * len(FIGURES) + offset])
    _add_materials(project, motion.by_strain, named, columns)
    _add_bond_lines(structure, named, columns)
    _add_shaped_play(structure, named, columns)
    return named, columns


def add_made_up(motion: Motion, named: list[tuple[str, Estimate]], columns: list[Array]) -> None:
    """What corrected copies make up for: a certain shift the other way, under the name of its source."""
    for name, shift in motion.made_up.items():
        named.append((name, Estimate(-1.0)))
        columns.append(shift)


def _spread_correlated(
    project: Project, named: list[tuple[str, Estimate]], columns: list[Array]
) -> tuple[list[tuple[str, Estimate]], list[Array]]:
    """The same sources, those that were estimated together as independent ones under their own names.

    Each keeps its column, which moves the mean; its spread goes into another of the same name.
    """
    names, correlation = correlated_figures(project)
    if not names:
        return named, columns
    place = {name: index for index, (name, _) in enumerate(named)}
    mine = [place[name] for name in names]
    std = np.array([named[index][1].std for index in mine])
    spread = independent_columns(np.array([columns[index] for index in mine]).T, std, correlation)
    still = [
        (name, Estimate(item.value) if index in mine else item) for index, (name, item) in enumerate(named)
    ]
    return still + [(name, Estimate(0.0, 1.0)) for name in names], columns + list(spread.T)


def correlated_figures(project: Project) -> tuple[tuple[str, ...], Array]:
    """Names of the n sources that readings tie together, and their correlation (n, n).

    They are the figures of machines that readings estimated, and the shrinkage of the material of each test
    artefact: from a body alone nobody can tell a small scale from a large shrinkage. Machines that
    were measured by bodies of one material are tied by its shrinkage alone.
    """
    machines = [machine for machine in project.machines if machine.error.estimated is not None]
    materials = list(dict.fromkeys(m.error.estimated.material for m in machines if m.error.estimated))
    known = {material.id: material for material in project.materials}
    shared = [id for id in materials if id in known and known[id].shrinkage.distribution == "normal"]
    names = [f"{machine.id}.{name}" for machine in machines for name in FIGURES]
    ties = np.zeros((len(names), len(shared)))
    correlation = np.eye(len(names))
    for index, machine in enumerate(machines):
        estimated = machine.error.estimated
        block = slice(index * len(FIGURES), (index + 1) * len(FIGURES))
        if estimated is not None:
            correlation[block, block] = estimated.correlation
            if estimated.material in shared:
                ties[block, shared.index(estimated.material)] = estimated.with_shrinkage
    for one in range(len(machines)):
        for other in range(len(machines)):
            if one != other:
                rows = slice(one * len(FIGURES), (one + 1) * len(FIGURES))
                across = slice(other * len(FIGURES), (other + 1) * len(FIGURES))
                correlation[rows, across] = ties[rows] @ ties[across].T
    whole = np.block([[correlation, ties], [ties.T, np.eye(len(shared))]])
    return (*names, *(f"{id}.shrinkage" for id in shared)), whole


def _add_materials(
    project: Project, strain: Array, named: list[tuple[str, Estimate]], columns: list[Array]
) -> None:
    temp = project.assembly.temp_c
    departure = temp.value - REFERENCE_TEMP_C
    warming = np.zeros(len(strain))
    for index, material in enumerate(project.materials):
        named.append((f"{material.id}.shrinkage", material.shrinkage))
        columns.append(-strain[:, index])
        warming = warming + strain[:, index] * material.expansion_per_k.value
        if departure != 0.0:
            spread = Estimate(0.0, material.expansion_per_k.std, material.expansion_per_k.distribution)
            named.append((f"{material.id}.expansion_per_k", spread))
            columns.append(strain[:, index] * departure)
    named.append(("assembly.temp_c", Estimate(departure, temp.std, temp.distribution)))
    columns.append(warming)


def _add_bond_lines(structure: Structure, named: list[tuple[str, Estimate]], columns: list[Array]) -> None:
    table = structure.table
    modelled = table.nominal_separation
    for index, (rows, locates) in enumerate(
        zip(structure.joint_rows, structure.sequence.is_locating, strict=True)
    ):
        bond = rows.joint.bond_line_mm
        if bond is None or not locates:
            continue
        faces = np.nonzero((table.joint == index) & table.is_face)[0]
        departure = Estimate(bond.value - float(modelled[faces].mean()), bond.std, bond.distribution)
        named.append((f"{rows.joint.id}.bond_line_mm", departure))
        columns.append(-structure.sensitivity[:, faces].sum(axis=1))


def _add_shaped_play(structure: Structure, named: list[tuple[str, Estimate]], columns: list[Array]) -> None:
    table = structure.table
    for row in np.nonzero(table.is_locating)[0]:
        joint = int(table.joint[row])
        play = _play(structure, int(row), joint)
        if play.distribution != "normal":
            named.append(
                (f"{structure.joint_rows[joint].joint.id}.play", Estimate(0.0, play.std, play.distribution))
            )
            columns.append(-structure.sensitivity[:, row])


def summed_groups(
    project: Project, structure: Structure, independent: Independent
) -> tuple[tuple[str, ...], Array, Array]:
    names: list[str] = []
    spread, reach = [], []
    repeatability: Mapping[str, float] = {m.id: m.error.repeatability_mm for m in project.machines}
    for index, part in enumerate(project.parts):
        std = repeatability[part.machine]
        names.append(f"{part.id}.scatter")
        spread.append(independent.part_square[:, index] * std**2)
        reach.append(independent.part_size[:, index] * Estimate(0.0, std).half_width)
    for index, rows in enumerate(structure.joint_rows):
        if not structure.sequence.is_locating[index]:
            continue
        if "normal" in (rows.contact_play.distribution, rows.locator_play.distribution):
            names.append(f"{rows.joint.id}.play")
            spread.append(independent.joint_square[:, index])
            reach.append(independent.joint_size[:, index])
    shape = (len(names), len(structure.sensitivity))
    return tuple(names), np.array(spread).reshape(shape).T, np.array(reach).reshape(shape).T
