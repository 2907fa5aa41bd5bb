"""Photographs of the invented observatory: five pictures rendered by code, with marks, and their rows in the document.

A guide prints an overall height of 14.6 m. The pictures say 13.4 m, each by another way of measuring: three that were
taken on one day together, a postcard in the plane of a stair tower, an old print by the points in which lines meet.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from types import MappingProxyType

from dryfit.app.demo_files import hash_of
from dryfit.app.demo_photographs_camera import Shot
from dryfit.app.demo_photographs_marks import write_marks
from dryfit.app.demo_photographs_render import render
from dryfit.app.demo_photographs_scene import build_scene, build_targets
from dryfit.app.demo_photographs_shots import list_shots
from dryfit.app.demo_photographs_wishes import list_wishes
from dryfit.files.photo import encode_photograph
from dryfit.store.marks import ENDING

SOURCE = "invented: rendered by code"


@dataclass(frozen=True, slots=True)
class DemoPhotographs:
    """rows: [[photo]] rows of the document; files: content of each file in photos/, by file name."""

    rows: str
    files: Mapping[str, bytes]


@cache
def make_photographs() -> DemoPhotographs:
    """Render all pictures and set their marks. The same bytes each time, so that they are made once."""
    building, targets, wishes = build_scene(), build_targets(), list_wishes()
    files: dict[str, bytes] = {}
    rows = ["# Photographs, rendered by code and captioned so; what is marked on each lies beside it."]
    for shot in list_shots():
        scene = building if shot.is_toned else building + targets  # laid out for the pictures of one day
        data = encode_photograph(render(shot, scene), shot.orientation, shot.taken)
        sha256 = hash_of(data)
        files[shot.file] = data
        files[shot.file + ENDING] = write_marks(shot, wishes[shot.id], sha256).encode("utf-8")
        rows.append(_row(shot, sha256))
    return DemoPhotographs("\n".join(rows), MappingProxyType(files))


def _row(shot: Shot, sha256: str) -> str:
    lines = ["[[photo]]", f'id = "{shot.id}"', f'file = "photos/{shot.file}"', f'sha256 = "{sha256}"']
    lines += [*shot.stated, f'source = "{SOURCE}"', f'date = "{shot.date}"']
    return "\n".join(lines) + "\n"
