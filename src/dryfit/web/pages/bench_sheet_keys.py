"""Keys the size of a thumb, which write into the field that had the focus last; the keyboard writes there as well."""

from __future__ import annotations

from collections.abc import Awaitable, Callable

from nicegui.element import Element

from dryfit.web.render import box, button, text

# key on the page, what it writes, its name, and its place in the grid
_KEYS: tuple[tuple[str, str, str, str], ...] = (
    ("7", "7", "", ""), ("8", "8", "", ""), ("9", "9", "", ""), ("erase", "erase", "erase the last digit", "erase"),
    ("4", "4", "", ""), ("5", "5", "", ""), ("6", "6", "", ""), ("-", "-", "minus", ""),
    ("1", "1", "", ""), ("2", "2", "", ""), ("3", "3", "", ""), ("enter", "enter", "enter", "enter main"),
    ("0", "0", "", "zero"), (".", ".", "decimal point", ""),
)  # fmt: skip


def keypad(name: str) -> None:
    """Digits, point, minus, erase and enter. Enter does what the field does at the key of that name."""
    with box("keys").props(f'role="group" aria-label="{name}"'):
        for words, does, label, classes in _KEYS:
            key = button(words, classes=f"key {classes}", name=label)
            key.on("click", js_handler=f"() => dryfitSheet.press('{does}')")


def keyed_field(
    words: str, changed: Callable[[str], None], value: str = "", classes: str = "", unit: str = ""
) -> Element:
    """A field for a number with its label; changed is told every change. No keyboard of the tablet opens."""
    with box(f"keyed-field {classes}", "label"):
        text("span", words, "field-name")
        field = box("entry keyed", "input", words)
        field.props('type="text" inputmode="none" autocomplete="off" spellcheck="false"')
        # The caret makes it the attribute, which starts the field; as a property it would be put back under the hand.
        field.props["^value"] = value
        field.on(
            "input",
            lambda event: changed(str(getattr(event, "args", ""))),
            js_handler="(e) => emit(e.target.value)",
        )
        if unit:
            text("span", unit, "unit soft")
    return field


def on_enter(field: Element, taken: Callable[[str], Awaitable[None]]) -> None:
    """Have what was typed taken at enter, and the field emptied at once, so that no number is taken twice."""

    async def take(event: object) -> None:
        await taken(str(getattr(event, "args", "")))

    field.on("keydown.enter", take, js_handler=_TAKE)


_TAKE = """(e) => {
  const words = e.target.value.trim();
  if (!words) return;
  e.target.value = "";
  e.target.dispatchEvent(new Event("input", { bubbles: true }));
  emit(words);
}"""
