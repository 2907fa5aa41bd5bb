"""The command that says what to measure on printed parts."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from dryfit.cli.options import JsonFlag, ProjectPath
from dryfit.cli.show import finish, progress, refusing, show, show_json


def inspect(
    project: ProjectPath = Path(),
    part: Annotated[
        list[str] | None, typer.Option("--part", metavar="ID", help="Only this part. Repeatable.")
    ] = None,
    readings: Annotated[int, typer.Option(min=1, max=40, help="Of each part, at most.")] = 4,
    minutes: Annotated[
        list[str] | None,
        typer.Option(metavar="INSTRUMENT=MIN", help="Minutes of one reading, e.g. tape-3m=5. Repeatable."),
    ] = None,
    json: JsonFlag = False,
) -> None:
    """What to measure on printed parts, the most telling first."""
    with refusing(json):
        from dryfit.app.inspecting import InspectOptions, inspect_project, read_minutes
        from dryfit.view.inspection import inspection_blocks, inspection_plain, is_accepted

        options = InspectOptions(tuple(part or ()), readings, read_minutes(minutes or ()))
        plan = inspect_project(project, options, progress("reading meshes"))
        if json:
            show_json(inspection_plain(plan))
        else:
            show(inspection_blocks(plan))
    finish(is_accepted(plan))
