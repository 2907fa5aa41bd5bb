"""A test artefact: a printed body, and the lengths and angles that are read off it."""

from __future__ import annotations

from dataclasses import dataclass

from dryfit.model.instrument import MeasureKind

Point = tuple[float, float, float]


@dataclass(frozen=True, slots=True)
class Measure:
    """One thing that can be read off an artefact: the commanded geometry of its two ends.

    All points and directions in machine axes, as commanded, in mm.

    number      on the figure and the sheet, from 1
    id          such as "outside-x-300"
    kind        outside, inside: jaws over or between faces; centres: between round posts' or holes' centres;
                step: between faces that look the same way; height: between level faces; diagonal: over two
                corners or posts; square: gap between a square's blade and a face
    ends        "faces": the distance of parallel faces, along their normal; "points": of two points.
                Of no meaning for a square
    first, second  the two ends; of a square the corner and the point of the blade at which the gap is read
    first_out, second_out  level outward direction of the printed surface there, by which a boundary offset
                of 1 mm moves it: unit on a face, longer at a corner (mitre), zero for centres and level faces
    first_is_low, second_is_low  whether that end lies in the first layer, where the flare acts
    toward      of a square: unit direction from the corner along its stock; None otherwise
    from_bed    a height that is taken from the underside of the body: the bed's own offset enters
    words       where it is, for the sheet: "over the outer faces of blocks A and C"
    """

    number: int
    id: str
    kind: MeasureKind
    ends: str
    first: Point
    second: Point
    first_out: Point = (0.0, 0.0, 0.0)
    second_out: Point = (0.0, 0.0, 0.0)
    first_is_low: bool = False
    second_is_low: bool = False
    toward: Point | None = None
    from_bed: bool = False
    words: str = ""

    @property
    def length_mm(self) -> float:
        """Commanded distance of the two ends."""
        return float(sum((b - a) ** 2 for a, b in zip(self.first, self.second, strict=True)) ** 0.5)


@dataclass(frozen=True, slots=True)
class Planned:
    """A measure that is to be read: with which instrument, how often."""

    measure: str
    instrument: str
    repeats: int


@dataclass(frozen=True, slots=True)
class Artefact:
    """A body that was designed for a machine.

    machine     id of the machine
    build_volume_mm  of the machine when it was designed
    size_mm     of the body
    volume_mm3, mass_g, hours   of the body; hours None where they were not estimated
    material    id of the material it is to be printed in
    first_layer_height_mm  up to which the flare acts
    measures    everything that can be read off it
    plan        what is to be read, in the order of the sheet
    sha256      of its mesh
    """

    machine: str
    build_volume_mm: tuple[float, float, float]
    size_mm: tuple[float, float, float]
    volume_mm3: float
    mass_g: float
    hours: float | None
    material: str
    first_layer_height_mm: float
    measures: tuple[Measure, ...]
    plan: tuple[Planned, ...]
    sha256: str = ""

    def measure(self, id: str) -> Measure:
        """The measure of an id. Raises StopIteration where there is none."""
        return next(measure for measure in self.measures if measure.id == id)
