"""The photographs of a server: their last report, read anew when a file changes; and pictures that were dropped."""

from __future__ import annotations

import asyncio
import itertools
import shutil
import tempfile
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Literal

from fastapi import FastAPI, Request
from fastapi.responses import JSONResponse
from starlette.datastructures import UploadFile
from starlette.exceptions import HTTPException

from dryfit.app.evidence_page import EvidenceReport, look_again, read_evidence
from dryfit.app.photo_adding import PhotoAddReport, add_photos
from dryfit.base.errors import DryfitError, MeshRefused, NotWritten, ReferenceUnknown
from dryfit.web.uploads import keep_file, safe_name

if TYPE_CHECKING:
    from dryfit.web.bench import Bench

PHOTO_UPLOAD_PATH = "/bench/photographs"
LARGEST_PHOTOS_BYTES = 1 << 30
MOST_PHOTOS = 100
REST_S = 1.5

State = Literal["waiting", "refused", "added"]


@dataclass(frozen=True, slots=True)
class DroppedPhoto:
    """A picture that was dropped. error: where it is refused; report: where it was added."""

    id: int
    name: str
    state: State = "waiting"
    error: DryfitError | None = None
    report: PhotoAddReport | None = None


class EvidenceDesk:
    """One per server; every tab sees the same report.

    refusal  why the photographs cannot be read at all; the report is then an older one, or None
    """

    def __init__(self, bench: Bench) -> None:
        self._bench = bench
        self.report: EvidenceReport | None = None
        self.refusal: DryfitError | None = None
        self._folder = tempfile.TemporaryDirectory(prefix="dryfit-photos-")
        self._numbers = itertools.count(1)
        self._dropped: dict[int, DroppedPhoto] = {}
        self._reading = asyncio.Lock()
        self._asked = self._begun = 0
        self.number = 0  # of the reading that gave the report; later readings have higher ones
        self._waiting: asyncio.Task[None] | None = None

    @property
    def dropped(self) -> tuple[DroppedPhoto, ...]:
        """Dropped pictures whose outcome was not put away, oldest first."""
        return tuple(self._dropped.values())

    @property
    def next_number(self) -> int:
        """At least that of a reading that is asked for from now on."""
        return self._asked + 1

    def close(self) -> None:
        """Remove what was received and not added."""
        if self._waiting is not None:
            self._waiting.cancel()
        self._folder.cleanup()

    async def read(self) -> None:
        """Read, check and measure the photographs anew, and tell every tab. Many calls at once are one reading."""
        self._asked += 1
        mine = self._asked
        async with self._reading:
            if self._begun >= mine:  # another call began to read after this one was made
                return
            number = self._begun = self._asked
            before, refused_before = self.report, self.refusal
            try:
                self.report = await self._bench.compute(lambda: read_evidence(self._bench.path))
            except DryfitError as error:
                self.refusal = error
            else:
                self.refusal, self.number = None, number
        if before is None or self.refusal is not refused_before or not self._is_as(before):
            self._bench.tell()
        if before is not None and self.report is not None and _sizes(before) != _sizes(self.report):
            self._reschedule_soon()

    def _is_as(self, before: EvidenceReport) -> bool:
        """Whether a page would show the same as before: then nobody needs to be told."""
        return self.report is not None and _shown(self.report) == _shown(before)

    def _reschedule_soon(self) -> None:
        """The schedule rests on other sizes now; while marks are being moved it waits for the hand to rest."""
        if self._waiting is not None:
            self._waiting.cancel()
        self._waiting = asyncio.create_task(self._reschedule())

    async def _reschedule(self) -> None:
        await asyncio.sleep(REST_S)
        # From here on it is not called off: what was begun is shown.
        self._waiting = None
        await self._bench.compute(self._bench.live.reschedule)
        self._bench.tell()

    async def follow(self) -> None:
        """Read anew where a picture, its marks or the document changed since, whoever changed it."""
        if self._reading.locked():
            return
        if self.report is None:
            if self.refusal is None or not self._bench.on_disk_changed:
                return
            await self.read()
            return
        stamp = self.report.stamp
        if await asyncio.to_thread(look_again, stamp) != stamp:
            await self.read()

    async def receive(self, files: Sequence[UploadFile]) -> list[DroppedPhoto]:
        """Keep the files, then add each by itself: one that is refused does not stop the others."""
        received = [await self._receive_one(file) for file in files]
        for item in received:
            if item.state == "waiting":
                await self._add(item, False)
        # Taken now: while all is read anew they may be put away.
        outcomes = [self._dropped.get(item.id, item) for item in received]
        await self._read_all()
        return outcomes

    async def take_again(self, number: int) -> None:
        """Add a refused picture in the place of the one that has its name. Raises ReferenceUnknown."""
        await self._add(self._find(number), True)
        await self._read_all()

    def put_away(self, number: int) -> None:
        """Forget a dropped picture's outcome. Raises ReferenceUnknown."""
        del self._dropped[self._find(number).id]
        shutil.rmtree(self._place(number), ignore_errors=True)
        self._bench.tell()

    async def _read_all(self) -> None:
        """The document names the photographs: it is another now."""
        if any(item.state == "added" for item in self._dropped.values()):
            await self._bench.reload()
        await self.read()

    def _find(self, number: int) -> DroppedPhoto:
        found = self._dropped.get(number)
        if found is None or found.state == "waiting":
            what = f"no dropped picture waits under the number {number}"
            raise ReferenceUnknown(what, "the dropped pictures", "drop it again")
        return found

    def _place(self, number: int) -> Path:
        return Path(self._folder.name) / str(number)

    async def _receive_one(self, file: UploadFile) -> DroppedPhoto:
        item = DroppedPhoto(next(self._numbers), (file.filename or "")[:200])
        try:
            name = safe_name(file.filename or "")
            target = self._place(item.id) / name
            await self._bench.run_job(f"receiving {name}", lambda report: keep_file(file, target, report))
            item = replace(item, name=name)
        except DryfitError as error:
            item = replace(item, state="refused", error=error)
        self._dropped[item.id] = item
        return item

    async def _add(self, item: DroppedPhoto, again: bool) -> None:
        file = self._place(item.id) / item.name
        try:
            async with self._bench.writing:
                report = await self._bench.run_job(
                    f"reading {item.name}",
                    lambda progress: add_photos(self._bench.path, [file], again=again, progress=progress),
                )
        except DryfitError as error:
            # named as it was dropped, not where it waits
            told = DryfitError(error.what, error.where.replace(str(file), file.name), error.do)
            self._dropped[item.id] = replace(item, state="refused", error=told)
        else:
            self._dropped[item.id] = replace(item, state="added", error=None, report=report)
            shutil.rmtree(self._place(item.id), ignore_errors=True)
        self._bench.tell()


