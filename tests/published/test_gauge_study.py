"""Gauge study of ten parts, three people, three trials: measurement systems analysis manual (memory).

The manual rounds as it goes: mean range .3417, range of people's means .4446, and its factors to four digits
(.5908, .5231, .3146). With its roundings the range method reproduces to its digits; without them it lies as far
off as they are coarse. The analysis of variance is that of the same manual, printed to six digits.
"""

import math

import numpy as np
import pytest

from dryfit.calc.gauging import analyse_crossed, analyse_ranges, range_factor, split_ranges
from published.registry import check

SOURCE = "measurement systems analysis manual, gauge study"
TABLES = (
    """.29 -.56 1.34 .47 -.80 .02 .59 -.31 2.26 -1.36
    .41 -.68 1.17 .50 -.92 -.11 .75 -.20 1.99 -1.25
    .64 -.58 1.27 .64 -.84 -.21 .66 -.17 2.01 -1.31""",
    """.08 -.47 1.19 .01 -.56 -.20 .47 -.63 1.80 -1.68
    .25 -1.22 .94 1.03 -1.20 .22 .55 .08 2.12 -1.62
    .07 -.68 1.34 .20 -1.28 .06 .83 -.34 2.19 -1.50""",
    """.04 -1.38 .88 .14 -1.46 -.29 .02 -.46 1.77 -1.49
    -.11 -1.13 1.09 .20 -1.07 -.67 .01 -.56 1.45 -1.77
    -.15 -.96 .67 .11 -1.45 -.49 .21 -.49 1.87 -2.16""",
)
# (people, parts, trials)
READINGS = np.array([[row.split() for row in table.splitlines()] for table in TABLES], dtype=float).transpose(
    0, 2, 1
)


def test_factors_as_the_manual_prints_them():
    for theirs, size, groups in (
        (0.8862, 2, 30),
        (0.5908, 3, 30),
        (0.7071, 2, 1),
        (0.5231, 3, 1),
        (0.3146, 10, 1),
    ):
        ours = 1.0 / range_factor(size, groups)
        name = f"factor for groups of {size}, {groups} of them"
        check(SOURCE, name, theirs, ours, 5e-5, seen=False)


def test_range_method_with_the_manuals_roundings():
    k1, k2, k3 = (round(1.0 / range_factor(size, groups), 4) for size, groups in ((3, 30), (3, 1), (10, 1)))
    repeatability = 0.3417 * k1
    reproducibility = math.sqrt((0.4446 * k2) ** 2 - repeatability**2 / 30.0)
    both = math.hypot(repeatability, reproducibility)
    parts = 3.511 * k3
    share = 100.0 * both / math.hypot(both, parts)
    for name, theirs, ours in (
        ("repeatability, range method", 0.20188, repeatability),
        ("reproducibility, range method", 0.22963, reproducibility),
        ("both, range method", 0.30575, both),
        ("parts, range method", 1.10456, parts),
    ):
        check(SOURCE, f"{name}, its roundings", theirs, ours, 5.1e-6, seen=False)
    check(
        SOURCE, "share of the spread, range method, its roundings", 26.68, share, 5e-3, seen=False, unit="%"
    )


def test_range_method_from_the_readings():
    study = analyse_ranges(READINGS)
    assert study.reproducibility is not None
    # one unit of the manual's fourth digit in each factor and range
    check(SOURCE, "repeatability, range method", 0.20188, study.repeatability, 3e-5, seen=False)
    check(SOURCE, "reproducibility, range method", 0.22963, study.reproducibility, 1e-4, seen=False)
    check(SOURCE, "both, range method", 0.30575, study.both, 1e-4, seen=False)
    check(SOURCE, "parts, range method", 1.10456, study.parts, 2e-4, seen=False)
    check(SOURCE, "share of the spread, range method", 26.68, 100 * study.share, 5e-3, seen=False, unit="%")
    assert split_ranges(0.3417, 0.4446, 3.511, 3, 10, 3).both == pytest.approx(study.both, abs=1e-4)


def test_analysis_of_variance():
    study = analyse_crossed(READINGS)
    lines = {line.name: line for line in study.lines}
    for name, squares, dof in (
        ("people", 3.1673, 2),
        ("parts", 88.3619, 9),
        ("people with parts", 0.3590, 18),
        ("repeatability", 2.7589, 60),
    ):
        check(SOURCE, f"sum of squares of {name}", squares, lines[name].squares, 5e-5, seen=False)
        assert lines[name].dof == dof
    check(SOURCE, "F of people with parts", 0.434, lines["people with parts"].f or 0.0, 5e-4, seen=False)
    assert study.is_pooled
    assert study.dof == 78
    check(SOURCE, "repeatability, analysis of variance", 0.199933, study.repeatability, 5e-7, seen=False)
    reproducibility = study.reproducibility or 0.0
    check(SOURCE, "reproducibility, analysis of variance", 0.226838, reproducibility, 5.1e-7, seen=False)
    check(SOURCE, "both, analysis of variance", 0.302373, study.both, 2e-6, seen=False)
    check(SOURCE, "parts, analysis of variance", 1.042327, study.parts, 5.1e-7, seen=False)
    check(
        SOURCE,
        "share of the spread, analysis of variance",
        27.86,
        100 * study.share,
        5e-3,
        seen=False,
        unit="%",
    )
