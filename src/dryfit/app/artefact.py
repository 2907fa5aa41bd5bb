"""Design a test artefact for a machine, say what its readings would tell, and issue its files."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

from dryfit.app.artefact_brief import ArtefactOptions, Brief, make_brief
from dryfit.app.artefact_drawing import ArtefactView, draw_artefact
from dryfit.app.artefact_effect import Decided, decide, figure_stds, scaled_results
from dryfit.app.artefact_plan import Plan, plan_readings
from dryfit.app.artefact_records import ARTEFACT, artefact_payload
from dryfit.app.forecast import Chain, build_chain
from dryfit.app.loading import Opened, open_project
from dryfit.base.errors import NotWritten
from dryfit.calc.artefact import Sizes, design_body, list_measures
from dryfit.calc.mesh import measure_mesh
from dryfit.files.mesh.write_stl import encode_stl
from dryfit.files.mesh.write_threemf import encode_3mf
from dryfit.files.pdf import render_pdf
from dryfit.model.artefact import Artefact
from dryfit.model.instrument import Instrument
from dryfit.model.machine import FIGURES
from dryfit.model.mesh import TriangleMesh
from dryfit.store.atomic import write_atomically
from dryfit.store.ledger import LEDGER_NAME, open_ledger

__all__ = ["ArtefactOptions", "ArtefactReport", "SheetPages", "design_artefact", "issue_artefact"]

Progress = Callable[[int, int], None]


@dataclass(frozen=True, slots=True)
class ExpectedFigure:
    """One figure of the machine: what its standard uncertainty is today, and would be after the readings."""

    name: str
    std: float
    now: float
    knowledge: str


@dataclass(frozen=True, slots=True, eq=False)
class ArtefactReport:
    """An artefact with everything that is said of it.

    flow_mm3_s    by which its hours were estimated
    repeatability_mm  std of a printed point that the expectation rests on
    expected      one per figure
    decided       one per characteristic of the project; none where no part is printed on the machine
    given_up      by what it stays behind the room, and why
    assumed       in words
    record        of the ledger; None where it is not recorded
    files         written; none where nothing was written
    is_invented   the project holds invented data
    """

    project: str
    artefact: Artefact
    mesh: TriangleMesh
    sizes: Sizes
    views: tuple[ArtefactView, ...]
    instruments: tuple[Instrument, ...]
    mass_limit_g: float
    hours_limit: float
    flow_mm3_s: float
    repeatability_mm: float
    expected: tuple[ExpectedFigure, ...]
    decided: tuple[Decided, ...]
    given_up: tuple[str, ...]
    assumed: tuple[str, ...]
    record: int | None = None
    files: tuple[Path, ...] = ()
    is_invented: bool = False


@dataclass(frozen=True, slots=True)
class SheetPages:
    """A measuring sheet ready to be set: markup, the data that it shows, and its figures as SVG."""

    source: str
    data: Mapping[str, Any]
    figures: Mapping[str, str]


def design_artefact(
    path: Path, machine: str, options: ArtefactOptions | None = None, progress: Progress | None = None
) -> ArtefactReport:
    """Design an artefact and its readings; nothing is written.

    Raises what opening raises, and ReferenceUnknown or ComputationRefused where it cannot be designed.
    """
    return design_for(open_project(path, progress), machine, options or ArtefactOptions())


def design_for(opened: Opened, machine: str, options: ArtefactOptions) -> ArtefactReport:
    """The same for an open project."""
    brief = make_brief(opened.project, opened.folder / LEDGER_NAME, machine, options)
    sizes, mesh, given_up = design_body(brief.wish)
    measures = list_measures(brief.wish, sizes, brief.layer_mm)
    chain = _chain(opened, brief)
    results = scaled_results(chain, brief) if chain is not None else None
    assumed = brief.assumed
    if options.aim == "project" and (results is None or not np.abs(results).any()):
        assumed = (
            *assumed,
            "no characteristic with limits hangs on this machine: all figures were aimed at together",
        )
        results = None
    plan = plan_readings(brief, measures, options.readings, options.aim, results)
    artefact = _artefact(brief, sizes, mesh, plan)
    read = {step.measure for step in plan.steps}
    return ArtefactReport(
        project=opened.project.name,
        artefact=artefact,
        mesh=mesh,
        sizes=sizes,
        views=draw_artefact(sizes, [measure for measure in plan.measures if measure.id in read]),
        instruments=tuple(
            item for item in brief.instruments if item.id in {s.instrument for s in plan.steps}
        ),
        mass_limit_g=options.mass_g,
        hours_limit=options.hours,
        flow_mm3_s=brief.flow_mm3_s,
        repeatability_mm=brief.machine.error.repeatability_mm,
        expected=_expected(brief, plan),
        decided=() if chain is None else decide(chain, brief, plan.covariance, plan.measures, plan.steps),
        given_up=given_up,
        assumed=assumed,
        is_invented=opened.project.invented,
    )


def _chain(opened: Opened, brief: Brief) -> Chain | None:
    """The chain where a part is printed on this machine and something of the assembly has limits."""
    project = opened.project
    if not project.characteristics or all(part.machine != brief.machine.id for part in project.parts):
        return None
    return build_chain(project, opened.shapes)


def _artefact(brief: Brief, sizes: Sizes, mesh: TriangleMesh, plan: Plan) -> Artefact:
    volume = measure_mesh(mesh).volume_mm3
    return Artefact(
        machine=brief.machine.id,
        build_volume_mm=brief.machine.build_volume_mm,
        size_mm=(sizes.length_x, sizes.length_y, sizes.height),
        volume_mm3=volume,
        mass_g=volume / 1000.0 * brief.density_g_per_cm3,
        hours=volume / brief.flow_mm3_s / 3600.0,
        material=brief.material.id,
        first_layer_height_mm=brief.layer_mm,
        measures=plan.measures,
        plan=plan.steps,
        sha256=hashlib.sha256(_encode(mesh, brief.machine.id)).hexdigest(),
    )


def _encode(mesh: TriangleMesh, machine: str) -> bytes:
    return encode_3mf(mesh, {"Title": f"test artefact for {machine}", "Application": "dryfit"})


def _expected(brief: Brief, plan: Plan) -> tuple[ExpectedFigure, ...]:
    now = figure_stds(brief.machine)
    knowledge = brief.machine.error.knowledge
    return tuple(
        ExpectedFigure(name, float(std), held, knowledge)
        for name, std, held in zip(FIGURES, plan.std, now, strict=True)
    )


def issue_artefact(
    path: Path,
    machine: str,
    draw_sheet: Callable[[ArtefactReport], SheetPages],
    options: ArtefactOptions | None = None,
    folder: Path | None = None,
    progress: Progress | None = None,
) -> ArtefactReport:
    """Design an artefact, write its 3MF, STL and measuring sheet, and record it in the ledger.

    draw_sheet : makes the sheet of a report
    folder : to write into; None: "artefacts" in the project folder
    Raises what designing and writing raise; the ledger is written last.
    """
    opened = open_project(path, progress)
    report = design_for(opened, machine, options or ArtefactOptions())
    with open_ledger(opened.folder / LEDGER_NAME) as ledger:
        target = folder or opened.folder / "artefacts"
        files = _write(report, draw_sheet(report), target)
        record = ledger.append(ARTEFACT, artefact_payload(report.artefact))
    return replace(report, record=record.id, files=files)


def _write(report: ArtefactReport, sheet: SheetPages, folder: Path) -> tuple[Path, ...]:
    name = report.artefact.machine
    contents: Sequence[tuple[str, bytes]] = (
        (f"{name}-artefact.3mf", _encode(report.mesh, name)),
        (f"{name}-artefact.stl", encode_stl(report.mesh)),
        (f"{name}-sheet.pdf", render_pdf(sheet.source, sheet.data, sheet.figures)),
    )
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        do = "name another folder (--out), or see that it may be made"
        raise NotWritten(f"the folder cannot be made: {error.strerror}", str(folder), do) from error
    for file, data in contents:
        write_atomically(folder / file, data)
    return tuple(folder / file for file, _ in contents)
