"""What a qualification says of a machine."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

from dryfit.base.arrays import Array, locked


@dataclass(frozen=True, slots=True, eq=False)
class Qualification:
    """The error figures of a machine, estimated from readings.

    record      number in the ledger; 0 where it is not recorded
    at          UTC, ISO 8601
    artefact    ledger record of the artefact
    readings    ledger records of the readings that it rests on
    figures     (8,) in the order of model.machine.FIGURES: scales [-], skews [deg], offset and flare [mm]
    covariance  (8, 8) of the figures, in their units
    dof         degrees of freedom of its variances; infinite where they were taken as known
    repeatability_mm   std of one printed point, per axis [mm]
    repeatability_std_mm  its standard uncertainty [mm]
    first_layer_height_mm  within which the flare acts [mm]
    material    id of the material of the artefact
    shrinkage, shrinkage_std   of that material, as taken [-]
    with_shrinkage  (8,) covariance of each figure with that shrinkage
    tied        by name of what another qualification may share (an instrument's zero, the shrinkage): (8,) by how
                much each figure would be off where that departs by one standard deviation
    """

    record: int
    at: str
    machine: str
    artefact: int
    readings: tuple[int, ...]
    figures: Array
    covariance: Array
    dof: float
    repeatability_mm: float
    repeatability_std_mm: float
    first_layer_height_mm: float
    material: str
    shrinkage: float
    shrinkage_std: float
    with_shrinkage: Array
    tied: Mapping[str, tuple[float, ...]] = field(default_factory=dict)

    def __post_init__(self) -> None:
        for name, shape in (("figures", (8,)), ("covariance", (8, 8)), ("with_shrinkage", (8,))):
            object.__setattr__(self, name, locked(getattr(self, name), shape, name))

    @property
    def std(self) -> Array:
        """(8,) standard uncertainty of each figure."""
        std: Array = self.covariance.diagonal() ** 0.5
        return std

    def shared_with(self, other: Qualification) -> Array:
        """(8, 8) covariance of these figures (rows) with those of another qualification, by what both share."""
        shared = np.zeros((len(self.figures), len(other.figures)))
        for name in self.tied.keys() & other.tied.keys():
            shared += np.outer(self.tied[name], other.tied[name])
        return shared
