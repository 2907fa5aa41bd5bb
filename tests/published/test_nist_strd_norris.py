"""Certified linear regression, NIST StRD Norris (seen: the file is shipped among scipy's own test data)."""

from pathlib import Path

import numpy as np
import scipy

from dryfit.calc.adjust import adjust
from published.registry import check

SOURCE = "NIST StRD Norris"
FILE = Path(scipy.__file__).parent / "stats" / "tests" / "data" / "nist_linregress" / "Norris.dat"


def test_certified_line() -> None:
    lines = FILE.read_text(encoding="ascii").splitlines()
    table = np.array([[float(word) for word in line.split()] for line in lines[60:96]])
    line = adjust(np.column_stack([np.ones(36), table[:, 1]]), table[:, 0], np.ones(36))
    check(SOURCE, "B0", -0.262323073774029, line.estimate[0], 1e-12, seen=True)
    check(SOURCE, "B1", 1.00211681802045, line.estimate[1], 1e-14, seen=True)
    check(SOURCE, "residual std", 0.884796396144373, line.unit_std, 1e-13, seen=True)
    check(SOURCE, "std of B0", 0.232818234301152, line.std[0] * line.unit_std, 1e-13, seen=True)
    check(SOURCE, "std of B1", 0.429796848199937e-03, line.std[1] * line.unit_std, 1e-16, seen=True)
