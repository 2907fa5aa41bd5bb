"""The command that writes corrected copies of meshes for a machine."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from dryfit.cli.options import JsonFlag, ProjectPath
from dryfit.cli.show import finish, progress, refusing, show, show_json


def compensate(
    machine: Annotated[str, typer.Argument(metavar="MACHINE", help="Machine whose faults are made up for.")],
    project: ProjectPath = Path(),
    part: Annotated[
        list[str] | None, typer.Option(metavar="ID", help="Only this part. Repeatable; default: all on it.")
    ] = None,
    offset: Annotated[
        bool, typer.Option("--offset", help="Take boundary offset and first-layer flare off as well.")
    ] = False,
    with_shrinkage: Annotated[
        bool, typer.Option("--with-shrinkage", help="Make up for the material's shrinkage as well.")
    ] = False,
    write: Annotated[
        bool, typer.Option("--write", help="Write the files and name them in project.toml.")
    ] = False,
    undo: Annotated[
        bool, typer.Option("--undo", help="Print the meshes themselves again; the copies stay.")
    ] = False,
    drawing: Annotated[
        Path | None, typer.Option(metavar="FILE.svg", help="Draw the signs of the machine's figures.")
    ] = None,
    json: JsonFlag = False,
) -> None:
    """Make corrected copies that print true on this machine."""
    with refusing(json):
        if undo:
            from dryfit.app.compensating import undo_compensation
            from dryfit.view.compensation import undone_blocks, undone_plain

            parts = undo_compensation(project, machine, part or ())
            if json:
                show_json(undone_plain(machine, parts))
            else:
                show(undone_blocks(machine, parts))
            finish(True)
        from dryfit.app.compensating import CopyOptions, compensate_parts
        from dryfit.view.compensation import compensation_blocks, compensation_plain

        options = CopyOptions(offset, with_shrinkage)
        report = compensate_parts(project, machine, part or (), options, write, progress("correcting"))
        if drawing is not None:
            from dryfit.app.picture import save_picture
            from dryfit.view.machine_signs import signs_svg

            save_picture(drawing, signs_svg(report.machine, report.skews_deg, report.skews_std_deg))
        if json:
            show_json(compensation_plain(report))
        else:
            show(compensation_blocks(report))
        is_clear = report.state not in ("stop", "not checked")
    finish(is_clear)
