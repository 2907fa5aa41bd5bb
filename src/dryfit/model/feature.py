"""Features: measurable things on parts, and the dimensions that they must agree with."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, get_args

from dryfit.base.arrays import Array, locked
from dryfit.base.estimate import Estimate

FeatureKind = Literal[
    "distance", "extent", "diameter", "position", "angle", "flatness", "section", "thickness", "centres"
]
FEATURE_KINDS: tuple[FeatureKind, ...] = get_args(FeatureKind)
ANGLE_FEATURES = frozenset({"angle"})

Form = Literal["plane", "cylinder", "sphere", "cone", "torus"]
FORMS: tuple[Form, ...] = get_args(Form)


@dataclass(frozen=True, slots=True, eq=False)
class Dimension:
    """A governing size of the prototype.

    prototype_mm  its size and what is known of it [mm], as its own row states it; None: it states none
    scheduled_mm  the same as the schedule has it, from all evidence; None: there is no other evidence
    model_mm      its size in the model where the schedule gives it; None: the scale of the project does
    unknown       why it has no size, in words; "" where it has one
    """

    id: str
    prototype_mm: Estimate | None
    source: str = ""
    scheduled_mm: Estimate | None = None
    model_mm: Estimate | None = None
    unknown: str = ""

    @property
    def size_mm(self) -> Estimate | None:
        """What is known of it in all; None where nothing is."""
        if self.unknown:
            return None
        return self.prototype_mm if self.scheduled_mm is None else self.scheduled_mm


@dataclass(frozen=True, slots=True, eq=False)
class Pick:
    """Which face of a part is meant.

    point_mm   (3,) [mm] a point on the face, assembly coordinates; None: found by direction
    normal     (3,) unit, outward at the point when it was picked; None: not recorded
    form       what the face was when it was picked; None: not recorded
    size_mm    recorded to recognise the face again: radius of a round face (the tube's for a torus),
               square root of the area of a plane; None: not recorded
    direction  (3,) unit: the outermost planar face that faces this way; excludes point_mm
    """

    part: str
    point_mm: Array | None = None
    normal: Array | None = None
    form: Form | None = None
    size_mm: float | None = None
    direction: Array | None = None

    def __post_init__(self) -> None:
        for name in ("point_mm", "normal", "direction"):
            value = getattr(self, name)
            if value is not None:
                object.__setattr__(self, name, locked(value, (3,), name))
        if (self.point_mm is None) == (self.direction is None):
            raise ValueError("a face is picked by a point or by a direction")


@dataclass(frozen=True, slots=True)
class FeatureLimits:
    """Within what a feature must lie; all None: no limits are stated.

    lower, upper              absolute, in the unit of the feature; None: no limit on that side
    lower_deviation, upper_deviation  from the nominal; None: not stated this way
    iso_286                   such as "H8" or "IT9" (standing for plus and minus half of it); "" for none
    iso_2768                  class of ISO 2768-1, such as "m"; "" for none
    """

    lower: float | None = None
    upper: float | None = None
    lower_deviation: float | None = None
    upper_deviation: float | None = None
    iso_286: str = ""
    iso_2768: str = ""


@dataclass(frozen=True, slots=True, eq=False)
class Feature:
    """A measurable thing on one part, or between two parts in the assembly.

    parts      whose meshes are measured; of a feature with faces, the parts of the faces
    direction  (3,) unit: along which an extent, a section or a position is measured
    at_mm      (3,) [mm]: a point of the cutting plane of a section; the datum point of a position
    normal     (3,) unit: of the cutting plane of a section
    nominal    stated size, in the unit of the feature; None where a dimension gives it, or none is stated
    dimension  id of the dimension that gives the nominal, through the scale
    """

    id: str
    kind: FeatureKind
    parts: tuple[str, ...]
    faces: tuple[Pick, ...] = ()
    direction: Array | None = None
    at_mm: Array | None = None
    normal: Array | None = None
    nominal: Estimate | None = None
    dimension: str | None = None
    limits: FeatureLimits = FeatureLimits()

    def __post_init__(self) -> None:
        for name in ("direction", "at_mm", "normal"):
            value = getattr(self, name)
            if value is not None:
                object.__setattr__(self, name, locked(value, (3,), name))

    @property
    def unit(self) -> str:
        """Millimetres or degrees: "mm" or "deg"."""
        return "deg" if self.kind in ANGLE_FEATURES else "mm"
