"""A scan's map put into a file, in the colours of the view."""

from __future__ import annotations

from pathlib import Path

from dryfit.app.picture import save_picture
from dryfit.app.scan_files import check_map_path, save_map_ply
from dryfit.app.scan_report import ScanReport
from dryfit.app.scan_surface import colour_mesh
from dryfit.view.scan_colours import deviation_colours, scale_limit_mm
from dryfit.view.scan_sheet import scan_sheet_svg


def save_map(file: Path, report: ScanReport) -> None:
    """Write the map as a coloured mesh (.ply) or as a sheet with six views (.svg).

    Raises NotWritten where that fails or the ending is another.
    """
    ending = check_map_path(file)
    coloured = colour_mesh(report)
    if ending == ".svg":
        save_picture(file, scan_sheet_svg(report, coloured))
        return
    limit = scale_limit_mm(coloured.values_mm)
    save_map_ply(file, report, coloured, deviation_colours(coloured.values_mm, limit), limit)


def written_line(file: Path) -> str:
    """What is said of a file that was written."""
    return f"Map written: {file}"
