"""A photograph to be marked as an element of a page: the script draws and takes marks, the page writes them."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Any

from nicegui import ui
from nicegui.events import GenericEventArguments

from dryfit.app.evidence_page import EvidencePhoto
from dryfit.web.pictures import LOOK_PX, SIDE_PX, picture_address, tile_address

Handler = Callable[[Mapping[str, Any]], Any]
EVENTS = ("placed", "lined", "moved", "removed", "undo", "redo")


class PhotoView(
    ui.element,
    component="static/photo_view.js",
    esm={"dryfit-photo-view": "static/photo_view"},
):
    """Shows one photograph with its marks. handlers: by the names of EVENTS and "chosen"; see the script."""

    def __init__(self, handlers: Mapping[str, Handler]) -> None:
        super().__init__()
        with self._props.suspend_updates():
            self._props["label"] = "Photograph with its marks"
            self._props["picture"] = None
            self._props["given"] = None
            self._props["names"] = []
            self._props["steps"] = {"undo": "", "redo": ""}
        for name, handler in handlers.items():
            self.on(name, self._passing(handler))

    def show_photo(self, photo: EvidencePhoto | None, drawing: Mapping[str, Any] | None) -> None:
        """Another photograph, or the same with other marks. drawing: see view.evidence_drawing.photo_drawing"""
        picture = None if photo is None or not photo.sha256 else describe_picture(photo)
        with self._props.suspend_updates():
            self._props["label"] = "Photograph" if photo is None else f"Photograph {photo.id} with its marks"
            self._props["picture"] = picture
            self._props["given"] = None if drawing is None else dict(drawing)
        self.run_method("set_photo", picture, self._props["given"])

    def set_names(self, names: Sequence[str]) -> None:
        """Names of points on other photographs: proposed for the next one."""
        if list(names) != self._props["names"]:
            self._props["names"] = list(names)

    def set_steps(self, undo: str, redo: str) -> None:
        """What can be taken back, and done again, in words; "" nothing."""
        steps = {"undo": undo, "redo": redo}
        if steps != self._props["steps"]:
            self._props["steps"] = steps

    def say(self, words: str) -> None:
        """What was refused, beside the picture; what is being moved goes back to where it was."""
        self.run_method("say_trouble", words)

    def choose(self, kind: str, name: str) -> None:
        """Bring out a mark and bring it into view."""
        self.run_method("choose_mark", kind, name)

    @staticmethod
    def _passing(handler: Handler) -> Callable[[GenericEventArguments], Any]:
        def handle(event: GenericEventArguments) -> Any:
            return handler(event.args if isinstance(event.args, dict) else {})

        return handle


def describe_picture(photo: EvidencePhoto) -> dict[str, Any]:
    """Where the picture is fetched; tiles: squares at full size, where the copy that is looked at is reduced."""
    width, height = photo.line.width_px or 0, photo.line.height_px or 0
    return {
        "url": picture_address(photo),
        "width": width,
        "height": height,
        "tiles": {"address": tile_address(photo), "side": SIDE_PX} if max(width, height) > LOOK_PX else None,
    }
