"""Rows of [project], [search], [[part]] and [assembly]."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from types import MappingProxyType
from typing import Annotated, ClassVar

from pydantic import AfterValidator, Field

from dryfit.base.rotation import rotation_from_euler
from dryfit.base.units import LengthUnit
from dryfit.model.evidence import ScaleFrom
from dryfit.model.machine import FIGURES
from dryfit.model.part import Bed, Compensation, Part, Placement
from dryfit.model.project import COLDEST_C, DEFAULT_RISK, HOTTEST_C, REFERENCE_TEMP_C, Assembly, Search
from dryfit.store.row import (
    Finding,
    Id,
    MeshName,
    NotNegative,
    Positive,
    Row,
    ScaleText,
    Sha256,
    Vector,
    check_mesh,
    make_estimate,
    refusal,
)
from dryfit.store.words import quote, suggest

Celsius = Annotated[float, Field(ge=COLDEST_C, le=HOTTEST_C)]


def _make_zeros() -> list[float]:
    return [0.0, 0.0, 0.0]


class ScaleFromRow(Row):
    """One dimension at model size, from which the scale follows."""

    examples: ClassVar[Mapping[str, str]] = MappingProxyType({"dimension": 'dimension = "overall.height"'})

    dimension: str
    model_mm: Positive

    def to_model(self) -> ScaleFrom:
        """The record."""
        return ScaleFrom(self.dimension, self.model_mm)


class ProjectRow(Row):
    """What the project is."""

    name: Annotated[str, Field(min_length=1)]
    scale: ScaleText | None = None
    scale_from: ScaleFromRow | None = None
    risk: Annotated[float, Field(ge=0, le=1)] = DEFAULT_RISK
    invented: bool = False

    def findings(self) -> Iterator[Finding]:
        """Either the scale is fixed, or one dimension at model size."""
        if self.scale is None and self.scale_from is None:
            do = 'add scale = "1:20", or scale_from = { dimension = "overall.height", model_mm = 1350 }'
            yield Finding(("scale",), 'the key "scale" is missing', do)
        if self.scale is not None and self.scale_from is not None:
            what = "both scale and scale_from are stated"
            yield Finding(("scale_from",), what, "keep one of the two: the other follows from it")


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


def check_copy(text: str) -> str:
    """A relative file inside the project folder that holds one object."""
    check_mesh(text)
    if "#" in text:
        raise refusal(
            f"{quote(text)} names an object", "a corrected copy holds one object: write the file alone"
        )
    return text


# What lies outside cannot have been made up for: the program refuses far smaller figures.
FigureValue = Annotated[float, Field(gt=-45, lt=45)]
Share = Annotated[float, Field(gt=-0.5, lt=0.5)]


class CompensatedRow(Row):
    """The corrected copy of a part that is printed, and the figures that it makes up for.

    `dryfit compensate --write` writes it; figures that are not named were not made up for.
    """

    examples: ClassVar[Mapping[str, str]] = {
        "file": 'file = "compensated/ring-1.3mf"',
        "sha256": "64 hexadecimal digits, the hash of the copy",
        "source_sha256": "64 hexadecimal digits, the hash of the mesh file",
        "figures": "figures = { skew_xz_deg = 0.6 }",
        "shrinkage": "shrinkage = 0.002 (0.2 % smaller)",
        "qualification": "qualification = 12",
    }

    file: Annotated[str, AfterValidator(check_copy)]
    sha256: Sha256
    source_sha256: Sha256
    machine: str
    euler_xyz_deg: Vector
    figures: dict[str, FigureValue]
    shrinkage: Share = 0.0
    first_layer_height_mm: NotNegative = 0.0
    qualification: Annotated[int, Field(ge=1)] | None = None

    def findings(self) -> Iterator[Finding]:
        """Unknown figures, scales beyond any, and a flare without the height within which it was taken off."""
        for name, value in self.figures.items():
            if name not in FIGURES:
                what = f'"{name}" is no figure of the error model'
                yield Finding(("figures", name), what, suggest(name, FIGURES, "figures"))
            elif name.startswith("scale") and not -0.5 < value < 0.5:
                what = f"a scale of {value:g} is beyond any printer"
                yield Finding(("figures", name), what, "0.001 is 0.1 % too long")
        if self.figures.get("first_layer_flare_mm") and not self.first_layer_height_mm:
            yield Finding(
                ("figures", "first_layer_flare_mm"),
                "a first-layer flare was taken off without the height within which it acts",
                "add first_layer_height_mm, or make the copy again: dryfit compensate",
            )

    def to_model(self) -> Compensation:
        """The record."""
        x, y, z = self.euler_xyz_deg
        return Compensation(
            file=self.file,
            sha256=self.sha256,
            source_sha256=self.source_sha256,
            machine=self.machine,
            bed=Bed((float(x), float(y), float(z))),
            figures=tuple(float(self.figures.get(name, 0.0)) for name in FIGURES),
            shrinkage=self.shrinkage,
            first_layer_height_mm=self.first_layer_height_mm,
            qualification=self.qualification,
        )


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
    shell_mm: Positive | None = None
    infill: Annotated[float, Field(ge=0, le=1)] | None = None
    compensated: CompensatedRow | None = None

    def findings(self) -> Iterator[Finding]:
        """Shell and infill say something only together; and the findings of a corrected copy."""
        if self.compensated is not None:
            for finding in self.compensated.findings():
                yield finding._replace(path=("compensated", *finding.path))
        if (self.shell_mm is None) != (self.infill is None):
            stated, missing = ("shell_mm", "infill") if self.infill is None else ("infill", "shell_mm")
            what = f"{stated} is stated without {missing}"
            yield Finding(
                (stated,), what, f"add {missing}, or remove {stated}: the part is then weighed as solid"
            )

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
            shell_mm=self.shell_mm,
            infill=self.infill,
            compensation=None if self.compensated is None else self.compensated.to_model(),
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
