"""An open project that is asked again and again: what-ifs while a slider moves, files that change on disk.

A page holds one of these. Each what-if re-uses every stage of the chain that the change leaves alone, so
that a changed figure costs milliseconds and only a changed joint places anew.
"""

from __future__ import annotations

import dataclasses
import hashlib
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from threading import Lock

from dryfit.app.forecast import (
    Chain,
    Provenance,
    run_forecast,
)
from dryfit.app.live_chain import chain_for
from dryfit.app.loading import Opened, Progress, open_project
from dryfit.app.photo_sizes import photo_evidence
from dryfit.app.prediction import chain_of, provenance_of, record_forecast
from dryfit.app.schedule import Options, schedule_project
from dryfit.app.schedule_report import ScheduleReport
from dryfit.app.whatif import apply_what_if
from dryfit.base.errors import DryfitError
from dryfit.calc.chain.montecarlo import DEFAULT_SAMPLES
from dryfit.model.forecast import ForecastReport

__all__ = ["LiveProject", "Snapshot", "chain_for", "schedule_opened", "try_what_if"]

QUICK_SAMPLES = 4_000  # draws while a slider moves; the settled answer takes the full number
QUICK_CAUSES = 3


@dataclass(frozen=True, slots=True, eq=False)
class Snapshot:
    """One state of an open project: what was read, its chain and its forecast.

    schedule   its dimension schedule with what changed since the last recorded one, itself not recorded; where none
               comes out, why; None where it was not asked for
    """

    opened: Opened
    chain: Chain
    report: ForecastReport
    schedule: ScheduleReport | DryfitError | None = None


class LiveProject:
    """A project folder under work. Thread-safe: pages ask from worker threads."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self._lock = Lock()
        self._snapshot: Snapshot | None = None

    def load(self, progress: Progress | None = None, record: bool = True) -> Snapshot:
        """Read everything anew, forecast it and keep a record of the forecast.

        Raises what reading, placing and the ledger raise; the last good state is then kept.
        """
        opened = open_project(self.path, progress)
        chain = chain_of(opened)
        provenance = provenance_of(opened, chain, (), DEFAULT_SAMPLES, 1)
        report = run_forecast(chain, provenance)
        if record:
            record_forecast(opened, report)
        snapshot = Snapshot(opened, chain, report, schedule_opened(opened))
        with self._lock:
            self._snapshot = snapshot
        return snapshot

    def reschedule(self) -> Snapshot | None:
        """The last good state with the schedule that photographs and records give now; None before the first."""
        before = self.snapshot
        if before is None:
            return None
        after = dataclasses.replace(before, schedule=schedule_opened(before.opened))
        with self._lock:
            # Another state may have been read meanwhile: it has its own.
            if self._snapshot is before:
                self._snapshot = after
            return self._snapshot

    def relearn(self, record: bool = True) -> Snapshot | None:
        """The last good state with the parts as the ledger knows them now; None before the first.

        Raises ComputationRefused where what was read puts a machine beyond all range; the state before is then kept.
        """
        before = self.snapshot
        if before is None:
            return None
        opened = before.opened
        chain = chain_of(opened)
        report = run_forecast(chain, provenance_of(opened, chain, (), DEFAULT_SAMPLES, 1))
        if record:
            record_forecast(opened, report)
        with self._lock:
            now = self._snapshot
            # Another state may have been read meanwhile: it has the parts as they are.
            if now is not None and now.opened is opened:
                self._snapshot = dataclasses.replace(now, chain=chain, report=report)
            return self._snapshot

    @property
    def snapshot(self) -> Snapshot | None:
        """The last good state, or None before the first."""
        with self._lock:
            return self._snapshot

    def is_stale(self) -> bool:
        """Whether the document on disk is no longer the one that was loaded."""
        snapshot = self.snapshot
        if snapshot is None:
            return True
        path = snapshot.opened.document.path
        if not path.is_file():
            return True
        return hashlib.sha256(path.read_bytes()).hexdigest() != snapshot.opened.document.sha256


def schedule_opened(opened: Opened) -> ScheduleReport | DryfitError:
    """The schedule of an open project, not recorded, or why none comes out of its evidence."""
    try:
        extras = photo_evidence(opened.folder, opened.project).extras
        return schedule_project(opened.folder, opened.project, Options(record=False), extras)
    except DryfitError as error:
        return error


def try_what_if(
    snapshot: Snapshot, changes: Sequence[str], quick: bool = True
) -> tuple[Chain, ForecastReport]:
    """Forecast a snapshot with what-ifs applied; quick: few draws and only the largest causes.

    Raises ReferenceUnknown or WhatIfRefused for a change that names nothing, ComputationRefused where the
    parts do not settle.
    """
    opened = snapshot.opened
    project = apply_what_if(snapshot.chain.project, changes)
    chain = chain_for(snapshot.chain, project)
    if quick:
        # A quick answer is never kept, and the hash of its inputs would take as long as the answer.
        passing = Provenance("", opened.mesh_hashes, opened.notes, tuple(changes))
        return chain, run_forecast(chain, passing, QUICK_SAMPLES, most_causes=QUICK_CAUSES, with_prior=False)
    return chain, run_forecast(chain, provenance_of(opened, chain, changes, DEFAULT_SAMPLES, 1))
