"""Fields of a form whose words are kept as they are typed."""

from __future__ import annotations

from collections.abc import Awaitable, Callable, Mapping
from functools import partial

from nicegui.element import Element

from dryfit.web.render import box, text


class Fields:
    """Fields that write into a mapping. entered: called at enter in a field of words."""

    def __init__(self, typed: dict[str, str], entered: Callable[[], Awaitable[None]]) -> None:
        self._typed = typed
        self._entered = entered

    def entry(self, key: str, words: str, hint: str = "", classes: str = "") -> int:
        """A field of words with its label; the number of its element."""
        with box(f"field {classes}", "label"):
            text("span", words, "soft")
            element = box("entry", "input").props('type="text" autocomplete="off" spellcheck="false"')
            element.props["placeholder"] = hint
            # Not its value, which would be put back at each drawing, over what is typed.
            element.props["defaultValue"] = self._typed.get(key, "")
        element.on("input", partial(self._keep, key), js_handler="(e) => emit(e.target.value)")
        element.on("keydown.enter", self._entered, args=[])
        return element.id

    def select(self, key: str, words: str, choices: Mapping[str, str]) -> int:
        """A field to choose from: value and words; the number of its element."""
        element = select_field(words, choices, self._typed.get(key, ""), partial(self._keep, key))
        return element.id

    def tick(self, key: str, words: str) -> None:
        """A field that is ticked or not: "yes" or ""."""
        with box("field check", "label"):
            tick = box("", "input").props('type="checkbox"')
            if self._typed.get(key):
                tick.props["checked"] = True
            text("span", words)
        tick.on("change", partial(self._keep, key), js_handler="(e) => emit(e.target.checked ? 'yes' : '')")

    def _keep(self, key: str, event: object) -> None:
        self._typed[key] = str(getattr(event, "args", ""))


def select_field(
    words: str, choices: Mapping[str, str], chosen: str, changed: Callable[[object], object]
) -> Element:
    """A list to choose from, with its label. choices: value and words; changed: told the event of a choice."""
    with box("field", "label"):
        text("span", words, "soft")
        element = box("select", "select", words)
        with element:
            for value, shown in choices.items():
                option = text("option", shown)
                option.props["value"] = value
                if value == chosen:
                    option.props["selected"] = True
    element.on("change", changed, js_handler="(e) => emit(e.target.value)")
    return element
