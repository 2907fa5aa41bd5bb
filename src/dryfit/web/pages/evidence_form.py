"""Fields of the forms beside a photograph."""

from __future__ import annotations

from collections.abc import Sequence

from nicegui.events import GenericEventArguments

from dryfit.web.render import box, text


class Fields:
    """What is typed, by field. is_touched: whether anything was, since it was drawn."""

    def __init__(self) -> None:
        self.typed: dict[str, str] = {}
        self.is_touched = False

    def entry(self, field: str, words: str, value: str = "", holder: str = "") -> None:
        """One line of text."""
        self.typed[field] = value
        with box("field", "label"):
            text("span", words)
            area = box("entry", "input")
            area.props["autocomplete"] = "off"
            area.props["spellcheck"] = "false"
            area.props["aria-label"] = words
            area.props["value"] = value
            if holder:
                area.props["placeholder"] = holder
        area.on("input", self._taking(field), js_handler="(e) => emit(e.target.value)")

    def choice(self, field: str, words: str, choices: Sequence[tuple[str, str]], value: str = "") -> None:
        """One of several; choices: value and words of each."""
        known = [each for each, _ in choices]
        start = value if value in known else (known[0] if known else "")
        self.typed[field] = start
        with box("field", "label"):
            text("span", words)
            with box("select", "select", words) as area:
                for each, shown in choices:
                    option = text("option", shown)
                    option.props["value"] = each
                    if each == start:
                        option.props["selected"] = True
        area.on("change", self._taking(field), js_handler="(e) => emit(e.target.value)")

    def tick(self, field: str, words: str, is_set: bool = False) -> None:
        """Yes or no."""
        self.typed[field] = "yes" if is_set else ""
        with box("photo-tick", "label"):
            area = box("", "input").props('type="checkbox"')
            if is_set:
                area.props["checked"] = True
            text("span", words)
        area.on("change", self._taking(field), js_handler="(e) => emit(e.target.checked ? 'yes' : '')")

    def _taking(self, field: str):  # type: ignore[no-untyped-def]
        def take(event: GenericEventArguments) -> None:
            self.typed[field] = str(event.args)
            self.is_touched = True

        return take


AXES = (("", "no axis"), ("x", "x"), ("y", "y"), ("z", "z, upright"))
PLANE_AXES = (("xz", "x and z"), ("yz", "y and z"), ("xy", "x and y, level"))


def named(names: Sequence[str], none: str = "") -> list[tuple[str, str]]:
    """Names as choices; none: words for no choice, first, where given."""
    return [*([("", none)] if none else []), *((name, name) for name in names)]
