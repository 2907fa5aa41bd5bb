"""The command that adjusts the evidence into a dimension schedule."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from dryfit.cli.options import JsonFlag, ProjectPath
from dryfit.cli.show import finish, refusing, show, show_json

Ids = list[str] | None


def schedule(
    project: ProjectPath = Path(),
    without: Annotated[
        Ids,
        typer.Option(metavar="ID", help="Leave out an observation or relation from now on; may be repeated."),
    ] = None,
    keep: Annotated[
        Ids, typer.Option(metavar="ID", help="Keep a suspect in, knowingly; may be repeated.")
    ] = None,
    restore: Annotated[
        Ids, typer.Option(metavar="ID", help="Take such a decision back; may be repeated.")
    ] = None,
    because: Annotated[str, typer.Option(metavar="TEXT", help="Why; recorded with the decision.")] = "",
    what_next: Annotated[
        bool, typer.Option("--what-next", help="Rank new measurements by what they would be worth.")
    ] = False,
    next_std: Annotated[
        str, typer.Option(metavar="LENGTH", help="Std of the ranked measurements, such as 5mm, at full size.")
    ] = "",
    unrecorded: Annotated[
        bool, typer.Option("--unrecorded", help="Keep no record of this schedule in the ledger.")
    ] = False,
    brief: Annotated[bool, typer.Option("--brief", help="Only the schedule and what is doubtful.")] = False,
    json: JsonFlag = False,
) -> None:
    """How large is everything, how sure, from what? Adjusts all evidence into one schedule."""
    with refusing(json):
        from dryfit.app.photo_sizes import project_evidence
        from dryfit.app.schedule import schedule_folder
        from dryfit.app.schedule_request import read_options
        from dryfit.view.photo_sizes import not_used_blocks, not_used_plain
        from dryfit.view.schedule import schedule_blocks
        from dryfit.view.schedule_plain import schedule_plain

        options = read_options(without, keep, restore, because, what_next, next_std, unrecorded)
        photographs = project_evidence(project)
        report = schedule_folder(project, options, photographs.extras)
        if json:
            show_json(schedule_plain(report) | not_used_plain(photographs))
        else:
            show([*schedule_blocks(report, brief), *not_used_blocks(photographs.not_used)])
    finish(report.state != "stop")
