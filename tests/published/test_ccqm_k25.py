"""Seven laboratories' results for PCB105, key comparison CCQM-K25 (inputs seen, outputs computed apart)."""

import numpy as np

from dryfit.calc.adjust import adjust, check_consistency, estimate_scatter
from published.registry import check

SOURCE = "CCQM-K25 PCB105"
X = np.array([10.21, 10.9, 10.94, 10.58, 10.81, 9.62, 10.8])
U = np.array([0.381, 0.25, 0.13, 0.41, 0.445, 0.196, 0.093])
ONE = np.ones((7, 1))


def test_weighted_mean() -> None:
    mean = adjust(ONE, X, U**2)
    check(SOURCE, "weighted mean", 10.68856, mean.estimate[0], 6e-6, seen=False)
    check(SOURCE, "its std", 0.06527, mean.std[0], 6e-6, seen=False)
    check(SOURCE, "chi-square", 37.3369, mean.vpv, 6e-5, seen=False)
    check(SOURCE, "Birge ratio", 2.49456, mean.unit_std, 6e-6, seen=False)
    assert mean.is_consistent is False


def test_scatter_of_paule_and_mandel() -> None:
    scatter = estimate_scatter(ONE, X, U**2, np.ones(7))
    check(SOURCE, "Paule-Mandel variance", 0.183857, scatter.std**2, 6e-7, seen=False)
    check(SOURCE, "mean with it", 10.55774, scatter.adjustment.estimate[0], 6e-6, seen=False)
    check(SOURCE, "std with it", 0.19162, scatter.adjustment.std[0], 6e-6, seen=False)


def test_consistency_of_the_seven_results() -> None:
    found = check_consistency(X, U**2)
    check(SOURCE, "mean, by consistency", 10.68856, found.mean, 6e-6, seen=False)
    check(SOURCE, "Birge ratio, by consistency", 2.49456, found.birge, 6e-6, seen=False)
    check(SOURCE, "spread between sources", 0.183857**0.5, found.between, 2e-6, seen=False)
    check(SOURCE, "mean with it, by consistency", 10.55774, found.between_mean, 6e-6, seen=False)
    check(SOURCE, "std with it, by consistency", 0.19162, found.between_std, 6e-6, seen=False)
