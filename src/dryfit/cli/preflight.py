"""The command that runs the routine before a long print."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from dryfit.cli.dialogue import Dialogue
from dryfit.cli.options import JsonFlag, ProjectPath
from dryfit.cli.show import finish, progress, refusing, show, show_json

if TYPE_CHECKING:
    from dryfit.app.preflight_input import Entry

STOPPED = 130
_GAP = "GAP"


def preflight(
    machine: Annotated[str, typer.Argument(metavar="MACHINE", help="Machine that is to print.")],
    project: ProjectPath = Path(),
    hours: Annotated[str | None, typer.Option(help="Hour meter of the machine.")] = None,
    height: Annotated[
        str | None, typer.Option(metavar="MM", help="Height of the gaps over the stock.")
    ] = None,
    xz: Annotated[
        str | None,
        typer.Option(metavar=_GAP, help="Gap with the stock along X, blade up: 0.15 or '0.15 -x'."),
    ] = None,
    yz: Annotated[
        str | None, typer.Option(metavar=_GAP, help="Gap with the stock along Y, blade up.")
    ] = None,
    xy: Annotated[
        str | None, typer.Option(metavar=_GAP, help="Gap with the stock along X, blade along Y.")
    ] = None,
    square: Annotated[str | None, typer.Option(metavar="ID", help="Instrument that was held to it.")] = None,
    against: Annotated[str | None, typer.Option(help="What it was held to: upright or print.")] = None,
    ok: Annotated[
        str | None, typer.Option(metavar="ITEMS", help="In order: fasteners,belts,bed,nozzle,dry, or all.")
    ] = None,
    wrong: Annotated[
        list[str] | None, typer.Option(metavar="ITEM=WORDS", help="Not in order, in words. Repeatable.")
    ] = None,
    filament: Annotated[str | None, typer.Option(metavar="G", help="Filament on the spool, in g.")] = None,
    part: Annotated[str | None, typer.Option(metavar="ID", help="Part that is printed next.")] = None,
    adjusted: Annotated[
        str | None, typer.Option(metavar="WORDS", help="What was turned or tightened before these readings.")
    ] = None,
    by: Annotated[str | None, typer.Option(metavar="NAME", help="Who looked.")] = None,
    at: Annotated[str | None, typer.Option(metavar="DAY", help="When, where it was not now.")] = None,
    file: Annotated[
        Path | None, typer.Option("--file", metavar="FILE", help="Checks from a CSV or JSON file.")
    ] = None,
    again: Annotated[bool, typer.Option("--again", help="Take a file although it was read before.")] = False,
    correct: Annotated[
        int | None, typer.Option(metavar="RECORD", help="These answers instead of a recorded check.")
    ] = None,
    withdraw: Annotated[
        int | None, typer.Option(metavar="RECORD", help="Take a recorded check back.")
    ] = None,
    look: Annotated[bool, typer.Option("--look", help="Only show what is recorded.")] = False,
    json: JsonFlag = False,
) -> None:
    """Is the machine fit for a long print? Square, fasteners, belts, bed, nozzle, filament; charts and drift."""
    with refusing(json):
        from dryfit.app.preflight import look_preflight, take_preflight, withdraw_preflight
        from dryfit.app.preflight_input import read_entry, read_file
        from dryfit.view.preflight import preflight_blocks, preflight_plain

        cells = _cells(
            hours=hours, height_mm=height, xz_gap_mm=xz, yz_gap_mm=yz, xy_gap_mm=xy, square=square,
            against=against, filament_g=filament, part=part, adjusted=adjusted, by=by, at=at,
        )  # fmt: skip
        cells.update(_items(ok, wrong))
        _refuse_mixture(bool(cells), file, withdraw, look, correct)
        told = progress("reading meshes")
        if look:
            report = look_preflight(project, machine, told)
        elif withdraw is not None:
            report = withdraw_preflight(project, machine, withdraw, by or "", told)
        elif file is not None:
            report = take_preflight(project, machine, read_file(file), None, again, told)
        elif cells:
            entry = read_entry(cells, "the command line")
            report = take_preflight(project, machine, [entry], correct, again, told)
        else:
            entry = _converse(project, machine, Dialogue(json))
            report = take_preflight(project, machine, [entry], correct, again, told)
        if json:
            show_json(preflight_plain(report))
        else:
            show(preflight_blocks(report))
    finish(report.state != "stop")


def _cells(**given: str | None) -> dict[str, str]:
    return {field: text for field, text in given.items() if text is not None}


def _items(ok: str | None, wrong: list[str] | None) -> dict[str, str]:
    """Answers to the lines of the routine out of --ok and --wrong."""
    from dryfit.app.preflight_input import known_item
    from dryfit.app.preflight_records import ITEMS

    named = list(ITEMS) if ok == "all" else [word for word in (ok or "").split(",") if word.strip()]
    cells = {known_item(word, "--ok"): "ok" for word in named}
    for text in wrong or ():
        item, _, words = text.partition("=")
        cells[known_item(item, "--wrong")] = words.strip() or "no"
    return cells


def _refuse_mixture(
    has_answers: bool, file: Path | None, withdraw: int | None, look: bool, correct: int | None
) -> None:
    """Answers, a file, a withdrawal or a look: one of them."""
    from dryfit.app.preflight_records import PreflightRefused

    ways = [
        name
        for name, given in (
            ("answers", has_answers and withdraw is None),
            ("--file", file is not None),
            ("--withdraw", withdraw is not None),
            ("--look", look),
        )
        if given
    ]
    if len(ways) > 1:
        raise PreflightRefused(
            f"{' and '.join(ways)} are given together", "the command line", "give one of them at a time"
        )
    if correct is not None and (file is not None or withdraw is not None or look):
        raise PreflightRefused(
            "--correct goes with the answers that are right", "the command line", "leave the other out"
        )


def _converse(project: Path, machine: str, talk: Dialogue) -> Entry:
    """The answers, one at a time; leaves without recording where the user does."""
    from dryfit.app.preflight import check_machine
    from dryfit.app.preflight_input import read_entry
    from dryfit.view.preflight import QUESTIONS, left_line, opening_lines, summary_line

    check_machine(project, machine)
    talk.say(opening_lines(machine))
    try:
        cells: dict[str, str] = {}
        for field, question in QUESTIONS:
            if field.endswith("_gap_mm") and "height_mm" not in cells:
                continue
            answer = _ask(talk, project, machine, field, question)
            if answer:
                cells[field] = answer
        entry = read_entry(cells, "the answers")
        said = talk.ask(summary_line(entry))
    except KeyboardInterrupt as error:
        print(f"\ndryfit: {left_line()}", file=sys.stderr, flush=True)
        raise typer.Exit(STOPPED) from error
    if said is None or said.lower() not in ("yes", "y"):
        _leave(talk)
    return entry


def _ask(talk: Dialogue, project: Path, machine: str, field: str, question: str) -> str:
    """An answer that can be right; "" where the line is left open."""
    from dryfit.app.preflight import check_known
    from dryfit.app.preflight_input import check_answer
    from dryfit.base.errors import DryfitError
    from dryfit.view.preflight import HELP
    from dryfit.view.readings import refused_line

    while True:
        answer = talk.ask(question)
        if answer is None or answer.lower() in ("leave", "quit", "exit"):
            _leave(talk)
            return ""
        if answer.lower() in ("help", "?"):
            talk.say(HELP)
            continue
        is_open = answer == "" or answer.lower() == "skip"
        if is_open and field != "hours":
            return ""
        try:
            check_answer(field, answer)
            check_known(project, machine, field, answer)
        except DryfitError as error:
            talk.say(refused_line(error))
            continue
        return answer


def _leave(talk: Dialogue) -> None:
    from dryfit.view.preflight import left_line

    talk.say(left_line())
    raise typer.Exit(0)
