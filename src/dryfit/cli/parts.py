"""Commands about the meshes of the parts."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from dryfit.cli.options import JsonFlag, ProjectPath
from dryfit.cli.show import finish, progress, refusing, show, show_json


def parts(
    project: ProjectPath = Path(),
    brief: Annotated[bool, typer.Option("--brief", help="Only what is not clear.")] = False,
    fresh: Annotated[
        bool, typer.Option("--fresh", help="Measure everything anew; use no kept result.")
    ] = False,
    json: JsonFlag = False,
) -> None:
    """Does every mesh say what the drawing says?"""
    with refusing(json):
        from dryfit.app.checking import check_folder
        from dryfit.view.parts import parts_blocks, parts_plain

        report = check_folder(project, fresh, progress("checking the parts"))
    if json:
        show_json(parts_plain(report))
    else:
        show(parts_blocks(report, brief))
    finish(report.state != "stop")
