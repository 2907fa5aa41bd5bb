"""How should the parts lie on the bed, and the locators on their faces, so that errors cancel?"""

from __future__ import annotations

from collections.abc import Callable, Collection
from dataclasses import replace

from dryfit.app.forecast import Chain, run_forecast
from dryfit.app.notes import machine_notes
from dryfit.app.orient_layouts import (
    Layable,
    chain_of_layouts,
    layable_joints,
    search_layouts,
    stated_layout,
    with_layouts,
)
from dryfit.app.orient_loss import Judged, exact_loss, judge_lines
from dryfit.app.orient_poses import STATED, pose_spaces
from dryfit.app.orient_problem import Problem, build_problem
from dryfit.app.orient_search import Found, Search, best_exactly, find_poses, least_gain
from dryfit.app.orient_words import explain_layout, explain_poses
from dryfit.base.arrays import Array
from dryfit.base.errors import ComputationRefused, ReferenceUnknown
from dryfit.model.forecast import ForecastReport
from dryfit.model.orientation import (
    CharacteristicChange,
    LayoutChange,
    OrientOptions,
    OrientReport,
)
from dryfit.model.project import Project

Progress = Callable[[int, int], None]


class _Steps:
    """Counts steps for the progress display; the total is an upper estimate until the end."""

    def __init__(self, progress: Progress | None, total: int) -> None:
        self.progress, self.total, self.done = progress, total, 0

    def tick(self) -> None:
        self.done = min(self.done + 1, self.total - 1)
        if self.progress is not None:
            self.progress(self.done, self.total)

    def finish(self) -> None:
        if self.progress is not None:
            self.progress(self.total, self.total)


def orient(
    chain: Chain, options: OrientOptions | None = None, progress: Progress | None = None
) -> OrientReport:
    """Bed poses, and where asked locator layouts, of least expected loss over all characteristics.

    progress : called with (done, total); what it raises stops the search, which writes nothing
    The stated poses are among those compared, so that the answer is never worse than they are, unless a
    stated pose does not fit its machine.
    Raises ComputationRefused where nothing can be judged or the grid does not divide the full turn, and
    ReferenceUnknown where a part that is to be kept is not in the project.
    """
    wanted = options or OrientOptions()
    _check(chain.project, wanted)
    judged = judge_lines(chain.project, chain.structure)
    spaces = pose_spaces(chain.project, chain.shapes, wanted.keep_parts)
    stated_loss = exact_loss(chain, judged).losses
    steps = _Steps(progress, _estimate_steps(chain, wanted))
    problem = build_problem(chain, judged, spaces)
    unit = least_gain(float(stated_loss.sum()), problem.constant)
    search = Search(chain, judged, spaces, wanted, unit, steps.tick)
    layable = layable_joints(chain, wanted)
    report = _report(search, layable, problem, _find(search, layable, problem), stated_loss)
    steps.finish()
    return report


def _check(project: Project, options: OrientOptions) -> None:
    turns = 360.0 / options.grid_deg if options.grid_deg > 0 else 0.0
    if turns < 1 or abs(turns - round(turns)) > 1e-9:
        raise ComputationRefused(
            f"a grid of {options.grid_deg:g} degrees does not divide the full turn",
            "grid_deg",
            "state a divisor of 360, such as 15, 30 or 90",
        )
    copies = [part.id for part in project.parts if part.compensation is not None]
    if copies:
        raise ComputationRefused(
            f"corrected copies are printed of {len(copies)} parts, made for the poses that these have",
            "[[part]].compensated",
            "let them go first (dryfit compensate MACHINE --undo), turn the parts, then make the copies again",
        )
    known = {part.id for part in project.parts}
    for name in options.keep_parts:
        if name not in known:
            raise ReferenceUnknown(f'there is no part "{name}"', "keep_parts", "name parts of the project")


def _estimate_steps(chain: Chain, options: OrientOptions) -> int:
    one_search = options.random_starts + 30
    layouts = 5 * one_search + 3 * len(chain.structure.joint_rows) if options.with_locators else 0
    return one_search + layouts


def _find(search: Search, layable: Layable, problem: Problem) -> Found:
    tried = [search.stated, *find_poses(search, problem)]
    best = best_exactly(search, search.chain, problem, {}, tried)
    return search_layouts(search, layable, best)


