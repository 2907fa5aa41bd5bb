"""Mating faces: where the surfaces of two parts meet, found on their meshes."""

from dryfit.calc.mating.locators import face_locators
from dryfit.calc.mating.report import Mating, MatingReport, NotDetected
from dryfit.calc.mating.search import find_matings

__all__ = ["Mating", "MatingReport", "NotDetected", "face_locators", "find_matings"]
