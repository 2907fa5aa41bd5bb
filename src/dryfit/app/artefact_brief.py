"""For what an artefact is designed: machine, material, instruments, and what was assumed of them."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from typing import Literal

from dryfit.app.instruments import LedgerSource, instruments_for
from dryfit.app.machines import find_machine
from dryfit.base.errors import ComputationRefused, ReferenceUnknown
from dryfit.calc.artefact import Wish
from dryfit.model.instrument import Instrument
from dryfit.model.machine import Machine
from dryfit.model.material import Material
from dryfit.model.project import Project
from dryfit.store.words import suggest

# Common practice, no source.
MOST_MASS_G, MOST_HOURS = 400.0, 24.0
READINGS, READ_EACH, MOST_OF_A_MEASURE = 48, 2, 6
_CLEARANCE_MM, _LINE_MM, _LAYER_MM = 5.0, 0.45, 0.2
_SPEED_MM_S = 40.0  # a line half as high as wide
_AT_HAND = ("caliper-300", "steel-rule-1000", "square-150")

Aimed = Literal["D", "A", "project"]


@dataclass(frozen=True, slots=True)
class ArtefactOptions:
    """What the user may choose.

    mass_g, hours  at most
    flow_mm3_s     plastic that the machine lays down; None: from the width of its lines
    instruments    ids or kinds; () : those of the document, or a caliper, a rule and a square
    readings       to be taken in all
    aim            "D": all figures together; "A": their variances, each against a usual size; "project": the
                   characteristics of this project
    """

    mass_g: float = MOST_MASS_G
    hours: float = MOST_HOURS
    flow_mm3_s: float | None = None
    material: str | None = None
    instruments: tuple[str, ...] = ()
    readings: int = READINGS
    aim: Aimed = "D"


@dataclass(frozen=True, slots=True)
class Brief:
    """Everything that the design rests on; assumed: in words, for the report."""

    machine: Machine
    material: Material
    density_g_per_cm3: float
    instruments: tuple[Instrument, ...]
    wish: Wish
    layer_mm: float
    flow_mm3_s: float
    assumed: tuple[str, ...]


def make_brief(project: Project, ledger: LedgerSource, machine: str, options: ArtefactOptions) -> Brief:
    """Gather what the design rests on.

    Raises ReferenceUnknown for a machine, material or instrument that is not there, ComputationRefused where
    the density of the material is not known or an option makes no sense.
    """
    _check(options)
    printer = find_machine(project, machine)
    material = _material(project, printer, options.material)
    assumed: list[str] = []
    instruments = _instruments(project, ledger, options.instruments, assumed)
    clearance = _or(printer.clearance_mm, _CLEARANCE_MM, "clearance_mm", "mm kept from each side", assumed)
    line = _or(printer.extrusion_width_mm, _LINE_MM, "extrusion_width_mm", "mm wide lines", assumed)
    layer = printer.error.first_layer_height_mm
    if not layer > 0:
        layer = _LAYER_MM
        assumed.append(
            f"first_layer_height_mm of {machine} not stated: {layer:g} mm (common practice, no source)"
        )
    flow = options.flow_mm3_s
    if flow is None:
        flow = round(line * 0.5 * line * _SPEED_MM_S, 1)
        assumed.append(
            f"{flow:g} mm3 of plastic a second: lines {line:g} mm wide and half as high at {_SPEED_MM_S:g} mm/s "
            "(common practice, no source); state --flow"
        )
    density = _density(material)
    x, y, z = printer.build_volume_mm
    room = (x - 2.0 * clearance, y - 2.0 * clearance, z - clearance)
    volume = min(options.mass_g / density * 1000.0, options.hours * 3600.0 * flow)
    assumed.append("the body is taken as solid: infill makes it lighter")
    return Brief(
        printer, material, density, instruments, Wish(room, volume, line, *_reaches(instruments)), layer, flow,
        tuple(assumed),
    )  # fmt: skip


def _reaches(instruments: tuple[Instrument, ...]) -> tuple[float, tuple[float, ...]]:
    """Longest length that jaws read, and the heights that squares and dials read."""
    jaws = max((item.range_mm for item in instruments if item.kind == "caliper"), default=0.0)
    blades = {item.range_mm for item in instruments if "square" in item.measures}
    return jaws, tuple(sorted(blades))


def _check(options: ArtefactOptions) -> None:
    where = "the options of dryfit artefact"
    for value, name in (
        (options.mass_g, "--mass"),
        (options.hours, "--hours"),
        (options.flow_mm3_s, "--flow"),
    ):
        if value is not None and not value > 0:
            raise ComputationRefused(f"{name} is {value:g}", where, "give a number above zero")
    least = 8 * READ_EACH
    if options.readings < least:
        raise ComputationRefused(
            f"{options.readings} readings cannot tell eight figures apart and check themselves",
            where,
            f"take {least} or more, such as --readings {READINGS}",
        )


def _material(project: Project, machine: Machine, id: str | None) -> Material:
    """The named one, or the one that most parts of the machine are printed in, or the first."""
    known = {material.id: material for material in project.materials}
    if id is not None and id not in known:
        raise ReferenceUnknown(
            f'there is no material "{id}"', "project.toml: material", suggest(id, list(known), "materials")
        )
    if not known:
        do = 'add [[material]] with id and family, such as "PLA"'
        raise ReferenceUnknown("no material is stated to print the artefact in", "project.toml: material", do)
    used = Counter(part.material for part in project.parts if part.machine == machine.id)
    return known[id or (used.most_common(1)[0][0] if used else next(iter(known)))]


def _density(material: Material) -> float:
    if material.density_g_per_cm3 is None:
        raise ComputationRefused(
            f'the density of "{material.id}" is not known, so the artefact has no mass',
            f'project.toml: material "{material.id}"',
            "add density_g_per_cm3, such as 1.24",
        )
    return material.density_g_per_cm3.value


def _instruments(
    project: Project, ledger: LedgerSource, wanted: tuple[str, ...], assumed: list[str]
) -> tuple[Instrument, ...]:
    """By id, else by kind; each once."""
    rows = instruments_for(project, ledger)
    if not wanted and not project.instruments:
        wanted = _AT_HAND
        assumed.append(
            f"no instrument is stated: {', '.join(wanted)} taken to be at hand; state [[instrument]] or --instrument"
        )
    if not wanted:
        return rows
    found: dict[str, Instrument] = {}
    for name in wanted:
        match = next((row for row in rows if row.id == name), None)
        match = match or next((row for row in rows if row.kind == name), None)
        if match is None:
            names = [*(row.id for row in rows), *dict.fromkeys(row.kind for row in rows)]
            do = suggest(name, names, "instruments")
            raise ReferenceUnknown(f'there is no instrument "{name}"', "--instrument", do)
        found[match.id] = match
    return tuple(found.values())


def _or(stated: float | None, usual: float, key: str, words: str, assumed: list[str]) -> float:
    if stated is None:
        assumed.append(f"{key} not stated: {usual:g} {words} (common practice, no source)")
        return usual
    return stated
