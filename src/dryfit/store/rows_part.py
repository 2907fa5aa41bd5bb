"""Rows of [project], [search], [[part]] and [assembly]."""

from __future__ import annotations

from typing import Annotated

from pydantic import Field

from dryfit.base.rotation import rotation_from_euler
from dryfit.base.units import LengthUnit
from dryfit.model.part import Bed, Part, Placement
from dryfit.model.project import COLDEST_C, DEFAULT_RISK, HOTTEST_C, REFERENCE_TEMP_C, Assembly, Search
from dryfit.store.row import Id, MeshName, NotNegative, Row, ScaleText, Sha256, Vector, make_estimate

Celsius = Annotated[float, Field(ge=COLDEST_C, le=HOTTEST_C)]


def _make_zeros() -> list[float]:
    return [0.0, 0.0, 0.0]


class ProjectRow(Row):
    """What the project is."""

    name: Annotated[str, Field(min_length=1)]
    scale: ScaleText
    risk: Annotated[float, Field(ge=0, le=1)] = DEFAULT_RISK
    invented: bool = False


class SearchRow(Row):
    """How mating faces are looked for."""

    max_gap_mm: NotNegative = Search().max_gap_mm
    max_angle_deg: Annotated[float, Field(ge=0, le=90)] = Search().max_angle_deg
    min_area_mm2: NotNegative = Search().min_area_mm2

    def to_model(self) -> Search:
        """The record."""
        return Search(self.max_gap_mm, self.max_angle_deg, self.min_area_mm2)


class BedRow(Row):
    """A pose on the bed."""

    euler_xyz_deg: Vector

    def to_model(self) -> Bed:
        """The record."""
        x, y, z = self.euler_xyz_deg
        return Bed((float(x), float(y), float(z)))


class PlacementRow(Row):
    """Where the design frame of a part lies in the assembly."""

    euler_xyz_deg: Vector = Field(default_factory=_make_zeros)
    translation_mm: Vector = Field(default_factory=_make_zeros)

    def to_model(self) -> Placement:
        """The record."""
        x, y, z = self.euler_xyz_deg
        return Placement(rotation_from_euler((x, y, z)), self.translation_mm)  # type: ignore[arg-type]


class PartRow(Row):
    """A printed piece."""

    id: Id
    mesh: MeshName
    machine: str
    material: str
    unit: LengthUnit | None = None
    bed: BedRow | None = None
    rests: list[BedRow] = Field(default_factory=list)
    placement: PlacementRow | None = None
    sha256: Sha256 | None = None

    def to_model(self) -> Part:
        """The record; a part without a stated bed pose is printed as it stands in the assembly."""
        return Part(
            id=self.id,
            mesh=self.mesh,
            machine=self.machine,
            material=self.material,
            unit=self.unit,
            bed=Bed() if self.bed is None else self.bed.to_model(),
            bed_stated=self.bed is not None,
            rests=tuple(rest.to_model() for rest in self.rests),
            placement=Placement() if self.placement is None else self.placement.to_model(),
            sha256=self.sha256,
        )


class AssemblyRow(Row):
    """Datum, bonding order and temperature; the references are checked with all others."""

    datum: str | None = None
    order: list[str] | None = None
    temp_c: Celsius | None = None
    temp_std_c: NotNegative | None = None

    def to_model(self) -> Assembly:
        """The record."""
        temp_c = REFERENCE_TEMP_C if self.temp_c is None else self.temp_c
        temp = make_estimate(temp_c, self.temp_std_c, None)
        return Assembly(self.datum, tuple(self.order or ()), temp)
