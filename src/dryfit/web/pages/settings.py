"""The project document as text: checked while it is typed, saved when it is valid and unchanged on disk."""

from __future__ import annotations

import asyncio
import json
from typing import TYPE_CHECKING

from nicegui import ui
from nicegui.element import Element

from dryfit.app.editing import Draft, TextFault, check_text, read_draft, save_text
from dryfit.base.errors import DryfitError
from dryfit.web.render import box, button, show_refusal, state_mark, text
from dryfit.web.shell import sheet

if TYPE_CHECKING:
    from dryfit.web.bench import Bench

_EDITOR = "document"
_PAUSE_S = 0.25


class _Editing:
    """What one open editor knows: the draft it started from, the text as typed, the faults found last."""

    def __init__(self, draft: Draft) -> None:
        self.draft = draft
        self.text = draft.text.replace("\r\n", "\n")
        self.version = 0


def build(bench: Bench, find: str = "") -> None:
    """The page. find: words to show first, such as "machine" for [[machine]]."""
    with sheet(bench, "settings", "settings: the project document"):
        holder = box("contents")

        async def load() -> None:
            holder.clear()
            with holder:
                try:
                    draft = await asyncio.to_thread(read_draft, bench.path)
                except DryfitError as error:
                    show_refusal(error)
                    return
                _show(bench, _Editing(draft), find)

        ui.timer(0, load, once=True)


def _show(bench: Bench, editing: _Editing, find: str) -> None:
    text("h2", str(editing.draft.path.name))
    with box("document"):
        with box("lane"):
            area = _text_area(editing)
            with box("buttons"):
                save = button("Save", classes="main", name="save the document")
                again = button("Load from disk", name="load from disk: the document as it is there")
                said = text("span", "as on disk", "soft").props('role="status"')
            outcome = box("outcome")
        with box("lane", "section", "faults of the document"):
            faults = box("faults").props('aria-live="polite"')

    async def check() -> None:
        editing.version += 1
        mine = editing.version
        await asyncio.sleep(_PAUSE_S)
        if mine != editing.version:
            return
        found = await asyncio.to_thread(check_text, editing.text)
        if mine == editing.version and not faults.is_deleted:
            said.text = "as on disk" if _is_on_disk(editing) else "not saved"
            faults.clear()
            with faults:
                _faults(found)

    async def typed(event: object) -> None:
        editing.text = str(getattr(event, "args", ""))
        await check()

    async def write() -> None:
        outcome.clear()
        try:
            async with bench.writing:
                editing.draft = await asyncio.to_thread(save_text, editing.draft, editing.text)
        except DryfitError as error:
            with outcome:
                show_refusal(error)
            return
        said.text = "saved; reading the project"
        await bench.reload()
        if not said.is_deleted:
            said.text = "saved"

    async def load_again() -> None:
        outcome.clear()
        try:
            editing.draft = await asyncio.to_thread(read_draft, bench.path)
        except DryfitError as error:
            with outcome:
                show_refusal(error)
            return
        editing.text = editing.draft.text.replace("\r\n", "\n")
        _fill(editing.text)
        await check()

    area.on("input", typed, js_handler="(e) => emit(e.target.value)", throttle=0.15, leading_events=False)
    save.on("click", write, args=[])
    again.on("click", load_again, args=[])
    _fill(editing.text)
    if find:
        words = json.dumps(f"[[{find}]]")
        ui.run_javascript(f"setTimeout(() => dryfitSheet.findText('{_EDITOR}', {words}), 60)")
    ui.timer(0, check, once=True)


def _is_on_disk(editing: _Editing) -> bool:
    return editing.text == editing.draft.text.replace("\r\n", "\n")


def _text_area(editing: _Editing) -> Element:
    """The text and its line numbers, which scroll along."""
    count = max(400, editing.text.count("\n") + 200)
    with box("editor"):
        numbers = text("pre", "\n".join(str(number) for number in range(1, count)), "numbers")
        numbers.props(f'id="{_EDITOR}-numbers" aria-hidden="true"')
        area = box("text", "textarea", "the project document")
        area.props(f'id="{_EDITOR}" spellcheck="false" autocomplete="off" wrap="off"')
        area.on(
            "scroll",
            js_handler=f"(e) => document.getElementById('{_EDITOR}-numbers').scrollTop = e.target.scrollTop",
        )
    return area


def _fill(words: str) -> None:
    """Put a text into the area; it holds its own value from then on, so that typing is never overtaken."""
    ui.run_javascript(f"document.getElementById('{_EDITOR}').value = {json.dumps(words)}")


def _faults(found: tuple[TextFault, ...]) -> None:
    if not found:
        with box("heading", "h2"):
            state_mark("pass", with_word=False)
            text("span", "The document is valid.")
        text(
            "p", "Every key is known and every reference leads somewhere. Comments stay as they are.", "soft"
        )
        return
    with box("heading", "h2"):
        state_mark("stop", with_word=False)
        text("span", f"{len(found)} fault{'' if len(found) == 1 else 's'}; it cannot be saved like this.")
    for fault in found:
        place = f"line {fault.line}: " if fault.line else ""
        with button("", classes="fault") as entry:
            text("span", f"{place}{fault.where}", "soft")
            text("span", fault.what)
            text("span", f"do: {fault.do}", "soft")
        if fault.line:
            entry.on("click", js_handler=f"() => dryfitSheet.goToLine('{_EDITOR}', {fault.line})")