def _report(
    search: Search, layable: Layable, first: Problem, best: Found, stated_loss: Array
) -> OrientReport:
    chain, judged = search.chain, search.judged
    before, after = run_forecast(chain), run_forecast(best.chain)
    loss_after = exact_loss(best.chain, judged).losses
    last = build_problem(best.chain, judged, search.spaces) if best.layouts else first
    return OrientReport(
        project=chain.project.name,
        parts=explain_poses(chain, judged, search.spaces, last, best.poses),
        joints=_layout_changes(search, layable, best),
        characteristics=_changes(judged, before, after, stated_loss, loss_after),
        loss_before=float(stated_loss.sum()),
        loss_after=float(loss_after.sum()),
        left_out=(*judged.left_out, *_not_changed(search), *layable.left_out),
        assumptions=(*machine_notes(chain.project), *chain.structure.notes),
    )


def _changes(
    judged: Judged, before: ForecastReport, after: ForecastReport, loss_before: Array, loss_after: Array
) -> tuple[CharacteristicChange, ...]:
    changes = []
    for index, (old, new) in enumerate(zip(before.characteristics, after.characteristics, strict=True)):
        mine = judged.characteristic == index
        changes.append(
            CharacteristicChange(
                id=old.id,
                unit=old.unit,
                predicted_before=old.predicted,
                predicted_after=new.predicted,
                std_before=old.std,
                std_after=new.std,
                p_out_before=old.p_out,
                p_out_after=new.p_out,
                loss_before=float(loss_before[mine].sum()) if mine.any() else None,
                loss_after=float(loss_after[mine].sum()) if mine.any() else None,
            )
        )
    return tuple(changes)


def _layout_changes(search: Search, layable: Layable, best: Found) -> tuple[LayoutChange, ...]:
    """Each changed joint, with what would be if it alone had stayed as stated."""
    judged, project = search.judged, search.chain.project
    chosen = exact_loss(best.chain, judged)
    changes = []
    for name, axis in best.layouts.items():
        others = {other: layout for other, layout in best.layouts.items() if other != name}
        back = exact_loss(chain_of_layouts(search, layable, others, best.poses), judged)
        search.tick()
        line = int((back.losses - chosen.losses).argmax())
        wanted = project.characteristics[int(judged.characteristic[line])]
        pair_back, pair = ((float(item.mean[line]), float(item.std[line])) for item in (back, chosen))
        reason = explain_layout(wanted.id, "degrees" if wanted.unit == "deg" else "mm", pair_back, pair)
        changes.append(LayoutChange(name, stated_layout(project.joint(name)), axis, reason))
    return tuple(changes)


def _not_changed(search: Search) -> tuple[str, ...]:
    """What could not be changed, or had to be, in words."""
    words = []
    for space in search.spaces:
        if space.fits(STATED):
            continue
        size = " x ".join(f"{extent:.1f}" for extent in space.extents_mm(STATED))
        room = " x ".join(f"{extent:g}" for extent in space.room_mm)
        words.append(
            f'"{space.part.id}" does not fit its machine as stated ({size} mm in a build volume of {room} mm)'
        )
    kept = [space.part.id for space in search.spaces if space.is_kept]
    if kept:
        words.append(f"kept as stated, as asked: {', '.join(kept)}")
    return tuple(words)


def apply_orientation(project: Project, report: OrientReport) -> Project:
    """The project with the reported changes made.

    Raises ReferenceUnknown for a part or joint that is not in the project, and ComputationRefused where the
    project no longer states what the search started from.
    """
    poses = {change.part: change for change in report.parts}
    _match(poses.keys(), [part.id for part in project.parts], "part")
    _match([change.joint for change in report.joints], [joint.id for joint in project.joints], "joint")
    for part in project.parts:
        change = poses.get(part.id)
        if change is not None and part.bed != change.stated:
            raise _stale(f'part "{part.id}"')
    for joint_change in report.joints:
        if stated_layout(project.joint(joint_change.joint)) != joint_change.stated:
            raise _stale(f'joint "{joint_change.joint}"')
    parts = tuple(
        replace(part, bed=poses[part.id].chosen, bed_stated=True) if part.id in poses else part
        for part in project.parts
    )
    layouts = {change.joint: change.chosen for change in report.joints}
    return with_layouts(replace(project, parts=parts), layouts)


def _match(named: Collection[str], known: Collection[str], noun: str) -> None:
    for name in named:
        if name not in known:
            raise ReferenceUnknown(
                f'there is no {noun} "{name}" in the project', "orientation report", "run the search again"
            )


def _stale(where: str) -> ComputationRefused:
    return ComputationRefused("the document has changed since the search", where, "run the search again")
