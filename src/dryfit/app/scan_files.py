"""The deviation map of a scan as files: a coloured mesh, or a sheet."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from dryfit.app.scan_report import ScanReport
from dryfit.app.scan_surface import ColouredMesh
from dryfit.base.errors import NotWritten
from dryfit.files.scan import encode_map_ply
from dryfit.store.atomic import write_atomically

MAP_ENDINGS = (".ply", ".svg")


def check_map_path(file: Path) -> str:
    """The ending of a map's file, before the work begins.

    Raises NotWritten where its folder is missing or the ending is neither .ply nor .svg.
    """
    ending = file.suffix.lower()
    if ending not in MAP_ENDINGS:
        raise NotWritten(
            f"a map is not written as {ending or 'a file without ending'}",
            str(file),
            "end it in .ply or .svg",
        )
    if not file.parent.is_dir():
        raise NotWritten("there is no such folder", str(file.parent), "make it, or name another place")
    return ending


def save_map_ply(
    file: Path, report: ScanReport, coloured: ColouredMesh, colours: np.ndarray, limit_mm: float
) -> None:
    """Write the coloured mesh, whole or not at all. Lengths in mm, assembly coordinates.

    Raises NotWritten where that fails.
    """
    comments = (
        f"deviation of a scan from the model in mm, colours from -{limit_mm:g} to {limit_mm:g}",
        f"scan sha256 {report.sha256}",
    )
    data = encode_map_ply(coloured.vertices, coloured.faces, colours, coloured.values_mm, comments)
    write_atomically(file, data)
