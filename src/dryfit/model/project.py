"""The project: everything that the document states."""

from __future__ import annotations

from dataclasses import dataclass, field
from fractions import Fraction

from dryfit.base.estimate import Estimate
from dryfit.model.characteristic import Characteristic
from dryfit.model.joint import Joint
from dryfit.model.machine import Machine
from dryfit.model.material import Material
from dryfit.model.part import Part

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
    """The document as the core sees it."""

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

    def machine(self, id: str) -> Machine:
        return next(machine for machine in self.machines if machine.id == id)

    def material(self, id: str) -> Material:
        return next(material for material in self.materials if material.id == id)

    def part(self, id: str) -> Part:
        return next(part for part in self.parts if part.id == id)

    def joint(self, id: str) -> Joint:
        return next(joint for joint in self.joints if joint.id == id)
