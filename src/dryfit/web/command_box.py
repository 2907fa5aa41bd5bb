"""A line at the foot of each sheet that takes the verbs of the command line and shows the same blocks."""

from __future__ import annotations

from functools import partial
from typing import TYPE_CHECKING

from nicegui.element import Element

from dryfit.base.errors import DryfitError
from dryfit.view.blocks import Block
from dryfit.web.commands import run_command, writes_document
from dryfit.web.render import box, button, show_blocks, show_refusal, text

if TYPE_CHECKING:
    from dryfit.web.bench import Bench


def command_box(bench: Bench) -> None:
    """The input line, what it takes, and the answer above it."""
    typed = {"words": ""}
    with box("command", "section", "command box"):
        answer = box("answer").props('aria-live="polite"')
        with box("line"):
            text("label", "dryfit", "prompt").props('for="command"')
            entry = box("entry", "input", "command: a verb of the command line")
            entry.props('id="command" type="text" autocomplete="off" spellcheck="false"')
            entry.props["placeholder"] = "forecast, ready, joints, orient, since"
            run = button("Run", name="run the command")

    def keep(event: object) -> None:
        typed["words"] = str(getattr(event, "args", ""))

    async def start() -> None:
        words = typed["words"].strip()
        if words:
            await _answer(bench, words, answer)

    entry.on("input", keep, js_handler="(e) => emit(e.target.value)")
    entry.on("keydown.enter", start, args=[])
    run.on("click", start, args=[])


async def _answer(bench: Bench, words: str, answer: Element) -> None:
    answer.clear()
    with answer:
        text("p", f"{words} ...", "soft")
    shown: list[Block] = []
    refused: DryfitError | None = None
    try:
        if writes_document(words):
            async with bench.writing:
                shown = list(await bench.run_job(words, partial(run_command, bench.path, words)))
            await bench.reload()
        else:
            shown = list(await bench.run_job(words, partial(run_command, bench.path, words)))
    except DryfitError as error:
        refused = error
    answer.clear()
    with answer, box("slip"):
        with box("slip-head"):
            text("span", words, "soft")
            button("Put away", answer.clear, "plain", name="put away the answer")
        if refused is not None:
            show_refusal(refused)
        else:
            show_blocks(shown)
