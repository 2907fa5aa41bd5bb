"""The command that takes readings of a test artefact."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from dryfit.cli.dialogue import Dialogue
from dryfit.cli.options import JsonFlag, ProjectPath
from dryfit.cli.show import refusing, show, show_json

if TYPE_CHECKING:
    from dryfit.app.reading import ReadOptions, ReadReport
    from dryfit.app.reading_desk import ReadingDesk, Step, Taken
    from dryfit.model.artefact import Measure

STOPPED = 130


def read(
    machine: Annotated[
        str,
        typer.Argument(
            metavar="MACHINE|PART", help="Machine whose artefact is read, or printed part that is read."
        ),
    ],
    project: ProjectPath = Path(),
    csv: Annotated[
        Path | None,
        typer.Option(
            "--csv", metavar="FILE", help="Read a table: measure, value_mm, and instrument, temp_c, by."
        ),
    ] = None,
    confirm: Annotated[
        str | None,
        typer.Option(metavar="LINES", help="Lines of the table whose doubtful values are meant: 4,7-9."),
    ] = None,
    again: Annotated[
        bool, typer.Option("--again", help="Take a table although the same was read before.")
    ] = False,
    measure: Annotated[
        str | None,
        typer.Option(metavar="NUMBER", help="Read this measure alone; with --value one reading of it."),
    ] = None,
    value: Annotated[
        float | None, typer.Option(metavar="MM", help="The value, with --measure or --correct.")
    ] = None,
    correct: Annotated[
        int | None, typer.Option(metavar="RECORD", help="Record --value instead of this reading.")
    ] = None,
    withdraw: Annotated[int | None, typer.Option(metavar="RECORD", help="Take this reading back.")] = None,
    meant: Annotated[
        bool, typer.Option("--meant", help="The value is what the instrument shows, doubtful or not.")
    ] = False,
    instrument: Annotated[
        str | None, typer.Option(metavar="ID", help="Instrument, instead of the planned one.")
    ] = None,
    temp: Annotated[
        float | None, typer.Option(metavar="C", help="Temperature of body and instrument.")
    ] = None,
    by: Annotated[str, typer.Option(metavar="NAME", help="Who reads.")] = "",
    print_: Annotated[
        int | None,
        typer.Option(
            "--print", metavar="RECORD", help="Of a part: which print, instead of the last good one."
        ),
    ] = None,
    leave_out: Annotated[
        int | None,
        typer.Option(
            metavar="RECORD", help="Of a part: leave this reading out of the forecast; with --because."
        ),
    ] = None,
    count: Annotated[
        int | None, typer.Option(metavar="RECORD", help="Of a part: count a reading that was left out again.")
    ] = None,
    own_shape: Annotated[
        float | None,
        typer.Option(
            metavar="MM",
            help="Of a part: its print is off by about so much for a reason of its own, which its machine does not "
            "share; 0 takes that back; with --because.",
        ),
    ] = None,
    because: Annotated[
        str, typer.Option(metavar="TEXT", help="Why, with --leave-out, --count or --own-shape.")
    ] = "",
    json: JsonFlag = False,
) -> None:
    """Take readings of a machine's latest test artefact, or of a printed part."""
    status = 0
    with refusing(json):
        _refuse_mixture(
            csv, confirm, again, measure, value, correct, withdraw, meant, leave_out, count, own_shape
        )
        if own_shape is not None:
            _decide_own_shape(project, machine, own_shape, because, print_, by, json)
            raise typer.Exit(0)
        from dryfit.app.reading import (
            ReadOptions,
            correct_one,
            decide_one,
            read_file,
            read_one,
            withdraw_one,
        )

        decided = leave_out if leave_out is not None else count
        options = ReadOptions(instrument, temp, by, print_)
        if csv is not None:
            report = read_file(project, machine, csv, options, confirm, again)
        elif measure is not None and value is not None:
            report = read_one(project, machine, measure, value, options, meant)
        elif correct is not None and value is not None:
            report = correct_one(project, machine, correct, value, options, meant)
        elif withdraw is not None:
            report = withdraw_one(project, machine, withdraw, options)
        elif decided is not None:
            report = decide_one(project, machine, decided, leave_out is None, because, options)
        else:
            report, status = _converse(project, machine, options, Dialogue(json), measure)
        _show_report(report, json)
    raise typer.Exit(status)


def _decide_own_shape(
    project: Path, part: str, std_mm: float, because: str, made: int | None, by: str, as_json: bool
) -> None:
    from dryfit.app.reading import ReadOptions, decide_own_shape
    from dryfit.view.readings import own_shape_blocks, own_shape_plain

    report = decide_own_shape(project, part, std_mm, because, ReadOptions(print=made, by=by))
    if as_json:
        show_json(own_shape_plain(report))
    else:
        show(own_shape_blocks(report))


def _show_report(report: ReadReport, as_json: bool) -> None:
    from dryfit.view.readings import read_blocks, read_plain

    if as_json:
        show_json(read_plain(report))
    else:
        show(read_blocks(report))


