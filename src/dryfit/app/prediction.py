"""Forecast a project folder and keep a record of it in the ledger."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

from dryfit.app.as_built import AsBuiltParts, as_printed, gather_as_built
from dryfit.app.feature_words import describe_sizes
from dryfit.app.fingerprint import hash_inputs
from dryfit.app.forecast import Chain, Provenance, build_chain, run_forecast
from dryfit.app.ledger_reading import read_records
from dryfit.app.loading import Opened, open_project
from dryfit.app.magnitudes import check_magnitudes
from dryfit.app.whatif import apply_what_if
from dryfit.calc.chain.montecarlo import DEFAULT_SAMPLES
from dryfit.model.forecast import ForecastReport
from dryfit.store.ledger import open_ledger

Progress = Callable[[int, int], None]
LEDGER_NAME = "ledger.db"


def predict(
    path: Path,
    what_if: Sequence[str] = (),
    samples: int = DEFAULT_SAMPLES,
    seed: int = 1,
    record: bool = True,
    progress: Progress | None = None,
    with_readings: bool = True,
) -> ForecastReport:
    """Open a project, apply what-ifs, forecast it and record the forecast.

    with_readings : whether the forecast rests on what was printed and read; False: on what was known beforehand
    Raises what opening, placing and the ledger raise; nothing is recorded of a forecast that failed.
    """
    opened = open_project(path, progress)
    report = predict_opened(opened, what_if, samples, seed, with_readings)
    if record:
        record_forecast(opened, report)
    return report


def chain_of(opened: Opened, what_if: Sequence[str] = (), with_readings: bool = True) -> Chain:
    """The chain of an open project, with the parts as they were printed and read, what-ifs applied.

    A what-if that turns a printed part, or prints it elsewhere, is a print that is still to come.
    with_readings : False for the project as the document has it, whatever was printed
    Raises ReferenceUnknown or WhatIfRefused for a what-if, ComputationRefused for a number beyond all bounds.
    """
    as_built = None
    project = opened.project
    if with_readings:
        as_built = as_built_of(opened)
        project = as_printed(project, as_built)
    project = apply_what_if(project, what_if)
    check_magnitudes(project)
    return build_chain(project, opened.shapes, as_built)


def as_built_of(opened: Opened) -> AsBuiltParts:
    """What the ledger knows of the parts of an open project."""
    return gather_as_built(opened.project, opened.shapes, read_records(opened.folder))


def predict_opened(
    opened: Opened,
    what_if: Sequence[str] = (),
    samples: int = DEFAULT_SAMPLES,
    seed: int = 1,
    with_readings: bool = True,
) -> ForecastReport:
    """Forecast an open project without recording it."""
    chain = chain_of(opened, what_if, with_readings)
    return run_forecast(chain, provenance_of(opened, chain, what_if, samples, seed), samples, seed)


def provenance_of(
    opened: Opened, chain: Chain, what_if: Sequence[str], samples: int, seed: int
) -> Provenance:
    """Where the forecast of a chain comes from."""
    options = (f"samples={samples}", f"seed={seed}", *_as_built_words(chain.as_built))
    return Provenance(
        input_hash=hash_inputs(chain.project, opened.mesh_hashes, options),
        mesh_hashes=opened.mesh_hashes,
        notes=opened.notes,
        what_if=tuple(what_if),
    )


def _as_built_words(as_built: AsBuiltParts | None) -> tuple[str, ...]:
    """What a forecast takes from the ledger, for the hash of its inputs; nothing where nothing was printed."""
    if as_built is None:
        return ()
    return (
        *(
            f"print={item.print.record},{item.print.shape_sha256},{item.is_as_built}:"
            + ",".join(f"{r.reading.record}={r.reading.value_mm!r}" for r in item.readings)
            for item in as_built.prints
        ),
        *(
            f"own shape={item.print.record},{item.own_shape.std_mm!r}"
            for item in as_built.prints
            if item.own_shape is not None
        ),
        *(f"work={work!r}" for work in as_built.works),
        *(f"gap={gap!r}" for gap in as_built.gaps),
    )


def record_forecast(opened: Opened, report: ForecastReport) -> None:
    """Append a forecast to the project's ledger."""
    with open_ledger(opened.folder / LEDGER_NAME) as ledger:
        ledger.append("forecast", forecast_payload(opened, report))


def forecast_payload(opened: Opened, report: ForecastReport) -> dict[str, Any]:
    """What the ledger keeps of a forecast: its inputs' hashes and the figures of each characteristic."""
    return {
        "input_hash": report.input_hash,
        "program_version": report.program_version,
        "document_sha256": opened.document.sha256,
        "mesh_sha256": dict(report.mesh_hashes),
        "what_if": list(report.what_if),
        "figures": machine_figures(opened),
        "beds": {part.id: list(part.bed.euler_xyz_deg) for part in opened.project.parts},
        "sizes": describe_sizes(opened.project),
        "as_built": _as_built_payload(report),
        "characteristics": [
            {
                "id": item.id,
                "kind": item.kind,
                "unit": item.unit,
                "nominal": item.nominal,
                "predicted": item.predicted,
                "std": item.std,
                "lower_limit": item.lower_limit,
                "upper_limit": item.upper_limit,
                "p_out": item.p_out,
            }
            for item in report.characteristics
        ],
    }


def _as_built_payload(report: ForecastReport) -> dict[str, Any]:
    """Printed parts, readings by part, and what was expected before them."""
    basis = report.basis
    if basis is None:
        return {"printed": [], "readings": {}, "earlier": 0, "prior": []}
    return {
        "printed": list(basis.printed),
        "readings": dict(basis.readings),
        "own_shapes": {item.part: item.std_mm for item in basis.of_themselves},
        "earlier": basis.earlier,
        "prior": [
            {"id": item.id, "predicted": item.predicted, "std": item.std, "p_out": item.p_out}
            for item in report.prior
        ],
    }


def machine_figures(opened: Opened) -> dict[str, list[float]]:
    """Every machine figure of the document: value and std."""
    return {
        f"{machine.id}.{name}": [estimate.value, estimate.std]
        for machine in opened.project.machines
        for name, estimate in machine.error.figures.items()
    }
