"""What the document leaves open and what is taken for it, in plain words for every report.

What the forecast itself decides (datum, order, roles, bond lines as modelled, unqualified machines) is
listed by the forecast, which knows the outcome.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from dryfit.model.machine import FIGURES
from dryfit.model.project import DEFAULT_RISK, REFERENCE_TEMP_C
from dryfit.store.row import Row
from dryfit.store.rows_machine import ErrorRow, MachineRow, MaterialRow
from dryfit.store.tables import Tables
from dryfit.store.words import join_words


def list_assumptions(tables: Tables) -> tuple[str, ...]:
    """One sentence for each thing that was taken rather than stated, in the order of the document."""
    lines: list[str] = []
    if tables.project is not None and "risk" not in tables.project.model_fields_set:
        lines.append(f"project: risk not stated, taken as {DEFAULT_RISK:g}")
    lines.extend(_list_search(tables))
    for material in tables.materials:
        lines.extend(f'material "{material.id}": {line}' for line in _list_material(material))
    for machine in tables.machines:
        lines.extend(f'machine "{machine.id}": {line}' for line in _list_machine(machine))
    for instrument in tables.instruments:
        lines.extend(f'instrument "{instrument.id}": {line}' for line in instrument.assumed())
    lines.extend(_list_parts_and_joints(tables))
    upward = [row.id for row in tables.characteristics if row.kind == "height" and row.direction is None]
    lines.extend(_gather("characteristic", upward, "direction not stated, taken as upward, [0, 0, 1]"))
    lines.extend(_list_nominals(tables))
    lines.extend(_list_assembly(tables))
    return tuple(lines)


def _list_search(tables: Tables) -> Iterator[str]:
    if all(joint.faces is not None for joint in tables.joints):
        return
    for key in ("max_gap_mm", "max_angle_deg", "min_area_mm2"):
        if key not in tables.search.model_fields_set:
            yield f"search: {key} not stated, taken as {getattr(tables.search, key):g}"


def _list_material(row: MaterialRow) -> Iterator[str]:
    if row.shrinkage is None:
        yield "shrinkage not stated, taken as 0"
    if row.shrinkage_std is None and row.shrinkage is not None:
        yield "shrinkage stated without a standard uncertainty, taken as exact"
    if row.shrinkage_std is None and row.shrinkage_distribution is not None:
        yield "shrinkage_distribution has no effect without shrinkage_std"
    if row.expansion_per_k is not None and row.expansion_std_per_k is None:
        yield "expansion_per_k stated without a standard uncertainty, taken as exact"
    if row.density_g_per_cm3 is not None and row.density_std_g_per_cm3 is None:
        yield "density_g_per_cm3 stated without a standard uncertainty, taken as exact"
    yield from row.to_model().notes


def _list_machine(row: MachineRow) -> Iterator[str]:
    if row.error is not None:
        yield from _list_error(row.error)


def _list_error(row: ErrorRow) -> Iterator[str]:
    zero = [name for name in FIGURES if getattr(row, name) is None and name in row.std]
    if zero:
        yield f"{join_words(zero)} stated by a standard uncertainty alone, taken as 0 with it"
    idle = [name for name in row.distribution if name not in row.std]
    if idle:
        yield f"the distribution of {join_words(idle)} has no effect without a standard uncertainty"
    if row.repeatability_mm is None:
        yield "repeatability_mm not stated, taken as 0"
    if row.first_layer_height_mm is None and row.std.get("first_layer_flare_mm"):
        yield "first_layer_height_mm not stated, taken as 0: the first-layer flare acts nowhere"


def _list_parts_and_joints(tables: Tables) -> Iterator[str]:
    beds = [part.id for part in tables.parts if part.bed is None]
    yield from _gather("part", beds, "bed pose not stated, taken as its mesh stands")
    joints = tables.joints
    without = [joint.id for joint in joints if _is_open(joint, "locators")]
    yield from _gather("joint", without, "locators not stated, taken as none")
    exact = [j.id for j in joints if j.bond_line_mm is not None and j.bond_line_std_mm is None]
    yield from _gather("joint", exact, "bond line stated without a standard uncertainty, taken as exact")
    for key, std in (
        ("bond_line_distribution", "bond_line_std_mm"),
        ("contact_play_distribution", "contact_play_mm"),
        ("locator_play_distribution", "locator_play_mm"),
    ):
        idle = [joint.id for joint in joints if not _is_open(joint, key) and _is_open(joint, std)]
        yield from _gather("joint", idle, f"{key} has no effect without {std}")


def _list_nominals(tables: Tables) -> Iterator[str]:
    """Sizes without a standard uncertainty: a deviation from them is then judged as if they were exact."""
    sizes = [
        row.id for row in tables.dimensions if row.prototype_mm is not None and row.prototype_std_mm is None
    ]
    yield from _gather("dimension", sizes, "stated without a standard uncertainty, taken as exact")
    nominals = [
        row.id
        for row in tables.features
        if row.nominal is not None and row.nominal_std_mm is None and row.nominal_std_deg is None
    ]
    yield from _gather("feature", nominals, "nominal stated without a standard uncertainty, taken as exact")


def _is_open(row: Row, key: str) -> bool:
    return key not in row.model_fields_set


def _gather(noun: str, ids: Iterable[str], taken: str) -> Iterator[str]:
    """One line for all rows of a table that leave the same thing open."""
    quoted = [f'"{id}"' for id in ids]
    if quoted:
        yield f"{noun}{'s' if len(quoted) > 1 else ''} {join_words(quoted)}: {taken}"


def _list_assembly(tables: Tables) -> Iterator[str]:
    row = tables.assembly
    if row.temp_c is None:
        yield f"assembly: temp_c not stated, taken as {REFERENCE_TEMP_C:g}"
    if row.temp_std_c is None:
        yield "assembly: temp_std_c not stated, taken as 0"
