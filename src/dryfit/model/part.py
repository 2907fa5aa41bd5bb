"""A printed piece: its mesh, its machine, its pose on the bed and in the assembly."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from dryfit.base.arrays import Array, locked
from dryfit.base.rotation import rotation_from_euler
from dryfit.base.units import LengthUnit
from dryfit.model.machine import FIGURES


@dataclass(frozen=True, slots=True, eq=False)
class Placement:
    """Where the part's own design frame lies in the assembly: x_assembly = rotation @ x + translation_mm."""

    rotation: Array = field(default_factory=lambda: np.eye(3))
    translation_mm: Array = field(default_factory=lambda: np.zeros(3))

    def __post_init__(self) -> None:
        object.__setattr__(self, "rotation", locked(self.rotation, (3, 3), "rotation"))
        object.__setattr__(self, "translation_mm", locked(self.translation_mm, (3,), "translation_mm"))


@dataclass(frozen=True, slots=True)
class Bed:
    """Pose on the bed, design -> machine axes: extrinsic turns about x, y, z in degrees."""

    euler_xyz_deg: tuple[float, float, float] = (0.0, 0.0, 0.0)

    @property
    def rotation(self) -> Array:
        """(3, 3), design -> machine axes."""
        return rotation_from_euler(self.euler_xyz_deg)


@dataclass(frozen=True, slots=True)
class Compensation:
    """The corrected copy of a part that is printed in place of its mesh, and what it makes up for.

    file           the copy, relative to the project folder: as it lies on the bed, in machine axes
    sha256         of the copy
    source_sha256  of the file of the mesh that it was made from
    machine        whose figures it makes up for
    bed            pose in which it was made; in another it would make up for something else
    figures        (8,) in the order of FIGURES; 0 where a figure was not made up for
    shrinkage      of the material that it makes up for [-]
    first_layer_height_mm  within which the flare was taken off [mm]
    qualification  number in the ledger of the qualification that the figures come from; None: stated ones
    """

    file: str
    sha256: str
    source_sha256: str
    machine: str
    bed: Bed
    figures: tuple[float, ...]
    shrinkage: float = 0.0
    first_layer_height_mm: float = 0.0
    qualification: int | None = None

    def __post_init__(self) -> None:
        if len(self.figures) != len(FIGURES):
            raise ValueError(f"a compensation holds one value for each of {FIGURES}")


@dataclass(frozen=True, slots=True, eq=False)
class Part:
    """One printed piece.

    mesh       "file#object", relative to the project folder; "file" where the file holds one object
    unit       length unit of the mesh where its format states none
    sha256     hash recorded when the mesh was imported; None where the document has none
    rests      resting poses that the user allows the search for bed poses to choose among
    shell_mm   solid plastic under every surface [mm]; None: not stated
    infill     share of the space inside the shell that is filled, 0 to 1 [-]; None: not stated
    compensation  the corrected copy that is printed; None: the mesh itself is printed
    """

    id: str
    mesh: str
    machine: str
    material: str
    unit: LengthUnit | None = None
    bed: Bed = Bed()
    bed_stated: bool = False
    rests: tuple[Bed, ...] = ()
    placement: Placement = field(default_factory=Placement)
    sha256: str | None = None
    shell_mm: float | None = None
    infill: float | None = None
    compensation: Compensation | None = None
