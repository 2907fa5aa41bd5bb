"""Serves what a view draws over its meshes: triangles of findings and features, surfaces coloured by thickness.

All of it is raw float32, too large for the websocket. An address changes with what it stands for.
"""

from __future__ import annotations

import asyncio
import hashlib
from collections import OrderedDict
from typing import Protocol
from urllib.parse import quote

import numpy as np
from fastapi import FastAPI, Response

from dryfit.app.checking import PartCheck, PartsReport
from dryfit.app.live import Snapshot
from dryfit.app.view_meshes import unpack_surface
from dryfit.app.view_walls import pack_walls, share_wall_budget
from dryfit.base.errors import DryfitError
from dryfit.web.meshes import ViewMeshes, answer_plain

OVERLAY_ROUTE = "/bench/overlay"
WALLS_ROUTE = "/bench/walls"
MOST_BYTES = 64 << 20
_FOR_EVER = "private, max-age=31536000, immutable"


class HoldsReport(Protocol):
    """Whatever knows the project that is shown now, and the checks of its parts."""

    @property
    def snapshot(self) -> Snapshot | None: ...

    @property
    def parts_report(self) -> PartsReport | None: ...


class Overlays:
    """Buffers that pages were given the address of; the oldest are let go of when they take too much room."""

    def __init__(self, most_bytes: int = MOST_BYTES) -> None:
        self._kept: OrderedDict[str, bytes] = OrderedDict()
        self._most_bytes = most_bytes

    def keep(self, content: bytes) -> str:
        """The address under which a buffer can be fetched."""
        name = hashlib.sha256(content).hexdigest()[:32]
        self._kept[name] = content
        self._kept.move_to_end(name)
        while len(self._kept) > 1 and sum(map(len, self._kept.values())) > self._most_bytes:
            self._kept.popitem(last=False)
        return f"{OVERLAY_ROUTE}/{name}.bin"

    def register(self, app: FastAPI) -> None:
        """Add the route of the buffers."""
        app.get(OVERLAY_ROUTE + "/{name}.bin")(self.answer)

    async def answer(self, name: str) -> Response:
        """One buffer, or in plain words why not."""
        content = self._kept.get(name)
        if content is None:
            return answer_plain(404, "This mark is not kept any more: choose it again.")
        return _raw(content)


class ViewWalls:
    """Surfaces coloured by wall thickness, made from the copies of a view when they are first asked for."""

    def __init__(self, provider: HoldsReport, copies: ViewMeshes) -> None:
        self._provider = provider
        self._copies = copies
        self._kept: dict[str, tuple[PartCheck, bytes]] = {}

    def register(self, app: FastAPI) -> None:
        """Add the route of the surfaces."""
        app.get(WALLS_ROUTE + "/{part:path}.bin")(self.answer)

    async def answer(self, part: str, v: str = "") -> Response:
        """The surface of one part, or in plain words why not."""
        report = self._provider.parts_report
        check = None if report is None else next((item for item in report.parts if item.id == part), None)
        if report is None or check is None or check.thickness is None:
            return answer_plain(404, f"The walls of {part} are not measured.")
        if v != walls_version(check):
            return answer_plain(409, f"The walls of {part} were measured anew: load the page again.")
        try:
            content = await self._surface(check, len(report.parts))
        except DryfitError as error:
            return answer_plain(422, str(error))
        return _raw(content)

    async def _surface(self, check: PartCheck, parts: int) -> bytes:
        kept = self._kept.get(check.id)
        if kept is not None and kept[0].thickness is check.thickness:
            return kept[1]
        copy = unpack_surface(await self._copies.copy_of(check.id))
        thickness = check.thickness
        assert thickness is not None
        most = share_wall_budget(parts)
        content = await asyncio.to_thread(pack_walls, *copy, thickness, most)
        self._kept[check.id] = (check, content)
        return content


def walls_version(check: PartCheck) -> str:
    """Changes with the part's mesh and with what was measured of it."""
    digest = hashlib.sha256(check.sha256.encode())
    if check.thickness is not None:
        digest.update(np.ascontiguousarray(check.thickness.points).tobytes())
        digest.update(np.ascontiguousarray(check.thickness.wall_mm).tobytes())
    return digest.hexdigest()[:24]


def walls_address(check: PartCheck) -> str:
    """Where the coloured surface of a part is fetched."""
    return f"{WALLS_ROUTE}/{quote(check.id, safe='')}.bin?v={walls_version(check)}"


def _raw(content: bytes) -> Response:
    return Response(content, media_type="application/octet-stream", headers={"Cache-Control": _FOR_EVER})