def _shown(report: EvidenceReport) -> object:
    photos = [(item.line, item.verdict, item.sha256, item.marks) for item in report.photos]
    sizes = report.sizes.sizes, report.sizes.suspects, report.sizes.not_used
    return photos, report.between, sizes, report.dimensions


def _sizes(report: EvidenceReport) -> object:
    return report.sizes.sizes, report.sizes.not_used


def add_photo_route(app: FastAPI, desk: EvidenceDesk) -> None:
    """POST /bench/photographs, multipart: any pictures. Answers {"files": [{"name", "state"}]}."""

    @app.post(PHOTO_UPLOAD_PATH)
    async def receive(request: Request) -> JSONResponse:
        try:
            async with request.form(max_files=MOST_PHOTOS, max_fields=MOST_PHOTOS) as form:
                files = [item for _, item in form.multi_items() if isinstance(item, UploadFile)]
                done = await desk.receive(files)
                return JSONResponse({"files": [{"name": item.name, "state": item.state} for item in done]})
        except HTTPException as error:
            return _refused(400, MeshRefused(str(error.detail), "the dropped pictures", "drop them again"))
        except OSError as error:
            what = f"the pictures cannot be kept: {error.strerror}"
            return _refused(507, NotWritten(what, tempfile.gettempdir(), "make room there"))


def _refused(status: int, error: DryfitError) -> JSONResponse:
    words = {"what": error.what, "where": error.where, "do": error.do}
    return JSONResponse({"files": [], "refused": words}, status_code=status)
