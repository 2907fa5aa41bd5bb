"""Boundary offset and flare of faces, edges and level surfaces, by hand."""

import math

import numpy as np
import pytest

from dryfit.calc.errormodel import outward_motion

HALF = math.sqrt(0.5)


def moved(
    normal: list[float], height: float = 50.0, layer: float = 0.0, pose: np.ndarray | None = None
) -> tuple[np.ndarray, np.ndarray]:
    turn = np.eye(3) if pose is None else pose
    motion = outward_motion(np.array([normal]), turn, np.array([height]), layer)
    return motion.offset[0], motion.flare[0]


@pytest.mark.parametrize(
    ("normal", "offset"),
    [
        ([1.0, 0.0, 0.0], [1.0, 0.0, 0.0]),  # an upright face moves along its normal
        ([0.0, -1.0, 0.0], [0.0, -1.0, 0.0]),
        ([0.0, 0.0, 1.0], [0.0, 0.0, 0.0]),  # top and bottom are not outlines
        ([HALF, 0.0, HALF], [1.0, 0.0, 0.0]),  # outlines of an inclined face grow level, by the whole offset
        ([0.0, 0.0, 0.0], [0.0, 0.0, 0.0]),  # the centre of a hole stays
        ([1.0, 1.0, 0.0], [1.0, 1.0, 0.0]),  # the mitre at an upright edge
        ([0.01, 0.0, 0.99995], [0.0, 0.0, 0.0]),  # as good as level
    ],
)
def test_motion_per_millimetre_of_offset(normal: list[float], offset: list[float]) -> None:
    assert moved(normal)[0] == pytest.approx(offset, abs=1e-12)


def test_a_part_printed_on_its_side_grows_across_its_bed_direction() -> None:
    # assembly z lies along machine x
    pose = np.array([[0.0, 0.0, 1.0], [0.0, 1.0, 0.0], [-1.0, 0.0, 0.0]])
    assert moved([0.0, 0.0, 1.0], pose=pose)[0] == pytest.approx([0.0, 0.0, 1.0])
    assert moved([1.0, 0.0, 0.0], pose=pose)[0] == pytest.approx([0.0, 0.0, 0.0])


@pytest.mark.parametrize(
    ("height", "layer", "share"), [(0.1, 0.3, 1.0), (0.3, 0.3, 1.0), (0.31, 0.3, 0.0), (0.0, 0.0, 0.0)]
)
def test_flare_acts_within_the_first_layers_only(height: float, layer: float, share: float) -> None:
    assert moved([1.0, 0.0, 0.0], height, layer)[1] == pytest.approx([share, 0.0, 0.0])
