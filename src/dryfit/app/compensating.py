"""Write corrected copies of the parts of a machine, and say in the document which file is printed."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from dryfit.app.compensating_copies import (
    CompensationRefused,
    Copy,
    CopyOptions,
    made_up_figures,
    make_copy,
    refuse_machine,
)
from dryfit.app.compensating_files import edit_document, free_name, write_copies
from dryfit.app.compensating_lines import mixed_joints
from dryfit.app.forecast import build_chain, run_forecast, with_poses
from dryfit.app.loading import Opened, open_project
from dryfit.app.machines import find_machine
from dryfit.app.outcome_changes import OutcomeChange, outcome_changes
from dryfit.base.arrays import Array
from dryfit.base.errors import ReferenceUnknown
from dryfit.calc.compensate import AxisSettings, axis_settings
from dryfit.model.finding import State, gravest
from dryfit.model.machine import FIGURES, Machine
from dryfit.model.part import Compensation, Part
from dryfit.model.project import Project
from dryfit.store.edit import DocumentEditor

__all__ = [
    "CompensationRefused",
    "CompensationReport",
    "CopyOptions",
    "compensate_parts",
    "firmware_settings",
    "undo_compensation",
]

Progress = Callable[[int, int], None]
_SURE = 2.0  # standard uncertainties from zero at which a figure is told from nothing; common practice


@dataclass(frozen=True, slots=True, eq=False)
class CompensationReport:
    """Corrected copies of parts of one machine.

    figures     (8,) made up for; std (8,) their standard uncertainty, which no copy takes away
    shrinkages  material and shrinkage made up for
    copies      one per part
    settings    the same figures for a firmware that can take them
    changes     every characteristic before and after
    warnings    (what, what to do)
    diff        of the document; written: whether files and document were written
    """

    project: str
    machine: str
    qualification: int | None
    figures: tuple[float, ...]
    std: tuple[float, ...]
    shrinkages: tuple[tuple[str, float], ...]
    copies: tuple[Copy, ...]
    settings: AxisSettings
    changes: tuple[OutcomeChange, ...]
    warnings: tuple[tuple[str, str], ...]
    diff: str
    written: bool

    @property
    def skews_deg(self) -> tuple[float, float, float]:
        """Squareness XY, XZ, YZ [deg] as measured."""
        return self.figures[3], self.figures[4], self.figures[5]

    @property
    def skews_std_deg(self) -> tuple[float, float, float]:
        """Their standard uncertainties [deg]."""
        return self.std[3], self.std[4], self.std[5]

    @property
    def state(self) -> State:
        """The gravest of the copies; a warning is a caution."""
        states: list[State] = [copy.state for copy in self.copies]
        return gravest([*states, "caution"] if self.warnings else states)


def compensate_parts(
    path: Path,
    machine_id: str,
    parts: Sequence[str] = (),
    options: CopyOptions | None = None,
    write: bool = False,
    progress: Progress | None = None,
) -> CompensationReport:
    """Make corrected copies of parts of a machine (all of them by default), checked by printing them in the model.

    write : put them into compensated/, name them in the document and record it; else only show what would be
    Raises what opening and forecasting raise, ReferenceUnknown, CompensationRefused where the machine must be
    mended or known first, NotWritten. Nothing is written where a copy is not sound.
    """
    options = options or CopyOptions()
    opened = open_project(path)
    machine = find_machine(opened.project, machine_id)
    chosen = _choose(opened.project, machine, parts)
    figures = made_up_figures(machine, options)
    shrinkage = {part.material: _shrinkage(opened.project, part, options) for part in chosen}
    refuse_machine(machine, figures, tuple(shrinkage.values()))
    copies: list[Copy] = []
    for done, part in enumerate(chosen):
        file = free_name(opened.folder, part, [copy.file for copy in copies])
        copies.append(
            make_copy(part, opened.shapes[part.id], machine, figures, shrinkage[part.material], file)
        )
        if progress is not None:
            progress(done + 1, len(chosen))
    after = _with_copies(opened, machine, figures, shrinkage, copies)
    editor = edit_document(opened, after, copies)
    is_sound = all(copy.state != "stop" for copy in copies)
    is_written = write and is_sound
    if is_written:
        write_copies(opened, editor, copies, machine, figures)
    return CompensationReport(
        project=opened.project.name,
        machine=machine.id,
        qualification=machine.error.estimated.record if machine.error.estimated else None,
        figures=figures,
        std=tuple(machine.error.figures[name].std for name in FIGURES),
        shrinkages=tuple((name, value) for name, value in shrinkage.items() if value),
        copies=tuple(copies),
        settings=firmware_settings(machine),
        changes=_changes(opened, after),
        warnings=(*_doubtful(machine, figures), *mixed_joints(after)),
        diff=editor.diff(),
        written=is_written,
    )


def firmware_settings(machine: Machine) -> AxisSettings:
    """The affine figures of a machine as tangents and factors, with their uncertainty."""
    estimates = [machine.error.figures[name] for name in FIGURES[:6]]
    std = np.array([estimate.std for estimate in estimates])
    covariance: Array = np.diag(std**2)
    if machine.error.estimated is not None:
        covariance = np.array(machine.error.estimated.correlation)[:6, :6] * np.outer(std, std)
    return axis_settings(np.array([estimate.value for estimate in estimates]), covariance)


def undo_compensation(path: Path, machine_id: str, parts: Sequence[str] = ()) -> tuple[str, ...]:
    """Let the meshes themselves be printed again; returns the parts changed. The copies stay where they are.

    Raises ReferenceUnknown, and CompensationRefused where none of the parts has a copy.
    """
    opened = open_project(path)
    machine = find_machine(opened.project, machine_id)
    mine = [part.id for part in _choose(opened.project, machine, parts) if part.compensation is not None]
    if not mine:
        raise CompensationRefused(
            "no corrected copy is printed of these parts",
            f'machine "{machine.id}"',
            "there is nothing to undo",
        )
    editor = DocumentEditor(opened.document.path)
    for id in mine:
        editor.remove_value(("part", id, "compensated"))
    editor.save()
    return tuple(mine)


def _choose(project: Project, machine: Machine, ids: Sequence[str]) -> list[Part]:
    mine = {part.id: part for part in project.parts if part.machine == machine.id}
    known = {part.id for part in project.parts}
    for id in ids:
        if id not in mine:
            what = f'part "{id}" is printed on another machine' if id in known else f'there is no part "{id}"'
            raise ReferenceUnknown(what, "--part", f"on {machine.id}: {', '.join(list(mine)[:20]) or 'none'}")
    if not mine:
        raise CompensationRefused(
            "no part is printed on it", f'machine "{machine.id}"', "name a machine that prints parts"
        )
    return [part for id, part in mine.items() if id in ids or not ids]


def _shrinkage(project: Project, part: Part, options: CopyOptions) -> float:
    return project.material(part.material).shrinkage.value if options.with_shrinkage else 0.0


def _with_copies(
    opened: Opened,
    machine: Machine,
    figures: tuple[float, ...],
    shrinkage: dict[str, float],
    copies: Sequence[Copy],
) -> Project:
    """The project in which these copies are printed."""
    made = {copy.part: copy for copy in copies}
    parts = []
    for part in opened.project.parts:
        copy = made.get(part.id)
        if copy is not None:
            compensation = Compensation(
                file=copy.file,
                sha256=copy.sha256,
                source_sha256=opened.shapes[part.id].mesh.sha256,
                machine=machine.id,
                bed=part.bed,
                figures=figures,
                shrinkage=shrinkage[part.material],
                first_layer_height_mm=machine.error.first_layer_height_mm if figures[7] else 0.0,
                qualification=machine.error.estimated.record if machine.error.estimated else None,
            )
            part = replace(part, compensation=compensation)
        parts.append(part)
    return replace(opened.project, parts=tuple(parts))


def _changes(opened: Opened, after: Project) -> tuple[OutcomeChange, ...]:
    chain = build_chain(opened.project, opened.shapes)
    return outcome_changes(run_forecast(chain), run_forecast(with_poses(chain, after)))


def _doubtful(machine: Machine, figures: tuple[float, ...]) -> list[tuple[str, str]]:
    """Figures that are not told from zero, and figures without uncertainty."""
    weak = [
        name
        for name, value in zip(FIGURES, figures, strict=True)
        if value and abs(value) < _SURE * machine.error.figures[name].std
    ]
    warnings = []
    if weak:
        warnings.append(
            (
                f"{', '.join(weak)}: less than {_SURE:g} standard uncertainties from 0, so that correcting may as well "
                "spoil",
                "measure the machine better first, over longer lengths",
            )
        )
    exact = [name for name in machine.error.exact if figures[FIGURES.index(name)]]
    if exact:
        warnings.append(
            (
                f"{', '.join(exact)} stated without std: the forecast takes the correction for perfect, which none is",
                "state std in [machine.error]",
            )
        )
    return warnings
