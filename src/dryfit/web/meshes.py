"""Serves the light copies of the meshes to the three-dimensional view, one part at a time.

Copies are made when they are first asked for, in a process of their own, since decimating holds the
interpreter's lock; they are kept for as long as the project that they belong to is shown.
"""

from __future__ import annotations

import asyncio
import hashlib
import multiprocessing
import os
import threading
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from typing import Protocol
from urllib.parse import quote

from fastapi import FastAPI, Response

from dryfit.app.geometry import PartShape
from dryfit.app.live import Snapshot
from dryfit.app.view_meshes import VIEW_BUDGET, packed_copy, share_budget
from dryfit.base.errors import DryfitError

ROUTE = "/bench/mesh"
LARGEST_LEVEL = 3  # of lighter copies for screens that draw slowly, each a quarter of the one before
_LEAST_TRIANGLES = 300
_FOR_EVER = "private, max-age=31536000, immutable"  # the address changes with the mesh


class HoldsSnapshot(Protocol):
    """Whatever knows the project that is shown now."""

    @property
    def snapshot(self) -> Snapshot | None: ...


@dataclass(frozen=True, slots=True, eq=False)
class Wanted:
    """One copy to be made: the part's shape, how many triangles it may have, and its version."""

    shape: PartShape
    target: int
    version: str

    def at_level(self, level: int) -> Wanted:
        """A lighter copy of the same part."""
        target = min(self.target, max(_LEAST_TRIANGLES, self.target >> 2 * level))
        return Wanted(self.shape, target, f"{self.version}-{level}")

    @property
    def address(self) -> str:
        return f"{ROUTE}/{quote(self.shape.part.id, safe='')}.bin?v={self.version}"


def wanted_copies(snapshot: Snapshot, budget: int = VIEW_BUDGET) -> dict[str, Wanted]:
    """The copies that a view of this state of the project needs, by part id."""
    shapes = snapshot.chain.shapes
    targets = share_budget({name: len(shape.mesh.faces) for name, shape in shapes.items()}, budget)
    return {
        name: Wanted(shape, targets[name], _version(shape, targets[name])) for name, shape in shapes.items()
    }


def _version(shape: PartShape, target: int) -> str:
    """Changes with the part, its mesh's file and object, its unit, its place, and the size of the copy."""
    part, digest = shape.part, hashlib.sha256()
    for text in (shape.mesh.sha256, part.id, part.mesh, str(part.unit), str(target)):
        digest.update(text.encode("utf-8") + b"\0")
    digest.update(part.placement.rotation.tobytes())
    digest.update(part.placement.translation_mm.tobytes())
    return digest.hexdigest()[:24]


class ViewMeshes:
    """Makes, keeps and hands out the copies of the project that is shown now."""

    def __init__(self, provider: HoldsSnapshot) -> None:
        self._provider = provider
        self._kept: dict[str, bytes] = {}
        self._being_made: dict[str, asyncio.Task[bytes]] = {}
        self._worker: ProcessPoolExecutor | None = None

    def register(self, app: FastAPI) -> None:
        """Add the route of the copies."""
        app.get(ROUTE + "/{part:path}.bin")(self.answer)

    def close(self) -> None:
        """End the worker process, if one was started."""
        if self._worker is not None:
            self._worker.shutdown(wait=False, cancel_futures=True)
            self._worker = None

    async def answer(self, part: str, v: str = "", level: int = 0) -> Response:
        """The bytes of one copy, lighter by the level asked for; or in plain words why not."""
        snapshot = self._provider.snapshot
        wanted = None if snapshot is None else wanted_copies(snapshot).get(part)
        if wanted is None or snapshot is None:
            return answer_plain(404, f"There is no part {part} in the project that is open.")
        if v != wanted.version:
            return answer_plain(
                409, f"The mesh of {part} has changed since this page was loaded: load it again."
            )
        if not 0 <= level <= LARGEST_LEVEL:
            return answer_plain(400, f"Copies have levels from 0 to {LARGEST_LEVEL}, not {level}.")
        self._forget_others(snapshot)
        try:
            content = await self._copy(wanted.at_level(level))
        except DryfitError as error:
            return answer_plain(422, str(error))
        headers = {"Cache-Control": _FOR_EVER}
        return Response(content, media_type="application/octet-stream", headers=headers)

    async def copy_of(self, part: str) -> bytes:
        """The bytes of the full copy of a part of the snapshot that is shown.

        Raises KeyError for a part that is not in it, and what making the copy raises.
        """
        snapshot = self._provider.snapshot
        wanted = {} if snapshot is None else wanted_copies(snapshot)
        return await self._copy(wanted[part].at_level(0))

    def _forget_others(self, snapshot: Snapshot) -> None:
        current = {wanted.version for wanted in wanted_copies(snapshot).values()}
        for version in [kept for kept in self._kept if kept.partition("-")[0] not in current]:
            del self._kept[version]

    async def _copy(self, wanted: Wanted) -> bytes:
        """Two pages that ask for the same copy at once share one making."""
        version = wanted.version
        if version not in self._kept:
            if version not in self._being_made:
                self._being_made[version] = asyncio.create_task(self._make(wanted))
            task = self._being_made[version]
            try:
                self._kept[version] = await asyncio.shield(task)
            finally:
                if task.done():
                    self._being_made.pop(version, None)
        return self._kept[version]

    async def _make(self, wanted: Wanted) -> bytes:
        mesh = wanted.shape.mesh
        if len(mesh.faces) <= wanted.target:
            return await asyncio.to_thread(packed_copy, mesh.vertices, mesh.faces, wanted.target)
        if self._worker is None:
            spawn = multiprocessing.get_context("spawn")
            self._worker = ProcessPoolExecutor(1, spawn, initializer=_end_with_parent)
        loop = asyncio.get_running_loop()
        return await loop.run_in_executor(self._worker, packed_copy, mesh.vertices, mesh.faces, wanted.target)


def _end_with_parent() -> None:
    """In the worker: end when the server does, however it ends; nothing that it makes is kept."""
    parent = multiprocessing.parent_process()
    if parent is None:
        raise RuntimeError("a worker of the view has no parent process")

    def wait() -> None:
        parent.join()
        os._exit(0)

    threading.Thread(target=wait, daemon=True).start()


def answer_plain(status: int, words: str) -> Response:
    """An answer in plain words."""
    return Response(words, status_code=status, media_type="text/plain; charset=utf-8")
