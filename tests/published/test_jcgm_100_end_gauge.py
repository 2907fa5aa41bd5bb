"""End gauge, JCGM 100:2008 annex H.1 (seen; values in nm).

The unrounded results carry u(d) as the root sum square of its parts 5.8, 3.9 and 6.7 (9.68; the parts from
memory), where the table of contributions prints 9.7.
"""

import numpy as np
import pytest

from dryfit.base.estimate import Estimate
from dryfit.calc.chain import LinearMap, Sources, effective_dof, expanded_uncertainty, variance_shares
from dryfit.calc.gauging import Component, combine
from published.registry import check

SOURCE = "JCGM 100:2008, H.1"
LS, D = 50.000623e6, 215.0
AS, TH = 11.5e-6, -0.1
U_D = float(np.sqrt(5.8**2 + 3.9**2 + 6.7**2))
# l = ls + d - ls (da th + as dth), with da = dth = 0 expected: the terms in as and th vanish to first order
GAUGE = LinearMap(
    nominal=np.array([LS + D]),
    matrix=np.array([[1.0, 1.0, -LS * TH, -LS * AS]]),
    sources=Sources.of(
        [
            ("ls", Estimate(0.0, 25.0)),
            ("d", Estimate(0.0, U_D)),
            ("da", Estimate(0.0, 1e-6 / np.sqrt(3.0), "uniform")),
            ("dth", Estimate(0.0, 0.05 / np.sqrt(3.0), "uniform")),
        ]
    ),
)
DOF = np.array([18.0, 25.6, 50.0, 2.0])


def test_length_and_standard_uncertainty() -> None:
    check(SOURCE, "length", 50.000838e6, GAUGE.mean[0], 0.5, seen=True, unit="nm")
    check(SOURCE, "standard uncertainty, unrounded", 31.66, GAUGE.std[0], 0.005, seen=True, unit="nm")
    check(SOURCE, "variance", 31.66**2, GAUGE.covariance[0, 0], 0.4, seen=True, unit="nm2")


def test_contributions() -> None:
    terms = np.abs(GAUGE.matrix[0] * GAUGE.sources.std)
    for name, theirs, ours in zip(GAUGE.sources.names, (25.0, 9.7, 2.9, 16.6), terms, strict=True):
        check(SOURCE, f"contribution of {name}", theirs, ours, 0.05, seen=True, unit="nm")
    shares = variance_shares((GAUGE.matrix * GAUGE.sources.std) ** 2)[0]
    assert shares == pytest.approx(np.array([25.0, 9.7, 2.9, 16.6]) ** 2 / 31.66**2, abs=3e-3)


def test_effective_degrees_of_freedom() -> None:
    ours = effective_dof(np.abs(GAUGE.matrix[0] * GAUGE.sources.std), DOF)
    check(SOURCE, "effective degrees of freedom, unrounded", 16.75, ours, 0.005, seen=True)


def test_expanded_uncertainty() -> None:
    # the source rounds u to 32 nm and nu to 16 before it multiplies
    ours = expanded_uncertainty(32.0, 16.0, 0.99)
    check(SOURCE, "expanded uncertainty, 99 %", 93.0, ours, 0.5, seen=True, unit="nm")


def test_the_budget_of_a_reading_combines_the_same_components() -> None:
    """The parts of H.1 as components of a budget, degrees of freedom included."""
    named = zip(GAUGE.sources.names, GAUGE.matrix[0], GAUGE.sources.std, DOF, strict=True)
    budget = combine(
        [Component(name, std, "", sensitivity, dof, False, "") for name, sensitivity, std, dof in named]
    )
    check(SOURCE, "standard uncertainty, as a budget", 31.66, budget.std_mm, 0.005, seen=True, unit="nm")
    check(SOURCE, "effective degrees of freedom, as a budget", 16.75, budget.dof, 0.005, seen=True)
    largest = max(budget.components, key=budget.share)
    assert largest.name == "ls"
    assert sum(budget.share(item) for item in budget.components) == pytest.approx(1.0)
