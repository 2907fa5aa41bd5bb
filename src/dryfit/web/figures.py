"""Reports that several sheets show of one snapshot, made once for it."""

from __future__ import annotations

import asyncio
from threading import Lock

from dryfit.app.checking import PartsReport
from dryfit.app.live import Snapshot
from dryfit.app.ready import HoldPoint, check_opened

_lock = Lock()
_made: list[tuple[Snapshot, PartsReport | None, HoldPoint]] = []


def hold_point_of(snapshot: Snapshot, parts: PartsReport | None) -> HoldPoint:
    """The hold point of a snapshot and its checked parts. The last one is kept."""
    with _lock:
        if not _made or _made[0][0] is not snapshot or _made[0][1] is not parts:
            report = check_opened(snapshot.opened, snapshot.chain, snapshot.report, parts)
            _made[:] = [(snapshot, parts, report)]
        return _made[0][2]


async def make_hold_point(snapshot: Snapshot, parts: PartsReport | None) -> HoldPoint:
    """The same, outside the event loop."""
    return await asyncio.to_thread(hold_point_of, snapshot, parts)
