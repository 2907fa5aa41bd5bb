"""Scans dropped on a page: received, laid on their part outside the event loop, shown in every tab.

They wait in the system's folder for temporary files, and are copied into the project once they were laid.
"""

from __future__ import annotations

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

from dryfit.app.scan_page import ScanLine, ShownScan, lay_scan, show_scan
from dryfit.app.scanning import ScanRequest
from dryfit.base.errors import DryfitError, MeshRefused, NotWritten, ReferenceUnknown
from dryfit.web.uploads import keep_file, safe_name

if TYPE_CHECKING:
    from dryfit.web.bench import Bench

SCAN_UPLOAD_PATH = "/bench/scans"
LARGEST_SCAN_BYTES = 1 << 30

State = Literal["waiting", "being laid", "refused", "laid"]


@dataclass(frozen=True, slots=True, eq=False)
class ScanItem:
    """The scan of a part that is dealt with now.

    file   where it lies;  name: as it was dropped, or its place in the project
    error  where it is refused;  shown: where it was laid
    """

    id: int
    part: str
    name: str
    file: Path
    state: State = "waiting"
    error: DryfitError | None = None
    shown: ShownScan | None = None


class ScanDesk:
    """One per server: for each part the scan that was taken last."""

    def __init__(self, bench: Bench) -> None:
        self._bench = bench
        self._folder = tempfile.TemporaryDirectory(prefix="dryfit-scans-")
        self._numbers = itertools.count(1)
        self._items: dict[str, ScanItem] = {}

    def item(self, part: str) -> ScanItem | None:
        """What was taken last for a part."""
        return self._items.get(part)

    def close(self) -> None:
        """Remove what was received and not laid."""
        self._folder.cleanup()

    async def receive(self, part: str, files: Sequence[UploadFile]) -> ScanItem:
        """Keep a dropped scan until it is laid. Raises DryfitError where that cannot be."""
        snapshot = self._bench.snapshot
        if snapshot is None or part not in snapshot.opened.shapes:
            raise ReferenceUnknown(
                f"there is no part {part[:80]}", "the dropped scan", "choose a part, drop it again"
            )
        if len(files) != 1:
            what = f"{len(files)} files were dropped, a scan is one"
            raise MeshRefused(what, part, "drop the scan of this part alone")
        self._check_free(part)
        name = safe_name(files[0].filename or "")
        number = next(self._numbers)
        file = Path(self._folder.name) / str(number) / name
        await self._bench.run_job(f"receiving {name}", lambda report: keep_file(files[0], file, report))
        return self._take(ScanItem(number, part, name, file))

    def take_kept(self, part: str, line: ScanLine) -> ScanItem:
        """Take a scan of the project once more. Raises MeshRefused while another is being laid."""
        self._check_free(part)
        return self._take(ScanItem(next(self._numbers), part, line.file, self._project_folder / line.file))

    def put_away(self, part: str) -> None:
        """Forget the scan of a part; what was recorded stays. Raises MeshRefused while it is being laid."""
        self._check_free(part)
        self._drop(self._items.pop(part, None))
        self._bench.tell()

    async def lay(self, part: str, request: ScanRequest) -> None:
        """Lay the waiting scan on its part; what comes of it stands in the item."""
        item = self._items[part]
        snapshot = self._bench.snapshot
        if snapshot is None or item.state == "being laid":
            return
        self._put(replace(item, state="being laid", error=None, shown=None))
        try:
            report = await self._bench.run_job(
                f"laying {item.name} on {part}",
                lambda progress: lay_scan(snapshot.opened, replace(request, file=item.file), progress),
            )
            shown = await self._bench.compute(lambda: show_scan(report))
        except DryfitError as error:
            # named as it was dropped, not where it waits
            told = DryfitError(error.what, error.where.replace(str(item.file), item.name), error.do)
            self._put(replace(item, state="refused", error=told, shown=None))
            return
        except BaseException:
            self._put(replace(item, state="waiting", error=None, shown=None))
            raise
        self._drop(item)
        kept = snapshot.opened.folder / report.file
        self._put(replace(item, name=report.file, file=kept, state="laid", error=None, shown=shown))
        await self._bench.look_at_ledger()

    @property
    def _project_folder(self) -> Path:
        snapshot = self._bench.snapshot
        assert snapshot is not None
        return snapshot.opened.folder

    def _check_free(self, part: str) -> None:
        item = self._items.get(part)
        if item is not None and item.state == "being laid":
            raise MeshRefused("a scan is being laid on it", part, "wait until it is done, or cancel it")

    def _take(self, item: ScanItem) -> ScanItem:
        self._drop(self._items.get(item.part))
        self._put(item)
        return item

    def _put(self, item: ScanItem) -> None:
        self._items[item.part] = item
        self._bench.tell()

    def _drop(self, item: ScanItem | None) -> None:
        if item is not None:
            shutil.rmtree(Path(self._folder.name) / str(item.id), ignore_errors=True)


def add_scan_route(app: FastAPI, desk: ScanDesk) -> None:
    """POST /bench/scans?part=ID, multipart: one scan. Answers {"files": [{"name", "state"}]}."""

    @app.post(SCAN_UPLOAD_PATH)
    async def receive(request: Request, part: str = "") -> JSONResponse:
        try:
            async with request.form(max_files=8, max_fields=8) as form:
                files = [item for _, item in form.multi_items() if isinstance(item, UploadFile)]
                item = await desk.receive(part, files)
                return JSONResponse({"files": [{"name": item.name, "state": item.state}]})
        except HTTPException as error:
            return _refused(400, MeshRefused(str(error.detail), "the dropped scan", "drop it again"))
        except DryfitError as error:
            return _refused(422, error)
        except OSError as error:
            what = f"the scan cannot be kept: {error.strerror}"
            return _refused(507, NotWritten(what, tempfile.gettempdir(), "make room there"))


def _refused(status: int, error: DryfitError) -> JSONResponse:
    words = {"what": error.what, "where": error.where, "do": error.do}
    return JSONResponse({"files": [], "refused": words}, status_code=status)
