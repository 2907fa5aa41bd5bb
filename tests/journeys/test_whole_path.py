"""The simulation of the invented building from marks to sizes; the long one is in benchmarks/test_photo.py."""

from __future__ import annotations

import numpy as np

from support.whole_path import frequencies


def test_twelve_runs_from_marks_to_sizes() -> None:
    found = frequencies(12)
    assert found.mirrored == found.runs
    assert found.wrong == found.runs
    assert found.used == 0  # what is suspected is never used silently
    # 84 intervals of 95 %: 13 or more misses have a probability below 0.0005, were they independent
    assert np.sum(found.runs - found.inside) < 13
