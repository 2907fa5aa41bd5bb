"""Qualifications in the ledger, and the error models that they make."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

from dryfit.app.ledger_reading import read_records
from dryfit.base.arrays import Array
from dryfit.base.estimate import Estimate
from dryfit.calc.charts import Moved, has_moved
from dryfit.model.machine import FIGURES, ErrorModel, Estimated
from dryfit.model.project import Project
from dryfit.model.qualification import Qualification
from dryfit.store.ledger import LedgerRecord

QUALIFICATION = "qualification"
MOVED_LEVEL = 0.05  # chance of calling a machine moved that has not


def qualification_payload(qualification: Qualification) -> dict[str, Any]:
    """What the ledger keeps of a qualification; its number and time are the record's own."""
    return {
        "machine": qualification.machine,
        "artefact": qualification.artefact,
        "readings": list(qualification.readings),
        "figures": dict(zip(FIGURES, qualification.figures.tolist(), strict=True)),
        "covariance": qualification.covariance.tolist(),
        "dof": None if math.isinf(qualification.dof) else qualification.dof,
        "repeatability_mm": qualification.repeatability_mm,
        "repeatability_std_mm": qualification.repeatability_std_mm,
        "first_layer_height_mm": qualification.first_layer_height_mm,
        "material": qualification.material,
        "shrinkage": qualification.shrinkage,
        "shrinkage_std": qualification.shrinkage_std,
        "with_shrinkage": qualification.with_shrinkage.tolist(),
        "tied": {name: list(values) for name, values in qualification.tied.items()},
    }


def qualification_from(record: LedgerRecord) -> Qualification:
    """The qualification of a record."""
    payload = record.payload
    return Qualification(
        record=record.id,
        at=record.recorded_at,
        machine=payload["machine"],
        artefact=payload["artefact"],
        readings=tuple(payload["readings"]),
        figures=np.array([payload["figures"][name] for name in FIGURES]),
        covariance=np.array(payload["covariance"]),
        dof=math.inf if payload["dof"] is None else payload["dof"],
        repeatability_mm=payload["repeatability_mm"],
        repeatability_std_mm=payload["repeatability_std_mm"],
        first_layer_height_mm=payload["first_layer_height_mm"],
        material=payload["material"],
        shrinkage=payload["shrinkage"],
        shrinkage_std=payload["shrinkage_std"],
        with_shrinkage=np.array(payload["with_shrinkage"]),
        tied={name: tuple(values) for name, values in payload["tied"].items()},
    )


def qualifications_of(records: Sequence[LedgerRecord], machine: str) -> tuple[Qualification, ...]:
    """Those of a machine, oldest first, out of records of any kind."""
    mine = [item for item in records if item.kind == QUALIFICATION and item.payload["machine"] == machine]
    return tuple(qualification_from(record) for record in mine)


def read_qualifications(folder: Path) -> Mapping[str, Qualification]:
    """The latest of each machine; none where the project has no ledger yet.

    Raises LedgerRefused where there is a ledger that cannot be read.
    """
    return latest_qualifications(read_records(folder, QUALIFICATION))


def latest_qualifications(records: Sequence[LedgerRecord]) -> Mapping[str, Qualification]:
    """The latest of each machine, out of records of any kind."""
    return {
        record.payload["machine"]: qualification_from(record)
        for record in records
        if record.kind == QUALIFICATION
    }


def with_qualifications(project: Project, latest: Mapping[str, Qualification]) -> Project:
    """The project whose machines without stated figures have those that readings estimated."""
    return replace(
        project,
        machines=tuple(
            replace(machine, error=error_model(latest[machine.id], project))
            if machine.error.knowledge == "prior" and machine.id in latest
            else machine
            for machine in project.machines
        ),
    )


def qualification_notes(project: Project, latest: Mapping[str, Qualification]) -> tuple[str, ...]:
    """Which machines have figures out of the ledger, and from what."""
    return tuple(
        f'machine "{machine.id}": its figures were estimated from {len(latest[machine.id].readings)} readings on '
        f"{latest[machine.id].at[:10]} (ledger record {latest[machine.id].record})"
        for machine in project.machines
        if machine.id in latest and machine.error.knowledge == "prior"
    )


def unused_qualifications(project: Project, latest: Mapping[str, Qualification]) -> tuple[Qualification, ...]:
    """Those of machines whose figures the document states, which stand before them."""
    return tuple(
        latest[machine.id]
        for machine in project.machines
        if machine.id in latest and machine.error.knowledge == "stated"
    )


def error_model(qualification: Qualification, project: Project) -> ErrorModel:
    """The error model of a qualification, with what is known of the shrinkage today.

    A figure that was estimated beside an uncertain shrinkage moves with it: where the document states another
    shrinkage of the artefact's material since, figures and their uncertainty follow.
    """
    figures, covariance, tied = _with_shrinkage(qualification, project)
    std = np.sqrt(np.diag(covariance))
    scale = np.where(std > 0, std, 1.0)
    correlation = covariance / np.outer(scale, scale)
    np.fill_diagonal(correlation, 1.0)
    return ErrorModel(
        figures={
            name: Estimate(float(value), float(spread))
            for name, value, spread in zip(FIGURES, figures, std, strict=True)
        },
        repeatability_mm=qualification.repeatability_mm,
        first_layer_height_mm=qualification.first_layer_height_mm,
        knowledge="estimated",
        estimated=Estimated(
            record=qualification.record,
            at=qualification.at,
            correlation=tuple(tuple(float(value) for value in row) for row in correlation),
            material=qualification.material,
            with_shrinkage=tuple(float(value) for value in tied / scale),
            dof=qualification.dof,
        ),
    )


def _with_shrinkage(qualification: Qualification, project: Project) -> tuple[Array, Array, Array]:
    """Figures (8,), their covariance (8, 8), and (8,) their covariance with the shrinkage over its std."""
    known = {material.id: material.shrinkage for material in project.materials}
    figures, covariance = qualification.figures, qualification.covariance
    variance = qualification.shrinkage_std**2
    if variance == 0.0:
        return figures, covariance, np.zeros(len(FIGURES))
    slope = qualification.with_shrinkage / variance
    now = known.get(qualification.material)
    if now is None:
        return figures, covariance, slope * qualification.shrinkage_std
    rest = covariance - np.outer(slope, slope) * variance
    return (
        figures + slope * (now.value - qualification.shrinkage),
        rest + np.outer(slope, slope) * now.std**2,
        slope * now.std,
    )


def compare_figures(before: Qualification, now: Qualification) -> Moved:
    """All figures together against an earlier time; what both share by instrument or material does not count."""
    return has_moved(
        np.asarray(before.figures),
        before.covariance,
        np.asarray(now.figures),
        now.covariance,
        before.shared_with(now),
        before.dof,
        now.dof,
        MOVED_LEVEL,
    )
