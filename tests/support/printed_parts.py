"""Prints and readings of parts of assemblies built in memory; all of it invented."""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence

import numpy as np

from building import Assembled
from dryfit.app.as_built import AsBuilt, AsBuiltParts, PartReading, PrintRead
from dryfit.app.forecast import Chain, build_chain, run_forecast
from dryfit.app.part_ends import ends_in_design
from dryfit.base.arrays import Array
from dryfit.model.artefact import Measure
from dryfit.model.forecast import ForecastReport
from dryfit.model.instrument import Instrument
from dryfit.model.printing import OwnShape, Print
from dryfit.model.project import Project
from dryfit.model.reading import Reading

FINE = Instrument("fine", "caliper", 2000.0, 0.0, 0.0, repeatability_mm=0.02, repeatability_from="stated")
OFF = Instrument(
    "off", "caliper", 2000.0, 0.0, 0.03, mpe_per_m_mm=0.05, repeatability_mm=0.01, repeatability_from="stated"
)


def print_of(project: Project, part: str, record: int) -> Print:
    """A good print of a part as the project has it."""
    wanted = project.part(part)
    return Print(
        record,
        "",
        part,
        wanted.machine,
        wanted.material,
        wanted.bed,
        "good",
        "",
        "",
        compensation=wanted.compensation,
    )


def points_measure(
    first: Sequence[float],
    second: Sequence[float],
    first_out: Array | None = None,
    second_out: Array | None = None,
) -> Measure:
    """Between two points."""
    none = np.zeros(3)
    return Measure(
        1,
        f"points {tuple(first)} {tuple(second)}",
        "diagonal",
        "points",
        _triple(first),
        _triple(second),
        _triple(none if first_out is None else first_out),
        _triple(none if second_out is None else second_out),
    )


def faces_measure(first: Sequence[float], second: Sequence[float]) -> Measure:
    """Between two parallel faces that lie straight across from one another, their normals along the line."""
    along = np.subtract(second, first)
    along = along / np.linalg.norm(along)
    return Measure(
        1,
        f"faces {tuple(first)} {tuple(second)}",
        "outside",
        "faces",
        _triple(first),
        _triple(second),
        _triple(-along),
        _triple(along),
        toward=_triple(along),
    )


def reading_of(
    project: Project,
    item: Print,
    measure: Measure,
    value_mm: float,
    record: int,
    instrument: Instrument = FINE,
) -> PartReading:
    """A reading of a print."""
    ends = ends_in_design(project.part(item.part), measure)
    reading = Reading(
        record,
        "",
        item.machine,
        item.record,
        measure.id,
        value_mm,
        instrument.id,
        20.0,
        part=item.part,
        ends=ends,
    )
    return PartReading(reading, measure, instrument)


def as_built_of(prints: Sequence[tuple[Print, Sequence[PartReading], bool]]) -> AsBuiltParts:
    """Parts as built: prints, their readings, and whether each is the part of the assembly."""
    read = tuple(PrintRead(item, tuple(readings), is_built) for item, readings, is_built in prints)
    parts = tuple(
        AsBuilt(
            item.print.part,
            "measured" if item.readings else "printed",
            item.print,
            (item.print,),
            item.readings,
        )
        for item in read
        if item.is_as_built
    )
    return AsBuiltParts(parts, read)


def chain_as_built(assembled: Assembled, as_built: AsBuiltParts) -> Chain:
    """The chain with what was printed and read."""
    known = (
        as_built if as_built.figures else dataclasses.replace(as_built, figures=assembled.project.machines)
    )
    return build_chain(assembled.project, assembled.shapes, known)


def forecast_as_built(assembled: Assembled, as_built: AsBuiltParts) -> ForecastReport:
    """The forecast on what was printed and read."""
    return run_forecast(chain_as_built(assembled, as_built))


def without_readings(as_built: AsBuiltParts) -> AsBuiltParts:
    """The same prints, nothing read of them."""
    return dataclasses.replace(
        as_built, prints=tuple(dataclasses.replace(item, readings=()) for item in as_built.prints)
    )


def of_itself(as_built: AsBuiltParts, std_mm: float, *parts: str) -> AsBuiltParts:
    """The same, its prints (of these parts, where any is named) off for a reason of their own."""
    own = OwnShape(9, std_mm, "the belt slipped")
    return dataclasses.replace(
        as_built,
        parts=tuple(
            dataclasses.replace(item, own_shape=own) if not parts or item.part in parts else item
            for item in as_built.parts
        ),
        prints=tuple(
            dataclasses.replace(item, own_shape=own) if not parts or item.print.part in parts else item
            for item in as_built.prints
        ),
    )


def _triple(values: Sequence[float] | Array) -> tuple[float, float, float]:
    x, y, z = (float(value) for value in values)
    return x, y, z
