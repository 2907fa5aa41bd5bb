"""The command that estimates a machine's figures from readings."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from dryfit.cli.options import JsonFlag, ProjectPath
from dryfit.cli.show import finish, progress, refusing, show, show_json


def qualify(
    machine: Annotated[str, typer.Argument(metavar="MACHINE", help="Machine whose artefact was read.")],
    project: ProjectPath = Path(),
    without: Annotated[
        list[int] | None,
        typer.Option(metavar="RECORD", help="Leave out a reading, by its ledger record; may be repeated."),
    ] = None,
    because: Annotated[str, typer.Option(metavar="TEXT", help="Why it is left out.")] = "",
    keep: Annotated[bool, typer.Option("--keep", help="Keep suspect readings in, knowingly.")] = False,
    look: Annotated[bool, typer.Option("--look", help="Only show the result; record nothing.")] = False,
    brief: Annotated[bool, typer.Option("--brief", help="Only the outcome.")] = False,
    json: JsonFlag = False,
) -> None:
    """What does the machine truly print? Its error figures, from readings of a test artefact."""
    with refusing(json):
        from dryfit.app.qualify import Choices, qualify_machine
        from dryfit.view.qualify import qualify_blocks, qualify_plain

        choices = Choices(tuple(without or ()), because, keep, not look)
        report = qualify_machine(project, machine, choices, progress("reading the project"))
        if json:
            show_json(qualify_plain(report))
        else:
            show(qualify_blocks(report, brief))
    finish(not report.suspects or report.is_kept)
