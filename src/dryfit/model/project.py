"""The project: everything that the document states."""

from __future__ import annotations

from dataclasses import dataclass, field
from fractions import Fraction

from dryfit.base.estimate import Estimate
from dryfit.model.adhesive import Adhesive
from dryfit.model.characteristic import Characteristic
from dryfit.model.evidence import Observation, Relation, ScaleFrom
from dryfit.model.feature import Dimension, Feature
from dryfit.model.instrument import Instrument
from dryfit.model.joint import Joint
from dryfit.model.machine import Machine
from dryfit.model.material import Material
from dryfit.model.part import Part
from dryfit.model.photo import CalibratedLens, Photo

# Common practice, no source: one characteristic in twenty may be expected out of limits before a
# hold point calls for a stop; the user states another risk in [project].
DEFAULT_RISK = 0.05
# Below absolute zero, or hotter than any printing plastic stands, a stated temperature is a slip.
COLDEST_C, HOTTEST_C = -273.15, 300.0
REFERENCE_TEMP_C = 20.0  # ISO 1:2022, standard reference temperature


@dataclass(frozen=True, slots=True)
class Assembly:
    """Which part stands still, in which order the others are bonded, and at what temperature.

    datum   part id, "ground", or None: chosen by rule
    order   bonding order of all parts, or () : by contact area from the datum
    temp_c  temperature at which the assembly must be right [C]
    """

    datum: str | None = None
    order: tuple[str, ...] = ()
    temp_c: Estimate = Estimate(REFERENCE_TEMP_C)


@dataclass(frozen=True, slots=True)
class Search:
    """How mating faces are looked for: stated gap and angle within which two faces count as meeting."""

    max_gap_mm: float = 0.5
    max_angle_deg: float = 2.0
    min_area_mm2: float = 4.0


@dataclass(frozen=True, slots=True)
class Project:
    """The document as the core sees it.

    scale  model over prototype; None where scale_from fixes the size of one dimension instead
    """

    name: str
    scale: Fraction | None
    risk: float = DEFAULT_RISK
    invented: bool = False
    machines: tuple[Machine, ...] = ()
    materials: tuple[Material, ...] = ()
    parts: tuple[Part, ...] = ()
    joints: tuple[Joint, ...] = ()
    characteristics: tuple[Characteristic, ...] = ()
    assembly: Assembly = field(default_factory=Assembly)
    search: Search = field(default_factory=Search)
    dimensions: tuple[Dimension, ...] = ()
    features: tuple[Feature, ...] = ()
    adhesives: tuple[Adhesive, ...] = ()
    instruments: tuple[Instrument, ...] = ()
    photos: tuple[Photo, ...] = ()
    lenses: tuple[CalibratedLens, ...] = ()
    observations: tuple[Observation, ...] = ()
    relations: tuple[Relation, ...] = ()
    scale_from: ScaleFrom | None = None

    def machine(self, id: str) -> Machine:
        return next(machine for machine in self.machines if machine.id == id)

    def material(self, id: str) -> Material:
        return next(material for material in self.materials if material.id == id)

    def part(self, id: str) -> Part:
        return next(part for part in self.parts if part.id == id)

    def joint(self, id: str) -> Joint:
        return next(joint for joint in self.joints if joint.id == id)

    def adhesive_of(self, joint: str) -> Adhesive | None:
        """What a joint is bonded with, where that is stated."""
        stated = self.joint(joint).adhesive
        return next((item for item in self.adhesives if item.id == stated), None)

    def dimension(self, id: str) -> Dimension:
        return next(dimension for dimension in self.dimensions if dimension.id == id)
