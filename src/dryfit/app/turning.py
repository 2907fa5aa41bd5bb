"""Search bed poses and locator layouts of a project folder, and write them when told."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

from dryfit.app.loading import open_project
from dryfit.app.orient import orient
from dryfit.app.prediction import chain_of
from dryfit.model.orientation import OrientOptions, OrientReport
from dryfit.store.edit import DocumentEditor

Progress = Callable[[int, int], None]


@dataclass(frozen=True, slots=True)
class Turned:
    """The outcome of a search.

    risk     of the project, above which a characteristic counts as failing
    diff     the change of the document
    written  whether it was made
    """

    report: OrientReport
    risk: float
    diff: str
    written: bool


def turn_parts(
    path: Path,
    options: OrientOptions,
    what_if: Sequence[str] = (),
    write: bool = False,
    progress: Progress | None = None,
) -> Turned:
    """Search the poses of least expected loss; with write, put them into the document.

    what_if : departures under which the search is made; they themselves are never written
    Raises what opening and the search raise, NotWritten where the document cannot be saved.
    """
    opened = open_project(path)
    report = orient(chain_of(opened, what_if), options, progress)
    editor = DocumentEditor(opened.document.path)
    for part in report.parts:
        editor.set_value(("part", part.part, "bed"), {"euler_xyz_deg": list(part.chosen.euler_xyz_deg)})
    for joint in report.joints:
        if joint.stated == "stated points":
            editor.remove_value(("joint", joint.joint, "locator_points_mm"))
        editor.set_value(("joint", joint.joint, "locator_axis"), joint.chosen)
    diff = editor.diff()
    if write and diff:
        editor.save()
    return Turned(report, opened.project.risk, diff, bool(write and diff))
