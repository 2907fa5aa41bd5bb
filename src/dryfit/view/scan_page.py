"""Scans at a page: the map as a view is told of it, and earlier scans as rows."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from dryfit.app.scan_page import ScanLine, ShownScan
from dryfit.view.blocks import Table
from dryfit.view.digits import write_number
from dryfit.view.scan_colours import scale_limit_mm

_STEPS = 5  # isolines on each side of zero


def map_of_scan(shown: ShownScan, url: str) -> dict[str, Any]:
    """How the deviations of a scan are coloured; url: of the coloured surface."""
    reach = scale_limit_mm(np.array([shown.reach_mm]))
    return {
        "urls": {shown.report.part: url},
        "low": -reach,
        "high": reach,
        "reach": reach,
        "step": reach / _STEPS,
        "title": "outside +, inside -, mm",
        "label": "deviation of the scan",
        "ticks": [],
        "marks": [],
    }


def scans_table(lines: Sequence[ScanLine]) -> Table:
    """Recorded scans of a part; see LINE_HEADS."""
    return Table(
        heads=("record", "when", "scan", "points", "surface seen", "rms, mm", "scatter, mm", "laid by", ""),
        rows=tuple(scan_row(line) for line in lines),
        right=frozenset({3, 4, 5, 6}),
        states=tuple(line.state for line in lines),
    )


def scan_row(line: ScanLine) -> tuple[str, ...]:
    """The cells of a recorded scan; the last says what has changed since."""
    since = []
    if not line.is_shape:
        since.append("the part has another mesh now")
    if not line.is_kept:
        since.append("the file is not in the project")
    return (
        str(line.record),
        line.at[:16].replace("T", " "),
        line.file,
        str(line.points),
        f"{write_number(100.0 * line.covered, 0)} %",
        write_number(line.rms_mm, 3),
        write_number(line.scatter_mm, 3),
        line.alignment,
        "; ".join(since),
    )
