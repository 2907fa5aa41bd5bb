"""Mesh files dropped on a page: received, asked about where something is missing, and imported.

They are kept in the system's folder for temporary files until they are imported: files within the project's own
folder would be taken where they lie. Nothing of them remains when the server ends.
"""

from __future__ import annotations

import itertools
import os
import shutil
import tempfile
import unicodedata
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

from fastapi import FastAPI, Request
from fastapi.responses import JSONResponse
from starlette.datastructures import UploadFile
from starlette.exceptions import HTTPException

from dryfit.app.importing import ImportReport, check_unit, import_meshes
from dryfit.app.loading import Progress
from dryfit.app.unit_question import ask_unit
from dryfit.base.errors import DryfitError, MeshRefused, NotWritten, ReferenceUnknown, UnitUnknown
from dryfit.view.plain import to_plain

if TYPE_CHECKING:
    from dryfit.web.bench import Bench

UPLOAD_PATH = "/bench/upload"
LARGEST_UPLOAD_BYTES = 2 << 30
MOST_FILES = 200
# Most file systems hold 255 bytes; some room is left for the temporary name that writing takes.
LONGEST_NAME_BYTES = 200
_BLOCK_BYTES = 1 << 20
_ANSWERS = ("unit", "machine", "material")

Asked = Literal["unit", "machine", "material"]
State = Literal["waiting", "asks", "refused", "imported"]


@dataclass(frozen=True, slots=True)
class Choice:
    """One answer, and what it means."""

    value: str
    words: str


@dataclass(frozen=True, slots=True)
class Question:
    """What must be known before a file can be imported; choices are likeliest first."""

    asked: Asked
    words: str
    choices: tuple[Choice, ...]


@dataclass(frozen=True, slots=True)
class Upload:
    """A dropped file.

    answers   what was said so far about its unit, machine and material
    question  where state is asks
    error     where state is refused
    report    where state is imported
    """

    id: int
    name: str
    state: State = "waiting"
    answers: Mapping[str, str] = field(default_factory=dict)
    question: Question | None = None
    error: DryfitError | None = None
    report: ImportReport | None = None


