"""The photographs of a project as a list, and the area on which more are dropped."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial

from dryfit.app.evidence_page import EvidencePhoto, EvidenceReport
from dryfit.view.blocks import State
from dryfit.view.evidence import camera_words, marks_words, missing_words, size_words
from dryfit.web.drop_area import drop_area
from dryfit.web.evidence_desk import PHOTO_UPLOAD_PATH
from dryfit.web.pictures import SMALL_PX, picture_address
from dryfit.web.render import box, state_mark, text


def photo_drop_area() -> None:
    """Where photographs are dropped."""
    drop_area(
        "add photographs",
        "Drop photographs here",
        "JPEG, PNG or TIFF as the camera wrote them; or choose them:",
        "choose photographs to add",
        PHOTO_UPLOAD_PATH,
        (".jpg", ".jpeg", ".png", ".tif", ".tiff"),
    )


@dataclass(frozen=True, slots=True)
class _Row:
    """What is shown of one photograph. small: address of its picture; "" where it is refused."""

    id: str
    small: str
    state: State
    size: str
    camera: str
    missing: str
    is_chosen: bool


class PhotoRows:
    """open: called with the id of the photograph that was chosen."""

    def __init__(self, open: Callable[[str], None]) -> None:
        self._open = open
        self._holder = box("contents")
        self._drawn: tuple[_Row, ...] | None = None

    def show(self, report: EvidenceReport, chosen: str) -> None:
        """The list with one of them chosen; drawn anew only where it is another, not from under a finger."""
        rows = tuple(_row_of(photo, photo.id == chosen) for photo in report.photos)
        if self._drawn == rows:
            return
        self._drawn = rows
        self._holder.clear()
        with self._holder:
            if not rows:
                text("p", "No photograph yet: drop the first one above.", "soft")
                return
            with box("photos", "ul", "photographs"):
                for row in rows:
                    self._row(row)

    def _row(self, row: _Row) -> None:
        with box("chosen" if row.is_chosen else "", "li"):
            small = box("small-picture", "img" if row.small else "div")
            if row.small:
                small.props('alt="" loading="lazy"')
                small.props["src"] = row.small
            with box("photo-name"):
                name = text("button", row.id, "choose").props('type="button"')
                name.props["aria-pressed"] = "true" if row.is_chosen else "false"
                name.on("click", partial(self._open, row.id), args=[])
                state_mark(row.state)
            text("p", row.size, "soft")
            text("p", row.camera)
            if row.missing:
                text("p", row.missing, "soft")


def _row_of(photo: EvidencePhoto, is_chosen: bool) -> _Row:
    wanted = missing_words(photo)
    more = f" ({len(wanted) - 1} more)" if len(wanted) > 1 else ""
    return _Row(
        photo.id,
        picture_address(photo, SMALL_PX) if photo.sha256 else "",
        photo.state,
        f"{size_words(photo)}; {marks_words(photo)}",
        camera_words(photo.verdict.camera),
        f"missing: {wanted[0]}{more}" if wanted else "",
        is_chosen,
    )
