"""Forecast a project folder and keep a record of it in the ledger."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

from dryfit.app.fingerprint import hash_inputs
from dryfit.app.forecast import Chain, Provenance, build_chain, run_forecast
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
) -> ForecastReport:
    """Open a project, apply what-ifs, forecast it and record the forecast.

    Raises what opening, placing and the ledger raise; nothing is recorded of a forecast that failed.
    """
    opened = open_project(path, progress)
    report = predict_opened(opened, what_if, samples, seed)
    if record:
        record_forecast(opened, report)
    return report


def chain_of(opened: Opened, what_if: Sequence[str] = ()) -> Chain:
    """The chain of an open project, what-ifs applied.

    Raises ReferenceUnknown or WhatIfRefused for a what-if, ComputationRefused for a number beyond all bounds.
    """
    project = apply_what_if(opened.project, what_if)
    check_magnitudes(project)
    return build_chain(project, opened.shapes)


def predict_opened(
    opened: Opened, what_if: Sequence[str] = (), samples: int = DEFAULT_SAMPLES, seed: int = 1
) -> ForecastReport:
    """Forecast an open project without recording it."""
    chain = chain_of(opened, what_if)
    return run_forecast(chain, provenance_of(opened, chain, what_if, samples, seed), samples, seed)


def provenance_of(
    opened: Opened, chain: Chain, what_if: Sequence[str], samples: int, seed: int
) -> Provenance:
    """Where the forecast of a chain comes from."""
    options = (f"samples={samples}", f"seed={seed}")
    return Provenance(
        input_hash=hash_inputs(chain.project, opened.mesh_hashes, options),
        mesh_hashes=opened.mesh_hashes,
        notes=opened.notes,
        what_if=tuple(what_if),
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


def machine_figures(opened: Opened) -> dict[str, list[float]]:
    """Every machine figure of the document: value and std."""
    return {
        f"{machine.id}.{name}": [estimate.value, estimate.std]
        for machine in opened.project.machines
        for name, estimate in machine.error.figures.items()
    }
