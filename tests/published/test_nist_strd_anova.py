"""Certified analyses of variance of one factor, NIST StRD (seen: shipped among scipy's own test data).

As a gauge study of one person: treatments are parts, replicates are readings of each. The sets with 13 constant
leading digits (SmLs07 to 09) are left out: their spread lies at the rounding of double precision.
"""

import re
from pathlib import Path

import numpy as np
import pytest
import scipy

from dryfit.calc.gauging import analyse_crossed
from published.registry import check

FOLDER = Path(scipy.__file__).parent / "stats" / "tests" / "data" / "nist_anova"


def read(name):
    """Certified (between, within) rows of sum of squares and degrees of freedom, F, residual std; and the data."""
    text = (FOLDER / f"{name}.dat").read_text(encoding="ascii")
    between = re.search(r"^Between \w+\s+(\d+)\s+(\S+)\s+(\S+)\s+(\S+)", text, re.MULTILINE)
    within = re.search(r"^Within \w+\s+(\d+)\s+(\S+)", text, re.MULTILINE)
    residual = re.search(r"Certified Residual\s+Standard Deviation\s+(\S+)", text)
    rows = [line.split() for line in text[text.index("Data:", text.index("Certified R")) :].splitlines()[1:]]
    groups = {}
    for group, value in (row for row in rows if len(row) == 2):
        groups.setdefault(group, []).append(float(value))
    return between.groups(), within.groups(), float(residual.group(1)), np.array([list(groups.values())])


@pytest.mark.skipif(not FOLDER.exists(), reason="this scipy comes without its test data")
@pytest.mark.parametrize(
    ("name", "relative"),
    # 3, 7, 1, 1, 1, 7, 7, 7 constant leading digits: what they take away cannot be had back
    [
        *(("SiRstv", 1e-9), ("AtmWtAg", 1e-6)),
        *((f"SmLs0{number}", 1e-11) for number in (1, 2, 3)),
        *((f"SmLs0{number}", 1e-6) for number in (4, 5, 6)),
    ],
)
def test_one_factor(name, relative):
    (dof_between, between, _, f), (dof_within, within), residual, readings = read(name)
    source = f"NIST StRD {name}"
    study = analyse_crossed(readings)
    parts, repeats = study.lines
    assert (parts.dof, repeats.dof) == (int(dof_between), int(dof_within))
    for quantity, theirs, ours in (
        ("sum of squares between", float(between), parts.squares),
        ("sum of squares within", float(within), repeats.squares),
        ("F", float(f), parts.f),
        ("residual standard deviation", residual, study.repeatability),
    ):
        check(source, quantity, theirs, ours, relative * abs(theirs), seen=True)
