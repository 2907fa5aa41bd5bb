"""Lengths as people write them: feet, inches, fractions and metric units as text."""

from dryfit.calc.quantities.lengths import NotALength, read_length

__all__ = ["NotALength", "read_length"]
