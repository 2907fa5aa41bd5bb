"""The forms beside a photograph: the chosen mark, and what is known or wanted of the building."""

from __future__ import annotations

from collections.abc import Awaitable, Callable, Sequence
from functools import partial

from nicegui.element import Element

from dryfit.app.evidence_page import EvidencePhoto, EvidenceReport
from dryfit.app.photo_desk import Kind
from dryfit.app.photo_form import (
    FormChange,
    change_length,
    change_line,
    change_plane,
    change_point,
    change_size,
    change_std,
)
from dryfit.app.photo_marking import MarkChanges
from dryfit.base.errors import DryfitError
from dryfit.model.photo import MarkedLength, MarkedLine, MarkedPlane, MarkedPoint, MarkedSize, Marks
from dryfit.view.digits import write_number
from dryfit.web.pages.evidence_form import AXES, PLANE_AXES, Fields, named
from dryfit.web.render import box, button, show_refusal, text

Write = Callable[[MarkChanges, str, Marks | None, tuple[tuple[Kind, str], ...]], Awaitable[None]]


class MarkForms:
    """write: has changes written and raises where they are refused. They are checked against what a form showed."""

    def __init__(self, write: Write) -> None:
        self._write = write
        self._chosen_holder = box("panel", "section", "the chosen mark")
        self._known_holder = box("panel", "section", "what is known and wanted")
        self._report: EvidenceReport | None = None
        self._photo: EvidencePhoto | None = None
        self._chosen: tuple[str, str] | None = None
        self._fields = Fields()
        self._drawn: object = None
        self._open: dict[str, bool] = {}
        self._forms: dict[str, Fields] = {}
        self._marks: Marks | None = None

    def show(self, report: EvidenceReport, photo: EvidencePhoto | None) -> None:
        """Another state. A form in which something was typed stays: what it showed is checked when it is saved."""
        is_other = self._photo is None or photo is None or photo.id != self._photo.id
        has_changed = photo is None or photo.marks != self._marks or self._report is None
        has_changed = has_changed or report.dimensions != (self._report.dimensions if self._report else ())
        self._report, self._photo = report, photo
        self._marks = None if photo is None else photo.marks
        if is_other:
            self._chosen = None
        self._draw_chosen(is_other)
        if is_other or (has_changed and not any(form.is_touched for form in self._forms.values())):
            self._draw_known()

    def follow(self, marks: Marks | None) -> None:
        """Marks that were moved at the picture: their figures follow before all is measured anew."""
        self._marks = marks
        self._draw_chosen(False)

    def choose(self, chosen: tuple[str, str] | None) -> None:
        """The mark whose figures are shown: kind and name."""
        if chosen != self._chosen:
            self._chosen = chosen
            self._draw_chosen(True)

    def _draw_chosen(self, is_new: bool) -> None:
        record = self._record()
        if not is_new and (record == self._drawn or self._fields.is_touched):
            return
        self._drawn = record
        self._fields = Fields()
        self._chosen_holder.clear()
        with self._chosen_holder:
            if isinstance(record, MarkedPoint):
                self._point(record)
            elif isinstance(record, MarkedLine):
                self._line(record)
            else:
                text("h2", "No mark is chosen")
                words = "Choose one on the picture or in the list to change its name, uncertainty or place."
                text("p", words, "soft")

    def _record(self) -> object:
        if self._chosen is None or self._marks is None:
            return None
        kind, name = self._chosen
        rows: tuple[MarkedPoint | MarkedLine, ...] = (
            self._marks.points if kind == "point" else self._marks.lines
        )
        return next((row for row in rows if row.name == name), None)

    def _planes(self) -> list[tuple[str, str]]:
        return named([plane.name for plane in self._marks.planes] if self._marks else [], "none")

    def _point(self, point: MarkedPoint) -> None:
        fields = self._fields
        text("h2", f"Point {point.name}")
        x, y, z = ("", "", "") if point.prototype_mm is None else map(_plain, point.prototype_mm)
        std = "" if point.prototype_mm is None else _plain(point.prototype_std_mm)
        with box("mark-form"):
            with box("fields"):
                fields.entry("name", "name", point.name)
                fields.entry("x", "x, px", _plain(point.at_px[0]))
                fields.entry("y", "y, px", _plain(point.at_px[1]))
                fields.entry("std", "std, px", _plain(point.std_px))
                fields.choice("plane", "plane", self._planes(), point.plane)
            text("p", "Where it lies on the prototype, if that is known:", "soft")
            with box("fields"):
                for axis, value in (("x", x), ("y", y), ("z", z)):
                    fields.entry(f"known {axis}", f"{axis}, mm", value)
                fields.entry("known std", "std, mm", std)
            self._buttons(
                "point", point.name, lambda: change_point(point.name, fields.typed), self._marks, fields
            )

    def _line(self, line: MarkedLine) -> None:
        fields = self._fields
        text("h2", f"Line {line.name}")
        if line.through:
            text("p", f"It runs through {', '.join(line.through)}, with their uncertainty.", "soft")
        with box("mark-form"):
            with box("fields"):
                fields.entry("name", "name", line.name)
                fields.choice("along", "along", AXES, line.along)
                fields.choice("plane", "plane", self._planes(), line.plane)
                if not line.through:
                    fields.entry("std", "std, px", _plain(line.std_px))
                fields.tick("straight", "straight in reality", line.is_straight)
            change = partial(change_line, line.name, fields.typed, bool(line.through))
            self._buttons("line", line.name, change, self._marks, fields)

    def _buttons(
        self, kind: Kind, name: str, change: Callable[[], FormChange], seen: Marks | None, fields: Fields
    ) -> None:
        trouble = box("trouble")

        async def save() -> None:
            if await self._do(change, seen, trouble, fields):
                self._chosen = (kind, fields.typed.get("name", name).strip())

        async def remove() -> None:
            changes = MarkChanges(remove=(f"{kind}={name}",))
            gone = FormChange(changes, ((kind, name),), f"remove {name}", kind, name)
            await self._do(lambda: gone, seen, trouble, fields)

        with box("buttons"):
            button("Save", save, "main", name=f"save {kind} {name}")
            button("Remove", remove, name=f"remove {kind} {name}")

    async def _do(
        self, change: Callable[[], FormChange], seen: Marks | None, trouble: Element, fields: Fields
    ) -> bool:
        trouble.clear()
        was_touched, fields.is_touched = fields.is_touched, False
        try:
            asked = change()
            await self._write(asked.changes, asked.words, seen, asked.touched)
        except DryfitError as error:
            fields.is_touched = was_touched
            if not trouble.is_deleted:
                with trouble:
                    show_refusal(error)
            return False
        return True

    def _draw_known(self) -> None:
        self._forms = {}
        self._known_holder.clear()
        photo = self._photo
        if photo is None or not photo.sha256:
            return
        marks = photo.marks or Marks("", 1.0)
        with self._known_holder:
            text("h2", "Known and wanted")
            self._group(
                "known lengths", len(marks.lengths), lambda: self._lengths(marks), "a door, a surveyed width"
            )
            self._group(
                "planes", len(marks.planes), lambda: self._plane_rows(marks), "what lies in one flat face"
            )
            self._group(
                "sizes to be measured",
                len(marks.sizes),
                lambda: self._sizes(marks),
                "two points, one dimension",
            )
            self._group("marks that state no std", 0, lambda: self._std(marks), f"{_plain(marks.std_px)} px")

    def _group(self, words: str, count: int, draw: Callable[[], None], soft: str) -> None:
        with box("", "details") as details:
            if self._open.get(words):
                details.props["open"] = True
            text("summary", f"{words}: {count}" if count else f"{words} ({soft})")
            draw()

        def note(event: object) -> None:
            self._open[words] = bool(getattr(event, "args", False))

        details.on("toggle", note, js_handler="(e) => emit(e.target.open)")

    def _kept(self, kind: Kind, key: str, rows: Sequence[tuple[str, str, Callable[[], None]]]) -> None:
        """What is there, each to be changed or removed. rows: name, words, what fills the form."""
        seen = self._marks
        trouble = box("trouble")

        async def remove(name: str) -> None:
            changes = MarkChanges(remove=(name if kind == "length" else f"{kind}={name}",))
            gone = FormChange(changes, ((kind, name),), f"remove the {kind} {name}", kind, name)
            await self._do(lambda: gone, seen, trouble, self._forms[key])

        with box("kept-rows", "table"), box("", "tbody"):
            for name, words, fill in rows:
                with box("", "tr"):
                    text("td", words)
                    with box("", "td"):
                        button("Change", fill, "plain", name=f"change {kind} {name}")
                        button("Remove", partial(remove, name), "plain", name=f"remove {kind} {name}")

    def _form(self, key: str, draw: Callable[[Fields], None], change: Callable[[Fields], FormChange]) -> None:
        seen = self._marks
        fields = Fields()
        self._forms[key] = fields
        with box("mark-form"):
            with box("fields"):
                draw(fields)
            trouble = box("trouble")

            async def save() -> None:
                await self._do(lambda: change(fields), seen, trouble, fields)

            with box("buttons"):
                button("Save", save, name=f"save {key}")

    def _lengths(self, marks: Marks) -> None:
        names = [point.name for point in marks.points]
        holder: list[Element] = []

        def fill(item: MarkedLength | None) -> None:
            holder[0].clear()
            with holder[0]:
                before = "" if item is None else ":".join(sorted(item.between))

                def draw(fields: Fields) -> None:
                    fields.choice("from", "from", named(names, "choose"), item.between[0] if item else "")
                    fields.choice("to", "to", named(names, "choose"), item.between[1] if item else "")
                    fields.entry("length", "length", item.stated if item else "", "2040 mm")
                    std = f"{_plain(item.length.std)} mm" if item else ""
                    fields.entry("std", "std", std, "3 mm")
                    fields.choice("along", "along", AXES, item.along if item else "")
                    fields.entry("source", "source", item.source if item else "")

                self._form("known length", draw, lambda fields: change_length(fields.typed, before))

        rows = [
            (
                ":".join(sorted(item.between)),
                f"{item.between[0]} to {item.between[1]}: {item.stated}, std {_plain(item.length.std)} mm"
                + (f", along {item.along}" if item.along else ""),
                partial(fill, item),
            )
            for item in marks.lengths
        ]
        self._forms["known length"] = Fields()
        self._kept("length", "known length", rows)
        holder.append(box("contents"))
        fill(None)

    def _plane_rows(self, marks: Marks) -> None:
        own = [plane.name for plane in marks.planes if not plane.parallel_to]
        holder: list[Element] = []

        def fill(item: MarkedPlane | None) -> None:
            holder[0].clear()
            with holder[0]:

                def draw(fields: Fields) -> None:
                    fields.entry("name", "name", item.name if item else "")
                    fields.choice("axes", "along", PLANE_AXES, "".join(item.axes) if item else "xz")
                    others = [name for name in own if item is None or name != item.name]
                    fields.choice(
                        "parallel to",
                        "or parallel to",
                        named(others, "none"),
                        item.parallel_to if item else "",
                    )
                    is_parallel = item is not None and bool(item.parallel_to)
                    fields.entry(
                        "offset", "offset, mm", _plain(item.offset_mm.value) if item and is_parallel else ""
                    )
                    fields.entry(
                        "offset std",
                        "its std, mm",
                        _plain(item.offset_mm.std) if item and is_parallel else "",
                    )

                self._form(
                    "plane", draw, lambda fields: change_plane(fields.typed, item.name if item else "")
                )

        rows = [(item.name, _plane_words(item), partial(fill, item)) for item in marks.planes]
        self._forms["plane"] = Fields()
        self._kept("plane", "plane", rows)
        holder.append(box("contents"))
        fill(None)

    def _sizes(self, marks: Marks) -> None:
        names = [point.name for point in marks.points]
        dimensions = list(self._report.dimensions) if self._report else []
        holder: list[Element] = []

        def fill(item: MarkedSize | None) -> None:
            holder[0].clear()
            with holder[0]:

                def draw(fields: Fields) -> None:
                    fields.entry("name", "name", item.id if item else "")
                    fields.choice("from", "from", named(names, "choose"), item.between[0] if item else "")
                    fields.choice("to", "to", named(names, "choose"), item.between[1] if item else "")
                    fields.choice("of", "dimension", named(dimensions, "choose"), item.of if item else "")
                    fields.choice("along", "along", AXES, item.along if item else "")

                self._form("size", draw, lambda fields: change_size(fields.typed, item.id if item else ""))

        rows = [
            (item.id, f"{item.id}: {item.between[0]} to {item.between[1]}, {item.of}", partial(fill, item))
            for item in marks.sizes
        ]
        self._forms["size"] = Fields()
        self._kept("size", "size", rows)
        holder.append(box("contents"))
        fill(None)
        if not dimensions:
            text("p", "The document has no [[dimension]] yet: add one for each size that is wanted.", "soft")

    def _std(self, marks: Marks) -> None:
        fields = Fields()
        self._forms["std"] = fields
        with box("mark-form"):
            with box("fields"):
                fields.entry("std", "std of marks that state none, px", _plain(marks.std_px))
            trouble = box("trouble")

            async def save() -> None:
                def change() -> FormChange:
                    return FormChange(change_std(fields.typed), (), "change the std of marks", "point", "")

                await self._do(change, self._marks, trouble, fields)

            with box("buttons"):
                button("Save", save, name="save the std of marks that state none")


def _plane_words(item: MarkedPlane) -> str:
    if item.parallel_to:
        offset = f"{_plain(item.offset_mm.value)} mm, std {_plain(item.offset_mm.std)} mm"
        return f"{item.name}: parallel to {item.parallel_to}, {offset} nearer"
    return f"{item.name}: along {item.axes[0]} and {item.axes[1]}"


def _plain(value: float) -> str:
    return write_number(value, 3)
