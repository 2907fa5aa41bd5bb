"""The neutral start takes the candidate that adds least in size, not the most negative one."""

import numpy as np

from dryfit.calc.orient import Choices, neutral_start


def test_a_large_negative_effect_is_not_a_small_one() -> None:
    vectors = (np.array([[-3.0, 0.0], [0.1, 0.1]]), np.array([[1.0, -1.0], [0.5, 0.6]]))
    choices = Choices(np.zeros(2), vectors, (np.zeros(2), np.zeros(2)))
    assert neutral_start(choices).tolist() == [1, 1]