class Uploads:
    """The dropped files of a server; every tab sees the same ones."""

    def __init__(self, bench: Bench) -> None:
        self._bench = bench
        self._folder = tempfile.TemporaryDirectory(prefix="dryfit-")
        self._numbers = itertools.count(1)
        self._uploads: dict[int, Upload] = {}

    @property
    def uploads(self) -> tuple[Upload, ...]:
        """All of them, oldest first."""
        return tuple(self._uploads.values())

    def close(self) -> None:
        """Remove what was received and not imported."""
        self._folder.cleanup()

    async def receive(self, files: Sequence[UploadFile], answers: Mapping[str, str]) -> list[Upload]:
        """Keep the files, then import each that raises no question. Each stands for itself."""
        received = [await self._receive_one(file, answers) for file in files]
        return await self._take([item.id for item in received if item.state == "waiting"], received)

    async def answer(self, upload_id: int, answers: Mapping[str, str], again: bool = False) -> Upload:
        """Try a file once more, with a question answered or the words of a refusal heeded.

        answers : any of unit, machine, material; again : take a file once more that the project has already
        Raises ReferenceUnknown where no file waits under the number.
        """
        upload = self._find(upload_id)
        self._uploads[upload_id] = replace(
            upload, state="waiting", answers={**upload.answers, **answers}, question=None, error=None
        )
        return (await self._take([upload_id], [upload], again))[0]

    def discard(self, upload_id: int) -> None:
        """Forget a file, or the report of one that was imported. Raises ReferenceUnknown as answer does."""
        if not self._is_imported(upload_id):
            self._find(upload_id)
        del self._uploads[upload_id]
        shutil.rmtree(self._place(upload_id), ignore_errors=True)
        self._bench.tell()

    def _find(self, upload_id: int) -> Upload:
        upload = self._uploads.get(upload_id)
        if upload is None or upload.state in ("waiting", "imported"):
            what = f"no dropped file waits under the number {upload_id}"
            raise ReferenceUnknown(what, "the dropped files", "drop it again")
        return upload

    def _is_imported(self, upload_id: int) -> bool:
        upload = self._uploads.get(upload_id)
        return upload is not None and upload.state == "imported"

    def _place(self, upload_id: int) -> Path:
        """A folder for each, so that equal names do not meet before the import looks at them."""
        return Path(self._folder.name) / str(upload_id)

    async def _receive_one(self, file: UploadFile, answers: Mapping[str, str]) -> Upload:
        upload = Upload(
            next(self._numbers), (file.filename or "")[:LONGEST_NAME_BYTES], answers=dict(answers)
        )
        try:
            name = safe_name(file.filename or "")
            target = self._place(upload.id) / name
            await self._bench.run_job(f"receiving {name}", lambda report: keep_file(file, target, report))
            upload = replace(upload, name=name)
        except DryfitError as error:
            upload = replace(upload, state="refused", error=error)
        self._uploads[upload.id] = upload
        return upload

    async def _take(self, ids: Sequence[int], shown: Sequence[Upload], again: bool = False) -> list[Upload]:
        """Import files one by one, then read the project anew, once. Returns what became of those shown."""
        for upload_id in ids:
            self._uploads[upload_id] = await self._import(self._uploads[upload_id], again)
            self._bench.tell()
        if any(self._uploads[upload_id].state == "imported" for upload_id in ids):
            await self._bench.reload()
        return [self._uploads[item.id] for item in shown]

    async def _import(self, upload: Upload, again: bool) -> Upload:
        file = self._place(upload.id) / upload.name
        try:
            check_unit(upload.answers.get("unit"))
            await self._bench.was_read.wait()  # which machines there are is known from then on
            question = None if again else self._ask_owner(upload)
            if question is not None:
                return replace(upload, state="asks", question=question)
            report = await self._run_import(upload, file, again)
        except UnitUnknown as error:
            return replace(upload, state="asks", question=await self._ask_unit(upload, file, error))
        except DryfitError as error:
            return replace(upload, state="refused", error=_named(error, file))
        shutil.rmtree(self._place(upload.id), ignore_errors=True)
        return replace(upload, state="imported", report=report)

    async def _run_import(self, upload: Upload, file: Path, again: bool) -> ImportReport:
        answers = upload.answers

        def work(progress: Progress) -> ImportReport:
            return import_meshes(
                self._bench.path,
                [file],
                answers.get("machine"),
                answers.get("material"),
                check_unit(answers.get("unit")),
                again,
                progress,
            )

        async with self._bench.writing:
            return await self._bench.run_job(f"importing {upload.name}", work)

    def _ask_owner(self, upload: Upload) -> Question | None:
        """Which machine, which material: only where the project has several."""
        snapshot = self._bench.snapshot
        if snapshot is None:
            return None
        project = snapshot.opened.project
        machines = [
            Choice(
                item.id, f"{item.id}: build volume {' x '.join(f'{v:g}' for v in item.build_volume_mm)} mm"
            )
            for item in project.machines
        ]
        if len(machines) > 1 and "machine" not in upload.answers:
            return Question("machine", f"Which machine prints {upload.name}?", tuple(machines))
        materials = [Choice(item.id, f"{item.id}: {item.family}") for item in project.materials]
        if len(materials) > 1 and "material" not in upload.answers:
            return Question("material", f"Which material is {upload.name} printed in?", tuple(materials))
        return None

    async def _ask_unit(self, upload: Upload, file: Path, error: UnitUnknown) -> Question:
        machine = upload.answers.get("machine")
        choices = await self._bench.compute(lambda: ask_unit(file, self._bench.snapshot, machine))
        words = f"{upload.name} states no length unit. Which did the modeller export? {error.do}."
        return Question("unit", words, tuple(Choice(item.unit, item.words) for item in choices))


