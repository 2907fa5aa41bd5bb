"""Candidates compared with the best pose: by few points first, since most are soon seen to fit worse."""

from __future__ import annotations

from dryfit.base.arrays import Array
from dryfit.calc.scans.coarse import PartModel
from dryfit.calc.scans.rigid import RigidMotion
from dryfit.calc.scans.sampled import ClosestSurface
from dryfit.calc.scans.telling import Comparison, compare_misfits, misfit

NEARLY = 0.15  # rise of the misfit below which a pose is worth an exact comparison
_FEW = 1500


class Nearly:
    """Whether a candidate may yet fit as well as the best, by few points: another is not worth more of them."""

    def __init__(
        self, surface: ClosestSurface, few: Array, best: RigidMotion, scatter_mm: float, rise: float
    ) -> None:
        self._surface, self._few, self._scatter_mm = surface, few, scatter_mm
        self._most = self._misfit(best) + rise

    def _misfit(self, motion: RigidMotion) -> float:
        return float(misfit(self._surface, motion.apply(self._few), self._scatter_mm).mean())

    def holds(self, motion: RigidMotion) -> bool:
        """Its misfit is not above the best one's by more than the rise."""
        return self._misfit(motion) < self._most


class Judge:
    """Compares candidates with the best pose, whose misfit is looked up once."""

    def __init__(self, model: PartModel, check: Array, best: RigidMotion, scatter_mm: float) -> None:
        self._model, self._scatter_mm, self._check = model, scatter_mm, check
        self._best, self._places = best, best.apply(check)
        self._quick = misfit(model.quick, self._places, scatter_mm)
        is_quick = model.quick is model.surface
        self._exact = self._quick if is_quick else misfit(model.surface, self._places, scatter_mm)

    def compare(self, motion: RigidMotion) -> Comparison:
        """By few points and the quick surface; by all and the exact one where those find it nearly as good."""
        some = slice(None, None, max(1, len(self._check) // _FEW))
        model, places = self._model, self._places[some]
        theirs = misfit(model.quick, motion.apply(self._check[some]), self._scatter_mm)
        compared = compare_misfits(self._quick[some], theirs, places, model.quick)
        return compared if compared.rise > NEARLY else self.compare_well(motion)

    def compare_well(self, motion: RigidMotion) -> Comparison:
        """By all points and the exact surface."""
        theirs = misfit(self._model.surface, motion.apply(self._check), self._scatter_mm)
        return compare_misfits(self._exact, theirs, self._places, self._model.surface)
