"""What must hold of scans whatever the numbers are."""

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from dryfit.app.scan_report import decide
from dryfit.base.rotation import rotation_from_vector
from dryfit.calc.scans import RigidMotion, fit_rigid, fit_similarity, rotation_vector

numbers = st.floats(-3.0, 3.0, allow_nan=False, width=32)
vectors = st.tuples(numbers, numbers, numbers).map(np.array)


def cloud(seed: int) -> np.ndarray:
    return np.random.default_rng(seed).normal(size=(12, 3)) * [30.0, 20.0, 10.0]


@settings(max_examples=60, deadline=None)
@given(vectors, vectors, st.integers(0, 1000))
def test_a_rigid_motion_is_found_again_whatever_it_was(
    turn: np.ndarray, shift: np.ndarray, seed: int
) -> None:
    points = cloud(seed)
    motion = RigidMotion(rotation_from_vector(turn), 100.0 * shift)
    found = fit_rigid(points, motion.apply(points))
    np.testing.assert_allclose(found.motion.apply(points), motion.apply(points), atol=1e-9)
    np.testing.assert_allclose(found.motion.inverse().apply(motion.apply(points)), points, atol=1e-8)


@settings(max_examples=60, deadline=None)
@given(vectors, st.floats(0.1, 40.0), st.integers(0, 1000))
def test_a_change_of_size_is_found_and_kept_out_of_the_turn(
    turn: np.ndarray, scale: float, seed: int
) -> None:
    points = cloud(seed)
    rotation = rotation_from_vector(turn)
    found = fit_similarity(points, scale * points @ rotation.T)
    assert abs(found.scale / scale - 1.0) < 1e-9
    np.testing.assert_allclose(found.motion.rotation, rotation, atol=1e-9)


@settings(max_examples=80, deadline=None)
@given(vectors)
def test_the_vector_of_a_rotation_makes_the_same_rotation(turn: np.ndarray) -> None:
    rotation = rotation_from_vector(turn)
    again = rotation_from_vector(rotation_vector(rotation))
    np.testing.assert_allclose(again, rotation, atol=1e-6)
    assert np.linalg.norm(rotation_vector(rotation)) <= np.pi + 1e-9


@settings(max_examples=100, deadline=None)
@given(st.floats(-5, 5), st.floats(0.001, 2), st.floats(0.001, 2))
def test_a_finer_instrument_never_turns_an_answer_into_its_opposite(
    value: float, fine: float, more: float
) -> None:
    coarse, sharp = decide(value, fine + more, -1.0, 1.0)[0], decide(value, fine, -1.0, 1.0)[0]
    assert {coarse, sharp} != {"accept", "reject"}
    if coarse in ("accept", "reject"):
        assert sharp == coarse
