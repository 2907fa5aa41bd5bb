"""Noncentrality for alpha 0.1 % and power 80 %: Baarda 1968, tables (memory; reproduces, text not seen)."""

from dryfit.calc.adjust import Levels
from published.registry import check


def test_noncentrality() -> None:
    check("Baarda 1968", "root of lambda0, 0.1 % and 80 %", 4.13, Levels().noncentrality, 5e-3, seen=False)
    check("Baarda 1968", "lambda0, 0.1 % and 80 %", 17.075, Levels().noncentrality ** 2, 2e-3, seen=False)
    check(
        "Baarda 1968",
        "lambda0, 5 % and 80 %",
        7.849,
        Levels(blunder=0.05).noncentrality ** 2,
        2e-3,
        seen=False,
    )
