"""A mesh has area as soon as one face has, however many have none."""

import numpy as np
import pytest

from dryfit.calc.mesh import has_area

VERTICES = np.array([[0.0, 0, 0], [1, 0, 0], [2, 0, 0], [0, 1, 0]])
SOUND, FLAT = [0, 1, 3], [0, 1, 2]


@pytest.mark.parametrize(
    ("faces", "expected"),
    [([SOUND], True), ([FLAT], False), ([FLAT, SOUND, FLAT], True), ([[0, 0, 1], FLAT], False)],
)
def test_one_face_with_area_is_enough(faces: list[list[int]], expected: bool) -> None:
    assert has_area(VERTICES, np.array(faces)) is expected
