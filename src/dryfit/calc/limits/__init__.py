"""Limits of size by published tables: ISO 286-1 grades and classes, ISO 2768-1 classes."""

from dryfit.calc.limits.iso_286 import iso_286_grade, iso_286_limits, parse_class
from dryfit.calc.limits.iso_2768 import CLASSES, iso_2768_linear

__all__ = ["CLASSES", "iso_286_grade", "iso_286_limits", "iso_2768_linear", "parse_class"]
