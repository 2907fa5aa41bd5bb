"""The command that enters prints in the ledger."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from dryfit.cli.options import JsonFlag, ProjectOption
from dryfit.cli.show import progress, refusing, show, show_json


def printed(
    part: Annotated[
        str | None, typer.Argument(metavar="[PART]", help="Part that was printed; none: list all prints.")
    ] = None,
    project: ProjectOption = Path(),
    result: Annotated[
        str | None, typer.Option(metavar="WORD", help="What became of it: good, failed or stopped.")
    ] = None,
    machine: Annotated[
        str | None, typer.Option(metavar="ID", help="Machine, instead of the document's.")
    ] = None,
    material: Annotated[
        str | None, typer.Option(metavar="ID", help="Material, instead of the document's.")
    ] = None,
    bed: Annotated[
        str | None, typer.Option(metavar="X,Y,Z", help="Pose in degrees, instead of the document's.")
    ] = None,
    uncorrected: Annotated[
        bool,
        typer.Option("--uncorrected", help="The mesh itself was printed, not the corrected copy."),
    ] = False,
    release: Annotated[
        str | None, typer.Option(metavar="LETTER", help="Revision that it was printed from.")
    ] = None,
    spool: Annotated[str | None, typer.Option(metavar="NAME", help="Spool of filament.")] = None,
    from_: Annotated[
        str | None, typer.Option("--from", metavar="TIME", help="Start: 2026-11-18 or 2026-11-18T14:30.")
    ] = None,
    to: Annotated[str | None, typer.Option(metavar="TIME", help="End, likewise.")] = None,
    failed_at: Annotated[
        float | None, typer.Option(metavar="MM", help="Height at which it failed or was stopped.")
    ] = None,
    because: Annotated[str | None, typer.Option(metavar="TEXT", help="Why it failed or was stopped.")] = None,
    hours: Annotated[float | None, typer.Option(metavar="H", help="Hours that it took.")] = None,
    grams: Annotated[float | None, typer.Option(metavar="G", help="Grams that it took.")] = None,
    note: Annotated[str | None, typer.Option(metavar="TEXT", help="Anything else.")] = None,
    correct: Annotated[
        int | None, typer.Option(metavar="RECORD", help="Put right what was entered of this print.")
    ] = None,
    withdraw: Annotated[int | None, typer.Option(metavar="RECORD", help="Take this print back.")] = None,
    by: Annotated[str, typer.Option(metavar="NAME", help="Who enters it.")] = "",
    json: JsonFlag = False,
) -> None:
    """Enter what came off the bed, or list it."""
    with refusing(json):
        from dryfit.app.prints import (
            Answers,
            PrintRefused,
            correct_print,
            enter_print,
            list_prints,
            read_angles,
            withdraw_print,
        )
        from dryfit.view.prints import prints_blocks, prints_plain

        answers = Answers(
            result=result,
            machine=machine,
            material=material,
            bed=None if bed is None else read_angles(bed),
            release=release,
            spool=spool,
            started=from_,
            ended=to,
            failed_at_mm=failed_at,
            because=because,
            hours=hours,
            grams=grams,
            note=note,
            is_uncorrected=uncorrected,
            by=by,
        )
        reading = progress("reading meshes")
        given = [
            name
            for name, value in (("PART", part), ("--correct", correct), ("--withdraw", withdraw))
            if value is not None
        ]
        if len(given) > 1:
            do = "give one of them: a correction knows its part by the record"
            raise PrintRefused(f"{' and '.join(given)} are given together", "the command line", do)
        if correct is not None:
            report = correct_print(project, correct, answers, reading)
        elif withdraw is not None:
            report = withdraw_print(project, withdraw, by, reading)
        elif part is not None:
            report = enter_print(project, part, answers, reading)
        elif answers != Answers(by=by):
            do = "dryfit printed PART --result good; without anything it lists"
            raise PrintRefused("no part is named", "the command line", do)
        else:
            report = list_prints(project, reading)
        if json:
            show_json(prints_plain(report))
        else:
            show(prints_blocks(report))
