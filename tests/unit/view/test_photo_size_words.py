"""Sizes off photographs in words: two digits, and never a power of ten."""

from __future__ import annotations

import pytest

from dryfit.app.photo_size_records import Cause, SizeLine
from dryfit.app.photo_sizes import PhotoSizes
from dryfit.view.blocks import Table
from dryfit.view.photo_sizes import sizes_blocks


@pytest.mark.parametrize(
    ("std_mm", "one_scale", "words", "off"),
    [
        (0.0123, 0.0123, "marks and camera: 0.012", "+1.2 % off"),
        (9.97, -0.0997, "marks and camera: 10", "-10 % off"),
        (99.7, 0.997, "marks and camera: 100", "+100 % off"),
        (131.0, 1.31, "marks and camera: 131", "+131 % off"),
    ],
)
def test_two_digits_or_all_before_the_point(std_mm: float, one_scale: float, words: str, off: str) -> None:
    causes = (Cause("marks and camera", std_mm),)
    line = SizeLine(
        "h", "front", ("front",), ("a", "b"), "height", "plane", "wall", 9000.0, std_mm, causes, one_scale,
        0.3, 0.5, (), (), True, "",
    )  # fmt: skip
    blocks = sizes_blocks(PhotoSizes("House", ("front",), (line,), (), ()))
    (table,) = (block for block in blocks if isinstance(block, Table))
    assert table.rows[0][5] == words
    assert table.rows[0][7] == off