def safe_name(given: str) -> str:
    """The last part of a file's name, whichever system it comes from.

    Raises MeshRefused for a name that no file should have: hidden, endless or with control characters.
    """
    name = unicodedata.normalize("NFC", given).replace("\\", "/").rpartition("/")[2].strip()
    do = "rename the file, then drop it again"
    if any(unicodedata.category(letter) in ("Cc", "Cf", "Cs", "Zl", "Zp") for letter in given):
        raise MeshRefused("the file's name holds control characters", repr(given[:80]), do)
    if not name or name.startswith("."):
        raise MeshRefused("the file has no name, or a hidden one", repr(given[:80]), do)
    if len(name.encode()) > LONGEST_NAME_BYTES:
        raise MeshRefused(f"the file's name is longer than {LONGEST_NAME_BYTES} bytes", name[:40] + "...", do)
    return name


def _named(error: DryfitError, file: Path) -> DryfitError:
    """A refusal that names the file as it was dropped, not where it waits."""
    if str(file) not in error.where:
        return error
    return DryfitError(error.what, error.where.replace(str(file), file.name), error.do)


def keep_file(file: UploadFile, target: Path, progress: Progress) -> None:
    """Copy a received file to its place in the temporary folder."""
    total, done = file.size or 0, 0
    try:
        target.parent.mkdir()
        with target.open("xb") as out:
            while block := file.file.read(_BLOCK_BYTES):
                out.write(block)
                done += len(block)
                progress(min(done, total), total)
    except OSError as error:
        raise _not_kept(error) from error


def _not_kept(error: OSError) -> NotWritten:
    what = f"the file cannot be kept: {os.strerror(error.errno or 0)}"
    return NotWritten(what, tempfile.gettempdir(), "make room there, or use `dryfit import`")


def add_upload_route(app: FastAPI, uploads: Uploads) -> None:
    """POST /bench/upload, multipart: any files, and the fields unit, machine, material.

    Answers {"files": [...]}: one entry per file, in their order. A single file that waits is tried again by
    the field id instead of a file, with again = "1" to take a file once more.
    """

    @app.post(UPLOAD_PATH)
    async def receive(request: Request) -> JSONResponse:
        try:
            async with request.form(max_files=MOST_FILES, max_fields=MOST_FILES) as form:
                files = [item for _, item in form.multi_items() if isinstance(item, UploadFile)]
                fields = {key: value for key, value in form.multi_items() if isinstance(value, str)}
                return await _respond(uploads, files, fields)
        except HTTPException as error:
            return _refusal(400, MeshRefused(str(error.detail), "the dropped files", "drop them again"))
        except OSError as error:
            return _refusal(507, _not_kept(error))


async def _respond(uploads: Uploads, files: Sequence[UploadFile], fields: Mapping[str, str]) -> JSONResponse:
    answers = {key: fields[key] for key in _ANSWERS if fields.get(key)}
    if files:
        done = await uploads.receive(files, answers)
    else:
        number = fields.get("id", "")
        is_number = number.isascii() and number.isdecimal() and len(number) < 10
        try:
            done = [
                await uploads.answer(int(number) if is_number else 0, answers, fields.get("again") == "1")
            ]
        except ReferenceUnknown as error:
            return _refusal(404, error)
    return JSONResponse({"files": [plain_upload(item) for item in done]})


def plain_upload(upload: Upload) -> dict[str, Any]:
    """An upload as a page's script reads it."""
    question, report = upload.question, upload.report
    return {
        "id": upload.id,
        "name": upload.name,
        "state": upload.state,
        "question": None if question is None else to_plain(question),
        "refused": None if upload.error is None else _plain_error(upload.error),
        "report": None if report is None else to_plain(report),
    }


def _plain_error(error: DryfitError) -> dict[str, str]:
    return {"what": error.what, "where": error.where, "do": error.do}


def _refusal(status: int, error: DryfitError) -> JSONResponse:
    return JSONResponse({"files": [], "refused": _plain_error(error)}, status_code=status)