def _refuse_mixture(
    csv: Path | None,
    confirm: str | None,
    again: bool,
    measure: str | None,
    value: float | None,
    correct: int | None,
    withdraw: int | None,
    meant: bool,
    leave_out: int | None,
    count: int | None,
    own_shape: float | None,
) -> None:
    """A file, one reading, a correction, a withdrawal or a conversation: one of them."""
    from dryfit.app.reading_checks import ReadingRefused

    where = "the command line"
    named = [
        name
        for name, given in (
            ("--csv", csv),
            ("--measure", measure),
            ("--correct", correct),
            ("--withdraw", withdraw),
            ("--leave-out", leave_out),
            ("--count", count),
            ("--own-shape", own_shape),
        )
        if given is not None
    ]
    if len(named) > 1:
        raise ReadingRefused(f"{' and '.join(named)} are given together", where, "give one of them at a time")
    if (value is not None and measure is None and correct is None) or (correct is not None and value is None):
        do = "one reading: --measure 7 --value 299.84; a correction: --correct 12 --value 299.84"
        raise ReadingRefused("a value and what it is of belong together", where, do)
    if csv is None and (confirm is not None or again):
        raise ReadingRefused(
            "--confirm and --again are for a table", where, "add --csv FILE, or leave them out"
        )
    if value is None and meant:
        raise ReadingRefused("--meant is for one value", where, "for lines of a table: --confirm LINES")


def _converse(
    project: Path, machine: str, options: ReadOptions, talk: Dialogue, measure: str | None
) -> tuple[ReadReport, int]:
    """Readings one at a time until the plan is read, or the user leaves; and the exit status."""
    from dryfit.app.reading import prepare_desk, report_on
    from dryfit.app.reading_desk import open_desk
    from dryfit.view.readings import left_line, opening_lines

    with open_desk(project, machine, options.print) as desk:
        prepare_desk(desk, options)
        sitting = _Sitting(desk, talk, None if measure is None else desk.find_measure(measure))
        status = 0
        try:
            talk.say(opening_lines(desk.place, *desk.progress(), desk.temp_c))
            sitting.run()
        except KeyboardInterrupt:
            print(f"\ndryfit: {left_line(sitting.taken)}", file=sys.stderr, flush=True)
            status = STOPPED
        return report_on(desk, sitting.taken), status


class _Sitting:
    """The loop of questions, of one measure until the user goes on, or of the plan.

    taken: readings recorded in it that were not taken back
    """

    def __init__(self, desk: ReadingDesk, talk: Dialogue, measure: Measure | None) -> None:
        self.desk = desk
        self.talk = talk
        self.taken: list[Taken] = []
        self._skipped: list[str] = []
        self._stays_at = measure
        self._gone_to = None if measure is None else desk.step_for(measure)

    def run(self) -> None:
        from dryfit.view.readings import last_lines, prompt, step_lines

        shown: tuple[str, int] | None = None
        while True:
            step = self._gone_to or self.desk.next_step(self._skipped)
            if step is None:
                return
            if shown is None or shown[0] != step.measure.id:
                self.talk.say(step_lines(step))
            elif shown[1] != step.done:
                self.talk.say(last_lines(step))
            shown = (step.measure.id, step.done)
            answer = self.talk.ask(prompt(step))
            if answer is None or answer.lower() in ("leave", "quit", "exit"):
                return
            self._answer(step, answer)

    def _answer(self, step: Step, answer: str) -> None:
        from dryfit.base.errors import DryfitError
        from dryfit.view.readings import HELP, refused_line, undone_line

        word, _, rest = answer.lower().partition(" ")
        try:
            if word == "undo":
                undone = self.desk.undo()
                self.taken = [
                    item for item in self.taken if undone is None or item.reading.record != undone.record
                ]
                self.talk.say(undone_line(undone))
                # What was taken back is asked again.
                again = self._stays_at if undone is None else self.desk.artefact.measure(undone.measure)
                self._gone_to = None if again is None else self.desk.step_for(again)
            elif word == "skip":
                self._skipped.append(step.measure.id)
                self._gone_to = self._stays_at = None
            elif word == "go":
                self._gone_to, self._stays_at = self.desk.step_for(self.desk.find_measure(rest)), None
            elif word == "temp":
                self._state_temperature(rest)
            elif word in ("", "help", "?"):
                self.talk.say(HELP)
            else:
                self._take(step, answer)
        except DryfitError as error:
            self.talk.say(refused_line(error))

    def _state_temperature(self, text: str) -> None:
        from dryfit.app.reading_checks import read_temperature

        self.desk.temp_c = read_temperature(text, "temp")

    def _take(self, step: Step, text: str) -> None:
        from dryfit.app.reading_checks import read_value
        from dryfit.view.readings import CONFIRM, reason_lines, taken_line

        value = read_value(text, "reading")
        reasons = self.desk.query(step, value)
        while reasons:
            self.talk.say(reason_lines(value, reasons))
            answer = self.talk.ask(CONFIRM)
            if answer is None or answer.lower() in ("", "no", "n"):
                return
            if answer.lower() in ("yes", "y"):
                break
            value = read_value(answer, "reading")
            reasons = self.desk.query(step, value)
        taken = self.desk.record_value(step, value, bool(reasons))
        self.taken.append(taken)
        self._gone_to = None if self._stays_at is None else self.desk.step_for(self._stays_at)
        self.talk.say(taken_line(taken))
