"""The command that leads through a gauge study."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from dryfit.cli.dialogue import Dialogue
from dryfit.cli.options import JsonFlag, ProjectPath
from dryfit.cli.show import finish, refusing, show, show_json

if TYPE_CHECKING:
    from dryfit.app.gauge import GaugeReport
    from dryfit.app.gauge_desk import GaugeDesk, StudyOptions
    from dryfit.app.gauge_records import Place

STOPPED = 130


def gauge(
    instrument: Annotated[str, typer.Argument(metavar="INSTRUMENT", help="Such as caliper-300.")],
    project: ProjectPath = Path(),
    csv: Annotated[
        Path | None,
        typer.Option("--csv", metavar="FILE", help="Read a table: part, value_mm, and person, trial."),
    ] = None,
    confirm: Annotated[
        str | None,
        typer.Option(metavar="LINES", help="Lines of the table whose doubtful values are meant: 4,7-9."),
    ] = None,
    parts: Annotated[int | None, typer.Option(help="How many lengths; 5 unless stated.")] = None,
    trials: Annotated[int | None, typer.Option(help="How often each is read; 3 unless stated.")] = None,
    people: Annotated[
        str | None, typer.Option(metavar="NAMES", help="Who reads, where several do: ann,ben.")
    ] = None,
    decide: Annotated[
        float | None,
        typer.Option(metavar="MM", help="Width of the limits to be decided; else the project's narrowest."),
    ] = None,
    anew: Annotated[bool, typer.Option("--anew", help="Begin anew although a study was left.")] = False,
    json: JsonFlag = False,
) -> None:
    """How well does an instrument repeat in your hands? Leads through a small study."""
    with refusing(json):
        from dryfit.app.gauge_csv import gauge_csv
        from dryfit.app.gauge_desk import StudyOptions

        _refuse_mixture(csv, confirm, parts, trials, people, anew)
        if csv is not None:
            report: GaugeReport | None = gauge_csv(project, instrument, csv, decide, confirm)
        else:
            names = tuple(name.strip() for name in people.split(",")) if people is not None else ()
            options = StudyOptions(parts, trials, names, decide)
            report = _converse(project, instrument, options, anew, Dialogue(json), json)
        if report is not None:
            _show_report(report, json)
    finish(report is None or report.state != "stop")


def _show_report(report: GaugeReport, as_json: bool) -> None:
    from dryfit.view.gauge import gauge_blocks, gauge_plain

    if as_json:
        show_json(gauge_plain(report))
    else:
        show(gauge_blocks(report))


def _refuse_mixture(
    csv: Path | None,
    confirm: str | None,
    parts: int | None,
    trials: int | None,
    people: str | None,
    anew: bool,
) -> None:
    """A table states itself what was read."""
    from dryfit.app.reading_checks import ReadingRefused

    where = "the command line"
    if csv is not None and (parts is not None or trials is not None or people is not None or anew):
        what = "--parts, --trials, --people and --anew are for a study at the terminal"
        raise ReadingRefused(what, where, "leave them out: the table holds parts, people and trials")
    if csv is None and confirm is not None:
        raise ReadingRefused("--confirm is for a table", where, "add --csv FILE, or leave it out")


def _converse(
    project: Path, instrument: str, options: StudyOptions, anew: bool, talk: Dialogue, as_json: bool
) -> GaugeReport | None:
    """The study of readings one at a time; None where it is left before its end."""
    from dryfit.app.gauge_desk import open_gauge_desk
    from dryfit.view.gauge import left_line, left_plain, opening_lines

    with open_gauge_desk(project, instrument, options, anew) as desk:
        try:
            talk.say(opening_lines(desk))
            is_complete = _ask_all(desk, talk)
        except KeyboardInterrupt as error:
            print(f"\ndryfit: {left_line(desk)}", file=sys.stderr, flush=True)
            raise typer.Exit(STOPPED) from error
        if is_complete:
            return desk.finish(options.decide_mm)
        talk.say(left_line(desk))
        if as_json:
            show_json(left_plain(desk))
        return None


def _ask_all(desk: GaugeDesk, talk: Dialogue) -> bool:
    """Ask for every reading that is missing; whether the study is complete then."""
    from dryfit.base.errors import DryfitError
    from dryfit.view.gauge import HELP, prompt, undone_line
    from dryfit.view.readings import refused_line

    while (place := desk.next_place()) is not None:
        answer = talk.ask(prompt(desk, place))
        if answer is None or answer.lower() in ("leave", "quit", "exit"):
            return False
        try:
            if answer.lower() == "undo":
                talk.say(undone_line(desk.undo()))
            elif answer.lower() in ("", "help", "?"):
                talk.say(HELP)
            else:
                _take(desk, place, answer, talk)
        except DryfitError as error:
            talk.say(refused_line(error))
    return True


def _take(desk: GaugeDesk, place: Place, text: str, talk: Dialogue) -> None:
    from dryfit.app.reading_checks import read_value
    from dryfit.view.gauge import taken_line
    from dryfit.view.readings import CONFIRM, reason_lines

    value = read_value(text, "reading")
    while reasons := desk.query(place, value):
        talk.say(reason_lines(value, reasons))
        answer = talk.ask(CONFIRM)
        if answer is None or answer.lower() in ("", "no", "n"):
            return
        if answer.lower() in ("yes", "y"):
            break
        value = read_value(answer, "reading")
    talk.say(taken_line(desk.record_value(place, value)))
