"""Which readings to take, and what they are expected to tell before any is taken."""

from dryfit.calc.design.choose import Choice, choose_readings
from dryfit.calc.design.problem import (
    Aim,
    Candidates,
    block_information,
    covariance_of,
    expected_covariance,
    information_of,
)

__all__ = [
    "Aim",
    "Candidates",
    "Choice",
    "block_information",
    "choose_readings",
    "covariance_of",
    "expected_covariance",
    "information_of",
]
