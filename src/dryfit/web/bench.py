"""The one open project of a server: its last good state, the work under way, and who wants to hear of it."""

from __future__ import annotations

import asyncio
import hashlib
import itertools
import time
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field, replace
from datetime import datetime
from pathlib import Path
from threading import Event
from typing import Literal, TypeVar

from dryfit.app.checking import PartsReport, check_parts, recall_parts
from dryfit.app.evidence_page import EvidenceCount, EvidenceReport, count_evidence
from dryfit.app.live import LiveProject, Snapshot
from dryfit.app.loading import Progress
from dryfit.app.machine_page import Marks, ledger_stamp, read_marks
from dryfit.app.part_bench import AtHand
from dryfit.app.visits import Visit, note_visit
from dryfit.base.errors import DryfitError, Interrupted
from dryfit.web.evidence_desk import EvidenceDesk
from dryfit.web.overlays import Overlays
from dryfit.web.scan_desk import ScanDesk
from dryfit.web.uploads import Uploads

DOCUMENT_NAME = "project.toml"
POLL_S = 1.0
MOST_THREADS = 4
MOST_JOBS_KEPT = 20
# Progress nearer together than this is not passed on: a page cannot show more.
PROGRESS_S = 0.1

State = Literal["running", "finished", "cancelled", "refused"]
Listener = Callable[[], None]
T = TypeVar("T")


@dataclass(frozen=True, slots=True)
class Job:
    """Long work. done, total: steps; total is 0 until the work says how many there are."""

    id: int
    words: str
    done: int = 0
    total: int = 0
    state: State = "running"
    error: DryfitError | None = None
    stop: Event = field(default_factory=Event, compare=False, repr=False)

    def cancel(self) -> None:
        """Have it stopped at its next step; work that has ended stays as it is."""
        self.stop.set()


