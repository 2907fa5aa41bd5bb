"""By how much to sand, shim, fill or lengthen so that results with limits come right."""

from dryfit.calc.remedies.amounts import Choice, Results, balancing_amounts, best_amounts, risk_outside

__all__ = ["Choice", "Results", "balancing_amounts", "best_amounts", "risk_outside"]
