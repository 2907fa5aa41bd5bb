"""The evidence: photographs with their marks, cameras and residuals, and the sizes that they give."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING, Any

from nicegui import background_tasks, ui

from dryfit.app.evidence_page import EvidencePhoto, EvidenceReport
from dryfit.app.photo_desk import Kind, MarkStep, edit_marks, move_mark, read_seen, take_back
from dryfit.app.photo_marking import MarkChanges
from dryfit.app.schedule_report import ScheduleReport
from dryfit.base.errors import DocumentRefused, DryfitError
from dryfit.model.photo import Marks
from dryfit.view.blocks import Sentence
from dryfit.view.evidence import camera_blocks, heading_words, missing_words, sizes_table, suspects_of
from dryfit.view.evidence_drawing import photo_drawing
from dryfit.view.evidence_network import NETWORK_STYLE, network_svg, network_words
from dryfit.view.photo_sizes import not_used_blocks
from dryfit.web.evidence_desk import DroppedPhoto
from dryfit.web.pages.evidence_list import PhotoRows, photo_drop_area
from dryfit.web.pages.evidence_marks import MarkForms
from dryfit.web.photo_view import PhotoView
from dryfit.web.render import box, button, link, show_blocks, show_refusal, show_scrolling, show_table, text
from dryfit.web.shell import STATIC, redraw, sheet

if TYPE_CHECKING:
    from dryfit.web.bench import Bench

_MOST_STEPS = 200
Touched = tuple[tuple[Kind, str], ...]


def build(bench: Bench, show: str = "") -> None:
    """The page. show: id of the photograph that is opened first."""
    ui.add_head_html(f"<style>{NETWORK_STYLE}</style>")
    with sheet(bench, "evidence", "evidence: photographs and their marks"):
        # After the style of every sheet, which it adds to.
        ui.add_head_html(f'<link rel="stylesheet" href="{STATIC}/evidence.css">')
        page = EvidenceSheet(bench, show)
        page.draw()
        ui.context.client.on_delete(bench.subscribe(page.refresh))


class EvidenceSheet:
    """One tab.

    seen  the marks of each photograph as this tab knows them, with what it wrote itself; each change is checked
          against them
    """

    def __init__(self, bench: Bench, show: str) -> None:
        self._bench = bench
        self._id = show
        self._shown: EvidenceReport | None = None
        self._undo: list[MarkStep] = []
        self._redo: list[MarkStep] = []
        self._seen: dict[str, Marks | None] = {}
        self._dropped: tuple[DroppedPhoto, ...] = ()
        self._needed = 0  # number of the first report that holds what this tab changed last
        self._number = 0  # of the report that is shown

    def draw(self) -> None:
        """Build the page; what it holds is filled in by refresh."""
        redraw(self._bench, self._refusal)
        self._head = box("contents")
        photo_drop_area()
        self._drops = box("uploads")
        with box("evidence"):
            with box("lane", "section", "photographs of the project"):
                self._rows = PhotoRows(self.open)
            with box("lane view-of-photo", "section", "the photograph"):
                self._view = PhotoView(self._handlers())
            with box("lane"):
                self._camera = box("panel", "section", "the camera")
                self._forms = MarkForms(self._write)
        self._foot = box("evidence-foot")
        redraw(self._bench, self._network)
        self.refresh()

    def refresh(self) -> None:
        """Show what the desk read last, if it is not shown yet."""
        if self._foot.is_deleted:
            return
        self._show_dropped()
        report = self._bench.evidence.report
        # A report that was begun before this tab's last change would put its marks back for a moment.
        if report is None or report is self._shown or self._bench.evidence.number < self._needed:
            return
        self._shown, self._number = report, self._bench.evidence.number
        if report.photo(self._id) is None:
            self._id = report.photos[0].id if report.photos else ""
        self._head.clear()
        with self._head:
            show_blocks([heading_words(report)])
        self._show_photo()
        self._foot.clear()
        with self._foot:
            _sizes(report)

    def open(self, id: str) -> None:
        """Another photograph."""
        self._id = id
        self._show_photo()

    @property
    def _photo(self) -> EvidencePhoto | None:
        return None if self._shown is None else self._shown.photo(self._id)

    def _show_photo(self) -> None:
        report, photo = self._shown, self._photo
        if report is None:
            return
        if photo is not None and (self._number >= self._needed or photo.id not in self._seen):
            self._seen[photo.id] = photo.marks
        self._rows.show(report, self._id)
        self._view.show_photo(photo, None if photo is None else photo_drawing(report, photo))
        names = dict.fromkeys(
            point.name for other in report.photos if other.marks is not None for point in other.marks.points
        )
        self._view.set_names(list(names))
        self._say_steps()
        self._forms.show(report, photo)
        self._camera.clear()
        with self._camera:
            self._show_camera(photo)

    def _show_camera(self, photo: EvidencePhoto | None) -> None:
        if photo is None:
            return
        text("h2", f"Camera of {photo.id}")
        camera = photo.verdict.camera
        show_blocks(camera_blocks(camera), level=3)
        for item in photo.verdict.findings:
            where = f"{item.where}: " if item.where else ""
            do = f" Do: {item.do}." if item.do else ""
            show_blocks([Sentence(f"{where}{item.what}.{do}", item.state)])
            if "--same-picture" in item.do:
                button(
                    "The marks still fit", self._accept_picture, name="the marks fit the picture as it is now"
                )
        if camera is not None:
            for suspect in camera.suspects:
                show_blocks([Sentence(f"{suspect.where}: {suspect.what}. Do: {suspect.do}.", "stop")])
            for note in camera.notes:
                show_blocks([Sentence(note, mark=True)])
        wanted = missing_words(photo)
        if wanted:
            text("h3", "What is missing")
            show_blocks([Sentence(words, mark=True) for words in wanted])

    def _refusal(self) -> None:
        error = self._bench.evidence.refusal
        if error is not None:
            show_refusal(error)
            link("Open the document on the settings sheet", "/settings")
        elif self._bench.evidence.report is None:
            text("p", "Reading the photographs.", "soft waiting")

    def _show_dropped(self) -> None:
        """Drawn anew only where it is another: a button must not go from under the hand."""
        items = tuple(item for item in self._bench.evidence.dropped if item.state != "added")
        if items == self._dropped:
            return
        self._dropped = items
        self._drops.clear()
        with self._drops:
            for item in items:
                with box("panel-edge upload", "section", item.name):
                    _dropped(self._bench, item)

    def _network(self) -> None:
        snapshot = self._bench.snapshot
        report = None if snapshot is None else snapshot.schedule
        if not isinstance(report, ScheduleReport) or not report.dimensions:
            return
        with box("evidence-foot"), box("panel", "section", "observations and dimensions"):
            text("h2", "Observations and dimensions")
            text("p", network_words(report), "soft")
            with box("network-frame", "div", "the network as a picture").props('role="group" tabindex="0"'):
                ui.html(network_svg(report), sanitize=False)
            link("to the schedule", "/schedule")

    # What is done to marks.

    def _handlers(self) -> dict[str, Callable[[Mapping[str, Any]], Any]]:
        return {
            "placed": self._place,
            "lined": self._draw_line,
            "moved": self._move,
            "removed": self._remove,
            "chosen": self._choose,
            "undo": lambda _: self._step_back(self._undo, self._redo),
            "redo": lambda _: self._step_back(self._redo, self._undo),
        }

    def _choose(self, told: Mapping[str, Any]) -> None:
        self._forms.choose((str(told["kind"]), str(told["name"])) if told else None)

    async def _place(self, told: Mapping[str, Any]) -> None:
        name = str(told["name"])
        row = {"name": name, "at_px": list(told["at"]), "plane": told["plane"] or None}
        touched: Touched = (("point", name),)
        if await self._try(str(told["photo"]), MarkChanges(points=(row,)), f"mark {name}", touched):
            self._choose_new("point", name)

    async def _draw_line(self, told: Mapping[str, Any]) -> None:
        name = str(told["name"])
        row = {
            "name": name,
            "points_px": told["at"],
            "through": told["through"],
            "along": told["along"] or None,
            "straight": True if told["straight"] else None,
            "plane": told["plane"] or None,
        }
        touched: Touched = (("line", name),)
        if await self._try(str(told["photo"]), MarkChanges(lines=(row,)), f"mark {name}", touched):
            self._choose_new("line", name)

    def _choose_new(self, kind: Kind, name: str) -> None:
        self.refresh()  # what is chosen must be shown first
        if not self._foot.is_deleted:
            self._view.choose(kind, name)

    async def _remove(self, told: Mapping[str, Any]) -> None:
        kind: Kind = "line" if told["kind"] == "line" else "point"
        name = str(told["name"])
        changes = MarkChanges(remove=(f"{kind}={name}",))
        await self._try(str(told["photo"]), changes, f"remove {name}", ((kind, name),))

    async def _move(self, told: Mapping[str, Any]) -> None:
        kind: Kind = "line" if told["kind"] == "line" else "point"
        (x, y), (was_x, was_y) = told["to"], told["was"]
        try:
            async with self._bench.writing:
                _, step = await self._bench.compute(
                    lambda: move_mark(
                        self._bench.path,
                        str(told["photo"]),
                        kind,
                        str(told["name"]),
                        int(told["place"]),
                        (float(x), float(y)),
                        (float(was_x), float(was_y)),
                    )
                )
                await self._keep(step)
        except DryfitError as error:
            await self._say(error)
            return
        if self._id == step.photo and not self._foot.is_deleted:
            self._forms.follow(self._seen[step.photo])
        background_tasks.create(self._bench.evidence.read())

    async def _accept_picture(self) -> None:
        changes = MarkChanges(same_picture=True)
        await self._try(self._id, changes, "accept the picture as it is now", ())

    async def _try(self, photo: str, changes: MarkChanges, words: str, touched: Touched) -> bool:
        """Write changes that began at the picture; a refusal is said beside it."""
        try:
            await self._edit(photo, changes, words, lambda: self._seen.get(photo), touched)
        except DryfitError as error:
            await self._say(error)
            return False
        return True

    async def _write(self, changes: MarkChanges, words: str, seen: Marks | None, touched: Touched) -> None:
        """Write changes that a form of the shown photograph asks for; raises where they are refused."""
        await self._edit(self._id, changes, words, lambda: seen, touched)

    async def _edit(
        self,
        photo: str,
        changes: MarkChanges,
        words: str,
        seen: Callable[[], Marks | None],
        touched: Touched,
    ) -> None:
        """Write changes. seen: asked once it is this change's turn, as changes before it are known only then."""
        async with self._bench.writing:
            _, step = await self._bench.compute(
                lambda: edit_marks(self._bench.path, photo, changes, words, seen(), touched)
            )
            await self._keep(step)
        await self._bench.evidence.read()

    async def _step_back(self, steps: list[MarkStep], others: list[MarkStep]) -> None:
        """Take back the last step of this tab on this photograph, or do it again."""
        photo = self._id
        try:
            # What was asked for before this is written by then, and is the step that goes back.
            async with self._bench.writing:
                at = next(
                    (place for place in reversed(range(len(steps))) if steps[place].photo == photo), None
                )
                if at is None:
                    return
                step = steps.pop(at)
                back = await self._bench.compute(lambda: take_back(self._bench.path, step))
                others.append(back)
                await self._know(photo)
        except DryfitError as error:
            await self._say(error)
            return
        await self._bench.evidence.read()
        # Also where all is as it was shown: the script may hold a mark that was still being moved.
        self.refresh()
        if not self._foot.is_deleted:
            self._show_photo()

    async def _know(self, photo: str) -> None:
        """The marks that this tab wrote just now. Call it in the turn of that writing."""
        self._needed = self._bench.evidence.next_number
        self._seen[photo] = await self._bench.compute(lambda: read_seen(self._bench.path, photo))

    async def _keep(self, step: MarkStep) -> None:
        await self._know(step.photo)
        joined = self._undo[-1].joined(step) if self._undo else None
        if joined is not None:
            self._undo[-1] = joined
        else:
            self._undo.append(step)
        del self._undo[:-_MOST_STEPS]
        self._redo.clear()
        self._say_steps()

    def _say_steps(self) -> None:
        last = [
            next((step.words for step in reversed(steps) if step.photo == self._id), "")
            for steps in (self._undo, self._redo)
        ]
        self._view.set_steps(last[0], last[1])

    async def _say(self, error: DryfitError) -> None:
        """Beside the picture, and the marks as they are."""
        words = [error.what, error.do]
        if isinstance(error, DocumentRefused):
            words = [f"{fault.where}: {fault.what}; {fault.do}" for fault in error.faults]
        self._view.say(". ".join(word for word in words if word))
        await self._bench.evidence.read()
        self.refresh()
        if self._shown is not None and not self._foot.is_deleted:
            self._show_photo()


