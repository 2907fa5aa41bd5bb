"""Decision rules with guard bands, JCGM 106:2012 and ISO 14253-1 (memory; reproduce, source texts not seen).

At the edge of the narrowed limits a value conforms with the stated probability: by table 1 of JCGM 106 this edge lies
0.84, 1.28, 1.64, 2.33, 3.09 standard uncertainties inside one limit. The measurement capability index is T/(4 u).
"""

import pytest

from dryfit.calc.chain import probability_outside
from dryfit.calc.gauging import guard_limits
from published.registry import check

SOURCE = "JCGM 106:2012, 8.3.2 with table 1"
TABLE = [(0.80, 0.84), (0.90, 1.28), (0.95, 1.64), (0.99, 2.33), (0.999, 3.09)]


@pytest.mark.parametrize(("conforms", "z"), TABLE)
def test_guard_band_of_one_limit(conforms: float, z: float) -> None:
    rule = guard_limits(None, 30.0, 2.0, conforms)
    assert rule.accept_upper is not None
    check(SOURCE, f"guard band over std, {conforms:g}", z, rule.guard / 2.0, 0.005, seen=False)
    outside = probability_outside(rule.accept_upper, 2.0, None, 30.0)
    check(
        SOURCE,
        f"probability of conformity at the edge, {conforms:g}",
        conforms,
        1.0 - outside,
        1e-12,
        seen=False,
    )


def test_accept_reject_and_cannot_tell() -> None:
    # limits 9.8 to 10.2, u 0.05: 0.082 inside is accepted, 0.082 outside is rejected, nothing can be said between
    rule = guard_limits(9.8, 10.2, 0.05)
    said = {9.70: "reject", 9.73: "cannot tell", 9.88: "cannot tell", 9.883: "accept", 10.0: "accept"}
    said |= {10.117: "accept", 10.12: "cannot tell", 10.28: "cannot tell", 10.29: "reject"}
    assert {value: rule.judge(value) for value in said} == said


def test_what_is_accepted_conforms_and_what_is_rejected_does_not() -> None:
    guard_limits(9.8, 10.2, 0.05)
    for value in (9.883, 10.117):
        assert 1.0 - probability_outside(value, 0.05, 9.8, 10.2) >= 0.95
    for value in (9.717, 10.283):
        assert probability_outside(value, 0.05, 9.8, 10.2) >= 0.95


def test_capability_index() -> None:
    rule = guard_limits(9.8, 10.2, 0.05)
    check(
        "JCGM 106:2012, 7.6.3",
        "measurement capability index",
        0.4 / (4 * 0.05),
        rule.capability or 0.0,
        1e-12,
        seen=False,
    )
    assert guard_limits(None, 10.0, 0.1).capability is None


def test_where_the_uncertainty_fills_the_limits_nothing_is_accepted() -> None:
    rule = guard_limits(9.9, 10.1, 0.1)
    assert not rule.can_accept
    assert rule.judge(10.0) == "cannot tell"


def test_limits_that_cannot_be_are_refused() -> None:
    for lower, upper, std, conforms in ((1.0, 0.0, 0.1, 0.95), (0.0, 1.0, -0.1, 0.95), (0.0, 1.0, 0.1, 1.0)):
        with pytest.raises(ValueError):
            guard_limits(lower, upper, std, conforms)
