"""The verbs of the command box: the words of the command line, one use case each."""

from __future__ import annotations

import argparse
import shlex
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Never

from dryfit.app.history import compare_since, list_forecasts
from dryfit.app.joints import decide_joints, propose_joints
from dryfit.app.prediction import predict
from dryfit.app.ready import check_before
from dryfit.app.turning import turn_parts
from dryfit.base.errors import ReferenceUnknown
from dryfit.model.orientation import OrientOptions
from dryfit.view.blocks import Block, Sentence
from dryfit.view.contributions import contribution_blocks
from dryfit.view.forecast import forecast_blocks
from dryfit.view.orientation import orient_blocks
from dryfit.view.reports import hold_point_blocks, joint_blocks, record_blocks, since_blocks

Progress = Callable[[int, int], None]
_WHERE = "the command box"


class _Parser(argparse.ArgumentParser):
    """Refuses in three parts where its base would end the program."""

    def error(self, message: str) -> Never:
        raise ReferenceUnknown(message, _WHERE, f"it takes: {self.format_usage().strip()}")


def run_command(path: Path, words: str, progress: Progress) -> Sequence[Block]:
    """Run one line such as "forecast --what-if tall.skew_xz_deg=0" and return what it shows.

    Raises ReferenceUnknown for a line that is no command, and what the use case raises.
    """
    try:
        pieces = shlex.split(words)
    except ValueError as error:
        raise ReferenceUnknown("a quotation mark is not closed", _WHERE, "close it") from error
    if pieces[:1] == ["dryfit"]:
        pieces = pieces[1:]
    asked = _parser().parse_args(pieces)
    run: Callable[[Path, argparse.Namespace, Progress], Sequence[Block]] = asked.run
    return run(path, asked, progress)


def writes_document(words: str) -> bool:
    """Whether a command may change the document, so that it must be read again after."""
    pieces = words.split()
    return "--write" in pieces or ("joints" in pieces[:2] and "--look" not in pieces)


def _parser() -> _Parser:
    parser = _Parser(prog="", add_help=False)
    verbs = parser.add_subparsers(required=True, metavar="VERB", parser_class=_Parser)
    forecast = verbs.add_parser("forecast", add_help=False, prog="forecast")
    forecast.add_argument("--what-if", action="append", default=[])
    forecast.add_argument("--why", action="append", default=[])
    forecast.add_argument("--brief", action="store_true")
    forecast.set_defaults(run=_forecast)
    ready = verbs.add_parser("ready", add_help=False, prog="ready")
    ready.add_argument("--before", default="printing")
    ready.set_defaults(run=_ready)
    joints = verbs.add_parser("joints", add_help=False, prog="joints")
    joints.add_argument("--look", action="store_true")
    joints.add_argument("--accept", action="append", default=[])
    joints.add_argument("--refuse", action="append", default=[])
    joints.set_defaults(run=_joints)
    orient = verbs.add_parser("orient", add_help=False, prog="orient")
    orient.add_argument("--what-if", action="append", default=[])
    orient.add_argument("--locators", action="store_true")
    orient.add_argument("--keep", action="append", default=[])
    orient.add_argument("--write", action="store_true")
    orient.add_argument("--brief", action="store_true")
    orient.set_defaults(run=_orient)
    since = verbs.add_parser("since", add_help=False, prog="since")
    since.add_argument("when", nargs="?")
    since.add_argument("--list", action="store_true")
    since.set_defaults(run=_since)
    return parser


def _forecast(path: Path, asked: argparse.Namespace, progress: Progress) -> Sequence[Block]:
    report = predict(path, asked.what_if, progress=progress)
    if asked.why:
        return [block for name in asked.why for block in contribution_blocks(report, name)]
    return forecast_blocks(report, asked.brief)


def _ready(path: Path, asked: argparse.Namespace, progress: Progress) -> Sequence[Block]:
    return hold_point_blocks(check_before(path, asked.before, progress=progress))


def _joints(path: Path, asked: argparse.Namespace, progress: Progress) -> Sequence[Block]:
    if asked.accept or asked.refuse:
        return [Sentence(words, mark=True) for words in decide_joints(path, asked.accept, asked.refuse)]
    return joint_blocks(propose_joints(path, not asked.look, progress))


def _orient(path: Path, asked: argparse.Namespace, progress: Progress) -> Sequence[Block]:
    options = OrientOptions(with_locators=asked.locators, keep_parts=tuple(asked.keep))
    return orient_blocks(turn_parts(path, options, asked.what_if, asked.write, progress), asked.brief)


def _since(path: Path, asked: argparse.Namespace, _: Progress) -> Sequence[Block]:
    if asked.list:
        return record_blocks(list_forecasts(path))
    return since_blocks(compare_since(path, asked.when))