def _dropped(bench: Bench, item: DroppedPhoto) -> None:
    if item.error is None:
        text("p", f"{item.name}: being read.", "soft")
        return
    show_refusal(item.error)
    with box("buttons"):
        if "--again" in item.error.do:

            async def again() -> None:
                await bench.evidence.take_again(item.id)

            button("Take the changed picture", again, name=f"take the changed picture: {item.name}")
        button("Put away", lambda: bench.evidence.put_away(item.id), name=f"put away {item.name}")


def _sizes(report: EvidenceReport) -> None:
    """The sizes that the photographs give, and what the schedule does not take."""
    with box("panel", "section", "sizes from the photographs"):
        text("h2", "Sizes from the photographs")
        if report.sizes.sizes:
            with box("scroll").props('role="group" tabindex="0" aria-label="sizes from the photographs"'):
                show_table(sizes_table(report.sizes.sizes))
        else:
            text(
                "p",
                "No size is measured yet: state under Known and wanted which two points it joins.",
                "soft",
            )
        show_scrolling(not_used_blocks(report.sizes.not_used), "sizes that are not used", 3)
        suspects = suspects_of(report)
        show_blocks([Sentence(words, "stop") for words in suspects])
        for item in report.between:
            show_blocks([Sentence(f"{item.where}: {item.what}. Do: {item.do}.", item.state)])
        link("to the schedule", "/schedule")
