"""What a machine truly prints: its error figures from readings of a test artefact."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np

from dryfit.app.artefact_records import RecordedArtefact
from dryfit.app.forecast import build_chain, run_forecast
from dryfit.app.ledger_reading import read_records
from dryfit.app.loading import Opened, open_project
from dryfit.app.machines import find_machine
from dryfit.app.outcome_changes import outcome_changes
from dryfit.app.qualification_effect import with_qualification
from dryfit.app.qualification_records import (
    QUALIFICATION,
    compare_figures,
    qualification_payload,
    qualifications_of,
)
from dryfit.app.qualify_report import Choices, Figure, LeftOut, QualifyReport, ReadReport
from dryfit.app.qualify_taken import TakenReadings, latest_artefact, material_of, take_readings
from dryfit.app.reading_blunders import SuspectReading, suspect_readings
from dryfit.app.reading_fit import ReadingFit, adjust_with, fit_readings
from dryfit.app.reading_model import BED, EXPANSION, SHRINKAGE, TEMPERATURE
from dryfit.app.reading_wanted import explain_what_is_missing
from dryfit.app.trueing import advise_trueing
from dryfit.calc.adjust import Indistinct
from dryfit.calc.chain import expanded_uncertainty
from dryfit.model.machine import FIGURES, WIDE_PRIOR
from dryfit.model.material import Material
from dryfit.model.qualification import Qualification
from dryfit.store.ledger import LEDGER_NAME, LedgerRecord, open_ledger

__all__ = [
    "Choices",
    "Figure",
    "LeftOut",
    "QualifyReport",
    "ReadReport",
    "latest_artefact",
    "qualify_machine",
]

Progress = Callable[[int, int], None]


def qualify_machine(
    path: Path, machine: str, choices: Choices | None = None, progress: Progress | None = None
) -> QualifyReport:
    """Estimate the error figures of a machine from the readings of its latest artefact, and record them.

    Nothing is recorded while a reading is suspect, until the user reads it again, leaves it out or keeps it.
    Raises ReferenceUnknown where there is no such machine, artefact or reading, ComputationRefused where the
    readings cannot tell the figures apart (with what to read besides), and what opening raises.
    """
    chosen = choices or Choices()
    opened = open_project(path, progress)
    find_machine(opened.project, machine)
    records = read_records(opened.folder)
    artefact = latest_artefact(records, machine)
    material = material_of(opened, artefact)
    taken = take_readings(opened, records, artefact, chosen)
    fit = _fit(taken, artefact, material, opened)
    suspects = suspect_readings(taken.taken, taken.values, material)
    before = _last_print(records, machine, artefact)
    qualification = _qualification(fit, artefact, taken, material, machine)
    chain = build_chain(opened.project, opened.shapes)
    known = with_qualification(chain, machine, qualification)
    expected, whence = _expected_scatter(opened, machine, before)
    report = QualifyReport(
        project=opened.project.name,
        machine=machine,
        artefact=artefact,
        qualification=qualification,
        figures=_figures(fit, before),
        readings=_readings(taken, fit),
        fit=fit,
        suspects=suspects,
        left_out=taken.left_out,
        scatter_expected_mm=expected,
        scatter_from=whence,
        p_value=adjust_with(fit, expected).p_value,
        moved=None if before is None else compare_figures(before, qualification),
        trueing=advise_trueing(known, machine, qualification.figures, qualification.covariance),
        effect=outcome_changes(run_forecast(chain), run_forecast(known)),
        is_recorded=False,
        is_kept=chosen.keep,
        why_not=_why_not(chosen, suspects),
        notes=_notes(opened, machine, taken, artefact),
    )
    if report.why_not:
        return report
    # Last of all: what fails on the way leaves nothing behind.
    recorded = _record(opened.folder, qualification, taken, fit, chosen)
    return replace(report, qualification=recorded, is_recorded=True)


def _last_print(
    records: Sequence[LedgerRecord], machine: str, artefact: RecordedArtefact
) -> Qualification | None:
    """The last qualification that rests on another print of a body: one of the same readings says nothing new."""
    others = [item for item in qualifications_of(records, machine) if item.artefact != artefact.record]
    return others[-1] if others else None


def _fit(taken: TakenReadings, artefact: RecordedArtefact, material: Material, opened: Opened) -> ReadingFit:
    try:
        return fit_readings(taken.taken, taken.values, material)
    except Indistinct as error:
        raise explain_what_is_missing(error, taken.taken, artefact.artefact, material) from error


def _qualification(
    fit: ReadingFit, artefact: RecordedArtefact, taken: TakenReadings, material: Material, machine: str
) -> Qualification:
    count = len(FIGURES)
    names = fit.model.names
    tied = np.zeros(count)
    if SHRINKAGE in names:
        tied = fit.adjustment.covariance[:count, names.index(SHRINKAGE)]
    return Qualification(
        record=0,
        at="",
        machine=machine,
        artefact=artefact.record,
        readings=tuple(reading.record for reading in taken.readings),
        figures=fit.figures,
        covariance=fit.covariance,
        dof=float(fit.dof.min()),
        repeatability_mm=fit.scatter.std,
        repeatability_std_mm=fit.scatter.std_std,
        first_layer_height_mm=artefact.artefact.first_layer_height_mm,
        material=material.id,
        shrinkage=material.shrinkage.value,
        shrinkage_std=material.shrinkage.std,
        with_shrinkage=tied,
        tied=_tied(fit, material),
    )


def _tied(fit: ReadingFit, material: Material) -> dict[str, tuple[float, ...]]:
    """How far what other readings share would put the figures off.

    An unknown with a normal prior of std s moves the others by -C / s^2 each, C their covariance after the
    adjustment: from K D = I - C P with K the estimator, D the design and P the prior's weights.
    Temperature and bed offset are those of one print and one day.
    """
    count = len(FIGURES)
    found = {}
    for place, std, name in zip(
        fit.model.prior_index, fit.model.prior_std, fit.model.names[count:], strict=True
    ):
        if name not in (BED, TEMPERATURE):
            own = f"{name} of {material.id}" if name in (SHRINKAGE, EXPANSION) else name
            moves = -fit.adjustment.covariance[:count, place] / std
            found[own] = tuple(float(value) for value in moves)
    return found


def _why_not(chosen: Choices, suspects: Sequence[SuspectReading]) -> str:
    """Why the result is not recorded; "" where it is."""
    if not chosen.record:
        return "only looked at, as asked"
    if suspects and not chosen.keep:
        return "a reading is suspect: read it again, leave it out (--without), or keep it (--keep)"
    return ""


def _record(
    folder: Path, qualification: Qualification, taken: TakenReadings, fit: ReadingFit, chosen: Choices
) -> Qualification:
    payload = {
        **qualification_payload(qualification),
        "left_out": [{"record": item.record, "because": item.because} for item in taken.left_out],
        "kept_suspects": chosen.keep,
        "instruments": {
            item.id: {
                "kind": item.kind,
                "resolution_mm": item.resolution_mm,
                "mpe_mm": item.mpe_mm,
                "mpe_per_m_mm": item.mpe_per_m_mm,
                "repeatability_mm": fit.hands[item.id].std,
            }
            for item in {reading.instrument.id: reading.instrument for reading in taken.taken}.values()
        },
    }
    with open_ledger(folder / LEDGER_NAME) as ledger:
        record = ledger.append(QUALIFICATION, payload)
    return replace(qualification, record=record.id, at=record.recorded_at)


def _expected_scatter(opened: Opened, machine: str, before: Qualification | None) -> tuple[float, str]:
    """Scatter of printed points that was expected before the readings, and whence."""
    if before is not None and before.repeatability_mm > 0:
        return before.repeatability_mm, f"the qualification of {before.at[:10]}"
    model = opened.project.machine(machine).error
    if model.knowledge == "stated" and model.repeatability_mm > 0:
        return model.repeatability_mm, "the document"
    return WIDE_PRIOR.repeatability_mm, "common practice, no source"


def _figures(fit: ReadingFit, before: Qualification | None) -> tuple[Figure, ...]:
    std = np.sqrt(np.diag(fit.covariance))
    return tuple(
        Figure(
            name=name,
            value=float(fit.figures[index]),
            std=float(std[index]),
            dof=float(fit.dof[index]),
            expanded=expanded_uncertainty(float(std[index]), float(fit.dof[index])),
            before=None if before is None else float(before.figures[index]),
            before_std=None if before is None else float(before.std[index]),
        )
        for index, name in enumerate(FIGURES)
    )


def _readings(taken: TakenReadings, fit: ReadingFit) -> tuple[ReadReport, ...]:
    off = fit.adjustment.normalised
    return tuple(
        ReadReport(
            record=reading.record,
            measure=item.measure.id,
            number=item.measure.number,
            kind=item.measure.kind,
            words=item.measure.words,
            instrument=item.instrument.id,
            commanded_mm=0.0 if item.measure.kind == "square" else item.measure.length_mm,
            value_mm=reading.value_mm,
            at_20_mm=float(fit.values[index]),
            predicted_mm=float(fit.predicted[index]),
            off_std=float(off[index]) if math.isfinite(off[index]) else None,
        )
        for index, (reading, item) in enumerate(zip(taken.readings, taken.taken, strict=True))
    )


def _notes(
    opened: Opened,
    machine: str,
    taken: TakenReadings,
    artefact: RecordedArtefact,
) -> tuple[str, ...]:
    notes = []
    cold = sum(1 for item in taken.taken if item.temp_c is None)
    if cold:
        notes.append(
            f"{cold} of {len(taken.taken)} readings have no temperature: not corrected to 20 C, a room within "
            "3 K of it assumed (one standard deviation; common practice, no source)"
        )
    assumed = sorted(
        {
            item.instrument.id
            for item in taken.taken
            if item.instrument.repeatability_from.startswith("assumed")
        }
    )
    if assumed:
        notes.append(
            f"repeatability of {', '.join(assumed)} assumed, with the weight of three repeats: a small study tells "
            "it (dryfit gauge)"
        )
    if opened.project.machine(machine).error.knowledge == "stated":
        notes.append(
            "project.toml states [machine.error] for this machine: that is used by the forecast until it is taken out"
        )
    unread = {step.measure for step in artefact.artefact.plan} - {item.measure.id for item in taken.taken}
    if unread:
        notes.append(f"{len(unread)} measures of the sheet have not been read")
    return tuple(notes)
