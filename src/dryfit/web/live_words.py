"""Words that change while a slider moves, told to the page without drawing it anew."""

from __future__ import annotations

from nicegui import ui


class LiveWords(ui.element, component="static/live_words.js"):
    """A span of plain words."""

    def __init__(self, words: str, classes: str = "") -> None:
        super().__init__()
        with self._props.suspend_updates():
            self._props["given"] = words
        self.classes(classes)

    def say(self, words: str) -> None:
        """Other words. They are kept as well for a page that is still to load."""
        if words == self._props["given"]:
            return
        with self._props.suspend_updates():
            self._props["given"] = words
        self.run_method("say", words)
