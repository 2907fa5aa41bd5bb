"""The command that says what to do with a part that is off."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from dryfit.cli.options import JsonFlag, ProjectPath
from dryfit.cli.show import finish, progress, refusing, show, show_json


def remedy(
    part: Annotated[str, typer.Argument(metavar="PART", help="Printed part that is off.")],
    project: ProjectPath = Path(),
    take: Annotated[int | None, typer.Option(metavar="N", help="Decide on this one of the list.")] = None,
    because: Annotated[str, typer.Option(metavar="TEXT", help="Why, with --take.")] = "",
    done: Annotated[
        int | None, typer.Option(metavar="RECORD", help="Enter that this remedy was done.")
    ] = None,
    amount: Annotated[
        list[float] | None,
        typer.Option(metavar="MM", help="With --done: what was really taken off (negative: added), evenly."),
    ] = None,
    std: Annotated[
        float | None, typer.Option(metavar="MM", help="With --done: how uncertain that is.")
    ] = None,
    write: Annotated[bool, typer.Option("--write", help="With --done: change project.toml too.")] = False,
    decided: Annotated[bool, typer.Option("--decided", help="List what was decided.")] = False,
    withdraw: Annotated[
        int | None, typer.Option(metavar="RECORD", help="Take a decision or handwork back.")
    ] = None,
    sand_most: Annotated[float, typer.Option(metavar="MM", help="Deepest sanding.")] = 1.0,
    shim_most: Annotated[float, typer.Option(metavar="MM", help="Thickest shim.")] = 1.5,
    length_most: Annotated[
        float, typer.Option(metavar="MM", help="Most that a part to come is lengthened.")
    ] = 3.0,
    step: Annotated[float, typer.Option(metavar="MM", help="Steps in which you can work.")] = 0.05,
    hand_std: Annotated[
        float, typer.Option(metavar="MM", help="How uncertain sanding and shimming is.")
    ] = 0.05,
    minutes: Annotated[
        list[str] | None, typer.Option(metavar="WORK=MIN", help="Minutes of work, e.g. sand=30. Repeatable.")
    ] = None,
    by: Annotated[str, typer.Option(metavar="NAME", help="Who decides.")] = "",
    json: JsonFlag = False,
) -> None:
    """What to do with a part that is off, the cheapest first."""
    with refusing(json):
        from dryfit.app.remedy_report import RemedyOptions, RemedyRefused
        from dryfit.app.remedying import (
            do_remedy,
            list_remedies,
            list_taken,
            read_work_minutes,
            take_remedy,
            withdraw_remedy,
        )
        from dryfit.view.blocks import Sentence
        from dryfit.view.remedies import (
            decided_blocks,
            decided_plain,
            remedies_plain,
            remedy_blocks,
            taken_blocks,
            taken_plain,
        )

        asked = [
            name
            for name, value in (
                ("--take", take),
                ("--done", done),
                ("--withdraw", withdraw),
                ("--decided", decided or None),
            )
            if value is not None
        ]
        if len(asked) > 1:
            raise RemedyRefused(f"{' and '.join(asked)} are given together", "the command line", "give one")
        options = RemedyOptions(
            sand_most_mm=sand_most,
            shim_most_mm=shim_most,
            length_most_mm=length_most,
            step_mm=step,
            hand_std_mm=hand_std,
            minutes=read_work_minutes(minutes or ()),
        )
        if withdraw is not None:
            number = withdraw_remedy(project, withdraw, by)
            if json:
                show_json({"withdrawn": withdraw, "record": number})
            else:
                show([Sentence(f"Taken back: record {withdraw}.", mark=True)])
            return
        if decided:
            held = list_taken(project, part)
            if json:
                show_json({"part": part, "taken": [taken_plain(item) for item in held]})
            else:
                show(taken_blocks(part, held))
            return
        if take is not None or done is not None:
            if take is not None:
                made = take_remedy(project, part, take, because, by, options, progress("reading meshes"))
            else:
                made = do_remedy(project, part, done or 0, amount or (), std, write, by)
            if json:
                show_json(decided_plain(made))
            else:
                show(decided_blocks(made))
            return
        report = list_remedies(project, part, options, progress("reading meshes"))
        if json:
            show_json(remedies_plain(report))
        else:
            show(remedy_blocks(report))
    finish(not report.at_risk or report.count_meeting > 0)