class Bench:
    """One per server; every tab sees the same one.

    Everything but the work itself happens in the event loop, so that no lock is needed here.
    refusal          why the document as it is now cannot be used; the snapshot is then an older state, or None
    on_disk_changed  the document is another than the one last read; it is offered, never taken unasked
    loaded_at        local time at which the snapshot was read
    marks            how far the ledger has come in what it knows of machines, whoever wrote to it
    visit            what changed since the visit before, once the project was read
    overlays         what views are given beside the meshes
    evidence         the photographs, read anew whenever a file of theirs changes
    scans            for each part the scan that was taken last
    """

    def __init__(self, path: Path) -> None:
        self.path = path
        self.live = LiveProject(path)
        self.refusal: DryfitError | None = None
        self.on_disk_changed = False
        self.loaded_at: str | None = None
        self.marks = Marks()
        self.visit: Visit | None = None
        self.uploads = Uploads(self)
        self.overlays = Overlays()
        self.evidence = EvidenceDesk(self)
        self.scans = ScanDesk(self)
        self.writing = asyncio.Lock()  # held while the document is edited: one editor at a time
        self.was_read = asyncio.Event()  # set once the first reading has ended, well or not
        self._reading = asyncio.Lock()
        self._read: str | None = None
        self._stamp: tuple[int, ...] = ()
        self._rested_on = (0, 0)  # records of the ledger that the last reading rests on
        self._built_on = 0  # the last record about a part that the snapshot knows of
        self._learning: asyncio.Task[None] | None = None
        self._reloading: asyncio.Task[None] | None = None
        self._at_hand: AtHand | None = None
        self._checked: tuple[Snapshot, PartsReport] | None = None
        self._is_checking = False
        self._jobs: dict[int, Job] = {}
        self._numbers = itertools.count(1)
        self._listeners: dict[int, Listener] = {}
        self.changes = 0  # grows whenever something changed; not while work only goes on
        self._threads = ThreadPoolExecutor(MOST_THREADS, thread_name_prefix="bench")
        self._polling: asyncio.Task[None] | None = None

    @property
    def snapshot(self) -> Snapshot | None:
        """The last good state."""
        return self.live.snapshot

    @property
    def at_hand(self) -> AtHand | None:
        """The open project and what can be read off its parts, kept for as long as its document and meshes are."""
        if self.snapshot is None:
            return None
        opened = self.snapshot.opened
        if self._at_hand is None or self._at_hand.opened is not opened:
            self._at_hand = AtHand(opened)
        return self._at_hand

    @property
    def parts_report(self) -> PartsReport | None:
        """The checks of the parts of this snapshot; None where they were not made since something changed."""
        return self._checked[1] if self._checked is not None and self._checked[0] is self.snapshot else None

    @property
    def evidence_report(self) -> EvidenceReport | None:
        """The photographs as they were read last; None before the first time."""
        return self.evidence.report

    @property
    def evidence_count(self) -> EvidenceCount | None:
        """What the chain says of them; None where there is none."""
        return None if self.evidence.report is None else count_evidence(self.evidence.report)

    @property
    def is_checking(self) -> bool:
        """Whether the parts are being checked."""
        return self._is_checking

    @property
    def jobs(self) -> tuple[Job, ...]:
        """Work under way and lately ended, oldest first."""
        return tuple(self._jobs.values())

    async def start(self) -> None:
        """Read the project, note the visit, and watch the document from then on."""
        self._polling = asyncio.create_task(self._watch())
        # Beside the meshes, which take longer; what refuses them does not refuse the photographs.
        await asyncio.gather(self.evidence.read(), self.reload())
        if self.snapshot is not None:
            await self._note_visit()

    async def stop(self) -> None:
        """Ask all work to end; it ends at its next step."""
        for task in (self._polling, self._reloading, self._learning):
            if task is not None:
                task.cancel()
        for job in self.jobs:
            job.cancel()
        self._threads.shutdown(wait=False, cancel_futures=True)
        self.uploads.close()
        self.evidence.close()
        self.scans.close()

    async def reload(self) -> None:
        """Read everything anew. Where that is refused the last good state stays, and refusal says why."""
        async with self._reading:
            # Taken before reading: an edit meanwhile is then offered rather than missed.
            fingerprint = await asyncio.to_thread(self._fingerprint)
            await self._follow_ledger()
            self._rested_on = (self.marks.qualification, self.marks.schedule)
            self._built_on = self.marks.built
            try:
                await self.run_job("reading the project", self.live.load)
            except Interrupted as error:
                if self.snapshot is None:
                    self.refusal = error
            except DryfitError as error:
                self.refusal, self._read = error, fingerprint
            else:
                self.refusal, self._read = None, fingerprint
                self.loaded_at = datetime.now().astimezone().isoformat(" ", "seconds")
            self.on_disk_changed = await asyncio.to_thread(self._has_changed)
            self.was_read.set()
            self.tell()
            await self.recall_parts()

    async def relearn(self) -> None:
        """Forecast anew on the parts as built, of a project whose document and meshes are the same."""
        async with self._reading:
            built, before = self.marks.built, self.snapshot
            self._built_on = built
            try:
                await self.compute(self.live.relearn)
            except DryfitError as error:
                self.refusal = error
            else:
                self.refusal = None
            now = self.snapshot
            # The meshes and joints that were checked are the same.
            if now is not None and self._checked is not None and self._checked[0] is before:
                self._checked = (now, self._checked[1])
            self.tell()

    async def check_parts(self) -> None:
        """Check the parts as they were read; unchanged ones cost nothing. One check at a time.

        Raises what checking raises; Interrupted where it is cancelled.
        """
        snapshot = self.snapshot
        if snapshot is None or self._is_checking:
            return
        self._is_checking = True
        try:
            report = await self.run_job(
                "checking the parts",
                lambda progress: check_parts(
                    snapshot.opened, snapshot.chain.structure.faces, progress=progress
                ),
            )
            # Another state may have been read meanwhile: then this is not its report.
            self._checked = (snapshot, report)
        finally:
            self._is_checking = False
            self.tell()

    async def recall_parts(self) -> None:
        """The report that kept results make up, where they are complete."""
        snapshot = self.snapshot
        if snapshot is None or self.parts_report is not None or self._is_checking:
            return
        report = await self.compute(lambda: recall_parts(snapshot.opened, snapshot.chain.structure.faces))
        if report is not None:
            self._checked = (snapshot, report)
            self.tell()

    def subscribe(self, listener: Listener) -> Callable[[], None]:
        """Have a function called, in the event loop, whenever something here changed; returns the way out."""
        number = next(self._numbers)
        self._listeners[number] = listener
        return lambda: (self._listeners.pop(number, None), None)[1]

    async def run_job(self, words: str, work: Callable[[Progress], T]) -> T:
        """Do long work in a thread, where every tab sees its progress and may cancel it.

        work : is given a function to call with (steps done, steps in all); that raises Interrupted once the
        job is cancelled
        Raises what the work raises; the job keeps it as its error.
        """
        job = Job(next(self._numbers), words)
        self._jobs[job.id] = job
        self._forget_old()
        self.tell()
        loop = asyncio.get_running_loop()
        progress = _progress_of(
            job, lambda done, total: loop.call_soon_threadsafe(self._advance, job.id, done, total)
        )
        try:
            result = await loop.run_in_executor(self._threads, work, progress)
        except Interrupted as error:
            self._end(job.id, "cancelled", error)
            raise
        except DryfitError as error:
            self._end(job.id, "refused", error)
            raise
        except asyncio.CancelledError:
            # Whoever waited is gone: the work ends at its next step.
            job.cancel()
            self._end(job.id, "cancelled", None)
            raise
        except BaseException as error:
            # Raised on, so that it is logged; the page must not show the work as still going on.
            self._end(job.id, "refused", _unforeseen(error, words))
            raise
        self._end(job.id, "finished", None)
        return result

    async def compute(self, work: Callable[[], T]) -> T:
        """Do short work in a thread, without a job to show: an answer while a slider moves."""
        return await asyncio.get_running_loop().run_in_executor(self._threads, work)

    def _advance(self, job_id: int, done: int, total: int) -> None:
        job = self._jobs.get(job_id)
        # A last report may arrive after the end.
        if job is not None and job.state == "running":
            self._jobs[job_id] = replace(job, done=done, total=total)
            self._call_listeners()

    def _end(self, job_id: int, state: State, error: DryfitError | None) -> None:
        job = self._jobs[job_id]
        self._jobs[job_id] = replace(job, state=state, error=error)
        self.tell()

    def _forget_old(self) -> None:
        ended = [job.id for job in self._jobs.values() if job.state != "running"]
        for number in ended[: max(0, len(self._jobs) - MOST_JOBS_KEPT)]:
            del self._jobs[number]

    def tell(self) -> None:
        """Something changed: call every listener soon."""
        self.changes += 1
        self._call_listeners()

    def _call_listeners(self) -> None:
        # Each call stands for itself: one listener's fault is logged by the loop and stops no other.
        loop = asyncio.get_running_loop()
        for listener in self._listeners.values():
            loop.call_soon(listener)

    async def _note_visit(self) -> None:
        try:
            self.visit = await self.compute(lambda: note_visit(self.path))
        except DryfitError as error:
            # A ledger that cannot be written to is shown as a job; the project itself is fine.
            job = Job(next(self._numbers), "noting the visit", state="refused", error=error)
            self._jobs[job.id] = job
        self.tell()

    def cancel(self, job_id: int) -> None:
        """Have a job stopped at its next step; one that has ended, or is forgotten, stays as it is."""
        if job_id in self._jobs:
            self._jobs[job_id].cancel()

    async def _watch(self) -> None:
        while True:
            await asyncio.sleep(POLL_S)
            changed = await asyncio.to_thread(self._has_changed)
            if changed != self.on_disk_changed:
                self.on_disk_changed = changed
                self.tell()
            if await self._follow_ledger():
                self.tell()
            self._take_qualification()
            self._take_built()
            await self.evidence.follow()

    async def look_at_ledger(self) -> None:
        """See at once what was recorded here, and have every tab see it."""
        if await self._follow_ledger():
            self.tell()
        self._take_qualification()
        self._take_built()

    async def _follow_ledger(self) -> bool:
        """Whether records about machines came since the last look; the files are read only where they changed."""
        stamp = await asyncio.to_thread(ledger_stamp, self.path)
        if stamp == self._stamp:
            return False
        self._stamp = stamp
        try:
            marks = await asyncio.to_thread(read_marks, self.path)
        except DryfitError:
            # A ledger that cannot be read is refused where it is needed; there is nothing new in it.
            return False
        before, self.marks = self.marks, marks
        return marks != before

    def _take_qualification(self) -> None:
        """Read the project anew where a machine was qualified since, or the evidence was decided on.

        Its figures or its dimensions are others then.

        A document that changed as well is offered first; both are then read together.
        """
        is_known = (self.marks.qualification, self.marks.schedule) == self._rested_on
        is_busy = self._reading.locked() or (self._reloading is not None and not self._reloading.done())
        if self._read is None or is_known or is_busy or self.on_disk_changed:
            return
        self._reloading = asyncio.create_task(self.reload())

    def _take_built(self) -> None:
        """Forecast anew where something was recorded about a part since."""
        is_busy = self._reading.locked() or (self._reloading is not None and not self._reloading.done())
        is_learning = self._learning is not None and not self._learning.done()
        if self.snapshot is None or self.marks.built == self._built_on or is_busy or is_learning:
            return
        self._learning = asyncio.create_task(self.relearn())

    def _has_changed(self) -> bool:
        return self._read is not None and self._fingerprint() != self._read

    def _fingerprint(self) -> str:
        """Hash of the document on disk; a word where it is not there or cannot be read."""
        file = self.path / DOCUMENT_NAME if self.path.is_dir() else self.path
        try:
            return hashlib.sha256(file.read_bytes()).hexdigest()
        except OSError as error:
            return f"unreadable: {error.strerror}"


def _progress_of(job: Job, advance: Callable[[int, int], object]) -> Progress:
    last = 0.0

    def report(done: int, total: int) -> None:
        nonlocal last
        if job.stop.is_set():
            raise Interrupted(f"{job.words}: cancelled", "the workbench", "start it again when wanted")
        now = time.monotonic()
        if now - last >= PROGRESS_S or done >= total:
            last = now
            advance(done, total)

    return report


def _unforeseen(error: BaseException, words: str) -> DryfitError:
    what = f"{words} failed in a way that was not foreseen ({type(error).__name__}: {error})"
    return DryfitError(what, "the program itself", "the terminal shows the whole trace; nothing was changed")
