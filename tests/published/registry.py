"""Comparison of a figure with its source; the same call feeds the validation table.

Each comparison asserts, and where the environment variable DRYFIT_VALIDATION names a file it appends one
JSON line to it, from which tools/validation.py writes docs/validation.md.
"""

from __future__ import annotations

import json
import math
import os


def check(
    source: str,
    quantity: str,
    theirs: float,
    ours: float,
    tolerance: float,
    *,
    seen: bool,
    unit: str = "",
) -> None:
    """Hold our value of a quantity against the source's.

    tolerance : largest difference allowed, in the same unit; where the source is rounded, half its last digit
    seen : whether the source's text, or the library's output, was read; False: named from memory, or a closed
        form or independent computation described beside the test
    """
    row = {
        "source": source,
        "seen": seen,
        "quantity": quantity,
        "theirs": float(theirs),
        "ours": float(ours),
        "tolerance": float(tolerance),
        "unit": unit,
    }
    path = os.environ.get("DRYFIT_VALIDATION")
    if path:
        with open(path, "a", encoding="utf-8") as file:
            file.write(json.dumps(row, sort_keys=True) + "\n")
    difference = float(ours) - float(theirs)
    assert math.isfinite(difference), f"{quantity}: {ours} against {theirs}"
    assert abs(difference) <= tolerance, (
        f"{quantity}: {ours} {unit}, {source} has {theirs}, off by {difference:.3g}"
    )
