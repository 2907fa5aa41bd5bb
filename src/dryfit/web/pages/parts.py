"""The parts: whether their meshes say what the drawing says, and the import of mesh files by dropping them."""

from __future__ import annotations

from typing import TYPE_CHECKING

from nicegui import ui

from dryfit.app.live import Snapshot
from dryfit.base.errors import DryfitError
from dryfit.view.reports import import_blocks
from dryfit.web.drop_area import drop_area
from dryfit.web.pages.parts_sheet import Chosen, PartsSheet
from dryfit.web.render import box, button, show_blocks, show_refusal, text
from dryfit.web.shell import follow, redraw, sheet
from dryfit.web.uploads import UPLOAD_PATH

if TYPE_CHECKING:
    from dryfit.web.bench import Bench
    from dryfit.web.uploads import Upload


def build(bench: Bench, show: str = "") -> None:
    """The page. show: id of the part or feature that is opened first."""
    now: list[PartsSheet] = []
    chosen = Chosen(first=show)

    async def draw(snapshot: Snapshot) -> None:
        now.clear()
        drawn = PartsSheet(bench, snapshot, chosen)
        await drawn.draw()
        now[:] = [drawn]

    def refresh() -> None:
        for drawn in now:
            drawn.refresh()

    with sheet(bench, "parts", "parts"):
        drop_area(
            "import mesh files",
            "Drop mesh files here",
            "STL, 3MF, OBJ, PLY, glTF or GLB, several at once; or choose them:",
            "choose mesh files to import",
            UPLOAD_PATH,
            (".stl", ".3mf", ".obj", ".ply", ".gltf", ".glb"),
        )
        redraw(bench, lambda: _uploads(bench), "uploads")
        follow(bench, draw)
        ui.context.client.on_delete(bench.subscribe(refresh))


def _uploads(bench: Bench) -> None:
    for upload in bench.uploads.uploads:
        with box("panel-edge upload", "section", upload.name):
            _upload(bench, upload)


def _upload(bench: Bench, upload: Upload) -> None:
    problem = box("problem")

    async def answer(asked: str, value: str, again: bool = False) -> None:
        try:
            await bench.uploads.answer(upload.id, {asked: value} if asked else {}, again)
        except DryfitError as error:
            if not problem.is_deleted:
                with problem:
                    show_refusal(error)

    if upload.state == "waiting":
        text("p", f"{upload.name}: being read.", "soft")
    elif upload.report is not None:
        show_blocks(import_blocks(upload.report), level=3)
    elif upload.error is not None:
        show_refusal(upload.error)
        with box("buttons"):
            if "--again" in upload.error.do:
                button("Take it again", lambda: answer("", "", True), name=f"take it again: {upload.name}")
            button("Put away", lambda: bench.uploads.discard(upload.id), name=f"put away {upload.name}")
    elif upload.question is not None:
        asked = upload.question.asked
        text("p", upload.question.words)
        with box("choices"):
            for choice in upload.question.choices:
                button(
                    choice.words,
                    lambda value=choice.value: answer(asked, value),
                    "choice",
                    name=f"{upload.name}: {choice.words}",
                )
        button("Put away", lambda: bench.uploads.discard(upload.id), "plain", name=f"put away {upload.name}")
