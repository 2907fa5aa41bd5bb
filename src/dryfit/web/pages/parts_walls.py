"""The panel of wall thickness beside the model: area by thickness, and the button that colours the model by it."""

from __future__ import annotations

from nicegui import ui
from nicegui.element import Element

from dryfit.app.checking import PartsReport
from dryfit.app.live import Snapshot
from dryfit.app.view_walls import WallScale, bar_walls
from dryfit.view.walls import wall_picture, wall_summary
from dryfit.web.found import marks_of
from dryfit.web.model_view import ModelView
from dryfit.web.render import box, button, text


class WallsPanel:
    """Drawn anew with each report and each part that is chosen; nothing where no walls are measured."""

    def __init__(self, snapshot: Snapshot, view: ModelView | None) -> None:
        self._snapshot = snapshot
        self._view = view
        self._holder = box("walls-panel", "section", "wall thickness")
        self._is_coloured = False
        self._switch: Element | None = None
        if view is not None:
            view.on_colouring(self._note_colouring)

    def show(self, report: PartsReport | None, scale: WallScale | None, part: str | None) -> None:
        """The walls of a part, or of all parts."""
        self._holder.clear()
        self._switch = None
        if report is None or scale is None:
            return
        of = f"walls of {part}" if part else "walls of all parts"
        checks = [item for item in report.parts if part in (None, item.id)]
        maps = [item.thickness for item in checks if item.thickness is not None]
        with self._holder:
            with box("heading", "h3"):
                text("span", of[:1].upper() + of[1:])
                self._switch = button("Colour the model by it", self._turn)
                self._say_pressed()
            if not maps:
                text("p", f"Not measured: {checks[0].no_walls}." if checks else "Not measured.", "soft")
                return
            marks, bars = marks_of(self._snapshot, part), bar_walls(maps, scale)
            ui.html(wall_picture(bars, scale, marks, f"area by thickness, {of}"), sanitize=False)
            text("p", wall_summary(bars, of[:1].upper() + of[1:], marks), "soft")

    def _turn(self) -> None:
        self._is_coloured = not self._is_coloured
        if self._view is not None:
            self._view.set_colouring("wall" if self._is_coloured else "part")
        self._say_pressed()

    def _note_colouring(self, mode: str) -> None:
        self._is_coloured = mode == "wall"
        self._say_pressed()

    def _say_pressed(self) -> None:
        if self._switch is not None:
            self._switch.props["aria-pressed"] = "true" if self._is_coloured else "false"
            self._switch.update()
