"""Serves the photographs upright: a reduced copy to look at, and squares at full size for the magnifier.

An address changes with the picture. Squares of one picture are cut together, since decoding takes the time; those of
the last few pictures are kept.
"""

from __future__ import annotations

import asyncio
from collections import OrderedDict
from pathlib import Path
from typing import Protocol
from urllib.parse import quote

from fastapi import FastAPI, Response

from dryfit.app.evidence_page import EvidencePhoto, EvidenceReport
from dryfit.app.photographs import show_photo, show_tiles
from dryfit.base.errors import DryfitError
from dryfit.web.meshes import answer_plain

ROUTE = "/bench/photo"
SIDE_PX = 1024
LOOK_PX = 2400  # along the longer side of the copy that is looked at
SMALL_PX = 240
_SIZES = (LOOK_PX, SMALL_PX)
_MOST_CUT = 3
_MOST_COPIES = 60
_FOR_EVER = "private, max-age=31536000, immutable"


class HoldsEvidence(Protocol):
    """Whatever knows the photographs that are shown now."""

    path: Path

    @property
    def evidence_report(self) -> EvidenceReport | None: ...


class ViewPictures:
    """Makes, keeps and hands out the pictures of the project that is shown now."""

    def __init__(self, provider: HoldsEvidence) -> None:
        self._provider = provider
        self._copies: OrderedDict[tuple[str, int], bytes] = OrderedDict()
        self._cut: OrderedDict[str, dict[tuple[int, int], bytes]] = OrderedDict()
        self._making = asyncio.Lock()  # one picture is decoded at a time: a large one takes much memory

    def register(self, app: FastAPI) -> None:
        """Add the routes of the pictures."""
        # The longer pattern first: the other would take its addresses too.
        app.get(ROUTE + "/{photo}/{column}-{row}.tile.jpg")(self.answer_tile)
        app.get(ROUTE + "/{photo}/{longest}.jpg")(self.answer)

    async def answer(self, photo: str, longest: int, v: str = "") -> Response:
        """The upright picture, reduced; or in plain words why not."""
        shown = self._find(photo, v)
        if isinstance(shown, Response):
            return shown
        if longest not in _SIZES:
            return answer_plain(400, f"Pictures are reduced to {_SIZES[0]} or {_SIZES[1]} pixels.")
        key = (shown.sha256, longest)
        try:
            async with self._making:
                if key not in self._copies:
                    work = asyncio.to_thread(show_photo, self._provider.path, photo, longest)
                    self._copies[key] = await work
                self._copies.move_to_end(key)
                while len(self._copies) > _MOST_COPIES:
                    self._copies.popitem(last=False)
                return _picture(self._copies[key])
        except DryfitError as error:
            return answer_plain(422, str(error))

    async def answer_tile(self, photo: str, column: int, row: int, v: str = "") -> Response:
        """One square at full size; or in plain words why not."""
        shown = self._find(photo, v)
        if isinstance(shown, Response):
            return shown
        try:
            async with self._making:
                if shown.sha256 not in self._cut:
                    work = asyncio.to_thread(show_tiles, self._provider.path, photo, SIDE_PX)
                    self._cut[shown.sha256] = await work
                self._cut.move_to_end(shown.sha256)
                while len(self._cut) > _MOST_CUT:
                    self._cut.popitem(last=False)
                content = self._cut[shown.sha256].get((column, row))
        except DryfitError as error:
            return answer_plain(422, str(error))
        if content is None:
            return answer_plain(404, f"The picture of {photo} has no such square.")
        return _picture(content)

    def _find(self, photo: str, version: str) -> EvidencePhoto | Response:
        report = self._provider.evidence_report
        shown = report.photo(photo) if report is not None else None
        if shown is None or not shown.sha256:
            return answer_plain(404, f"There is no picture {photo} in the project that is open.")
        if version != shown.sha256[:24]:
            return answer_plain(409, f"The picture of {photo} has changed since this page was loaded.")
        return shown


def picture_address(photo: EvidencePhoto, longest_px: int = LOOK_PX) -> str:
    """Where a photograph is fetched."""
    return f"{ROUTE}/{quote(photo.id, safe='')}/{longest_px}.jpg?v={photo.sha256[:24]}"


def tile_address(photo: EvidencePhoto) -> str:
    """The same of its squares, with COLUMN and ROW to be filled in."""
    return f"{ROUTE}/{quote(photo.id, safe='')}/COLUMN-ROW.tile.jpg?v={photo.sha256[:24]}"


def _picture(content: bytes) -> Response:
    return Response(content, media_type="image/jpeg", headers={"Cache-Control": _FOR_EVER})
