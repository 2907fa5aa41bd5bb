"""Coefficient of thermal expansion of copper, NIST Technical Note 1900, example E13 (seen)."""

import numpy as np
import pytest
from uncertainties import ufloat

from dryfit.base.estimate import Estimate
from dryfit.calc.chain import LinearMap, Sources
from published.registry import check

SOURCE = "NIST TN 1900, E13"
L0, T0, L1, T1 = 1.4999, 288.15, 1.5021, 373.10
STD = (0.0001, 0.02, 0.0002, 0.05)


def first_order() -> LinearMap:
    rise = T1 - T0
    alpha = (L1 - L0) / (L0 * rise)
    row = [-L1 / (L0**2 * rise), alpha / rise, 1.0 / (L0 * rise), -alpha / rise]
    names = ("L0", "T0", "L1", "T1")
    sources = Sources.of([(name, Estimate(0.0, std)) for name, std in zip(names, STD, strict=True)])
    return LinearMap(np.array([alpha]), np.array([row]), sources)


def test_value_and_standard_uncertainty() -> None:
    ours = first_order()
    check(SOURCE, "coefficient", 1.7266e-5, ours.mean[0], 5e-10, seen=True, unit="1/K")
    check(SOURCE, "standard uncertainty", 1.76e-6, ours.std[0], 5e-9, seen=True, unit="1/K")


def test_agrees_with_a_general_purpose_library() -> None:
    values = (L0, T0, L1, T1)
    l0, t0, l1, t1 = (ufloat(value, std) for value, std in zip(values, STD, strict=True))
    alpha = (l1 - l0) / (l0 * (t1 - t0))
    ours = first_order()
    assert ours.mean[0] == pytest.approx(alpha.nominal_value, rel=1e-14)
    assert ours.std[0] == pytest.approx(alpha.std_dev, rel=1e-12)
