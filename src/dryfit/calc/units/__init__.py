"""Length units of meshes that state none."""

from dryfit.calc.units.rank import CANDIDATE_UNITS, UnitCandidate, rank_units

__all__ = ["CANDIDATE_UNITS", "UnitCandidate", "rank_units"]
