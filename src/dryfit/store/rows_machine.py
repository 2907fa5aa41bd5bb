"""Rows of [[material]] and [[machine]]."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Annotated

from pydantic import Field

from dryfit.base.estimate import Distribution, Estimate
from dryfit.model.machine import FIGURES, WIDE_PRIOR, ErrorModel, Machine
from dryfit.model.material import Material
from dryfit.model.material_table import FAMILIES
from dryfit.store.row import Finding, Id, NotNegative, Positive, Row, make_estimate
from dryfit.store.words import suggest

# Far beyond any printer or plastic; what lies outside is a slip of unit (2 for 2 %, 70 for 70e-6).
AxisScale = Annotated[float, Field(gt=-0.5, lt=0.5)]
SkewDegrees = Annotated[float, Field(gt=-45, lt=45)]
Shrinkage = Annotated[float, Field(gt=-0.5, lt=0.5)]
Expansion = Annotated[float, Field(gt=-0.01, lt=0.01)]
# Below any plastic stands foam, above the densest lies a metal: what lies outside is a slip of unit (1240).
Density = Annotated[float, Field(gt=0.1, lt=25)]


class MaterialRow(Row):
    """A printing material; expansion and density are looked up by family where they are not stated."""

    id: Id
    family: str
    shrinkage: Shrinkage | None = None
    shrinkage_std: NotNegative | None = None
    shrinkage_distribution: Distribution | None = None
    expansion_per_k: Expansion | None = None
    expansion_std_per_k: NotNegative | None = None
    density_g_per_cm3: Density | None = None
    density_std_g_per_cm3: NotNegative | None = None

    def findings(self) -> Iterator[Finding]:
        """A family that the table does not hold needs a stated expansion."""
        if self.expansion_per_k is None and self.family not in FAMILIES:
            yield Finding(
                ("family",),
                f'the family "{self.family}" is not in the table and no expansion is stated',
                suggest(self.family, FAMILIES, "families") + "; or state expansion_per_k",
            )
        if (
            self.family not in FAMILIES
            and self.density_g_per_cm3 is None
            and self.density_std_g_per_cm3 is not None
        ):
            yield Finding(
                ("density_std_g_per_cm3",),
                f'a density of the family "{self.family}" is neither in the table nor stated',
                "add density_g_per_cm3",
            )

    def to_model(self) -> Material:
        """The record; an expansion that came from the table is said in its notes.

        A density from the table is said with the weights, the only figures that rest on it.
        """
        shrinkage = make_estimate(self.shrinkage or 0.0, self.shrinkage_std, self.shrinkage_distribution)
        expansion, notes = self._find_expansion()
        return Material(self.id, self.family, shrinkage, expansion, notes, self._find_density())

    def _find_expansion(self) -> tuple[Estimate, tuple[str, ...]]:
        if self.expansion_per_k is not None:
            return make_estimate(self.expansion_per_k, self.expansion_std_per_k, None), ()
        row = FAMILIES[self.family]
        std = self.expansion_std_per_k
        std = row.expansion_per_k.std if std is None else std
        expansion = Estimate(row.expansion_per_k.value, std)
        note = (
            f"expansion_per_k not stated, taken for {self.family} as {expansion.value:g} "
            f"with a standard uncertainty of {std:g} ({row.source.text})"
        )
        return expansion, (note,)

    def _find_density(self) -> Estimate | None:
        """The density, which is left open where neither the document nor the table gives one."""
        if self.density_g_per_cm3 is not None:
            return make_estimate(self.density_g_per_cm3, self.density_std_g_per_cm3, None)
        if self.family not in FAMILIES:
            return None
        row = FAMILIES[self.family]
        std = self.density_std_g_per_cm3
        return Estimate(row.density_g_per_cm3.value, row.density_g_per_cm3.std if std is None else std)


class ErrorRow(Row):
    """The stated error figures of a machine."""

    scale_x: AxisScale | None = None
    scale_y: AxisScale | None = None
    scale_z: AxisScale | None = None
    skew_xy_deg: SkewDegrees | None = None
    skew_xz_deg: SkewDegrees | None = None
    skew_yz_deg: SkewDegrees | None = None
    boundary_offset_mm: float | None = None
    first_layer_flare_mm: float | None = None
    repeatability_mm: NotNegative | None = None
    first_layer_height_mm: NotNegative | None = None
    std: dict[str, NotNegative] = Field(default_factory=dict)
    distribution: dict[str, Distribution] = Field(default_factory=dict)

    def findings(self) -> Iterator[Finding]:
        """Unknown figures, and a flare without the height within which it acts."""
        for key, names in (("std", list(self.std)), ("distribution", list(self.distribution))):
            for name in names:
                if name not in FIGURES:
                    what = f'"{name}" is no figure of the error model'
                    yield Finding((key, name), what, suggest(name, FIGURES, "figures"))
        if self.first_layer_flare_mm and self.first_layer_height_mm is None:
            yield Finding(
                ("first_layer_flare_mm",),
                "a first-layer flare is stated without the height within which it acts",
                "add first_layer_height_mm, such as 0.3",
            )

    def to_model(self) -> ErrorModel:
        """Figures not stated are exactly 0 and are listed; a std alone makes a figure stated as 0."""
        values: dict[str, float | None] = {name: getattr(self, name) for name in FIGURES}
        figures = {
            name: make_estimate(value or 0.0, self.std.get(name), self.distribution.get(name))
            for name, value in values.items()
        }
        return ErrorModel(
            figures=figures,
            repeatability_mm=self.repeatability_mm or 0.0,
            first_layer_height_mm=self.first_layer_height_mm or 0.0,
            knowledge="stated",
            unstated=tuple(n for n, value in values.items() if value is None and n not in self.std),
            exact=tuple(n for n, value in values.items() if value is not None and n not in self.std),
        )


class MachineRow(Row):
    """A printer."""

    id: Id
    build_volume_mm: Annotated[list[Positive], Field(min_length=3, max_length=3)]
    error: ErrorRow | None = None
    extrusion_width_mm: Positive | None = None
    overhang_deg: Annotated[float, Field(gt=0, lt=90)] | None = None
    clearance_mm: NotNegative | None = None
    upright_feet_mm: Annotated[list[Positive], Field(min_length=2, max_length=2)] | None = None
    foot_pitch_mm: Positive | None = None
    gantry_width_mm: Positive | None = None

    def findings(self) -> Iterator[Finding]:
        """A clearance that leaves nothing of the build volume, and those of its error figures."""
        if self.clearance_mm is not None and 2.0 * self.clearance_mm >= min(self.build_volume_mm[:2]):
            what = f"a clearance of {self.clearance_mm:g} mm on each side leaves nothing of the build volume"
            yield Finding(("clearance_mm",), what, "write the distance to keep from each side, such as 5")
        if self.foot_pitch_mm is not None and self.upright_feet_mm is None:
            what = "the pitch of the feet's screws is stated without the spacing of the feet"
            yield Finding(("foot_pitch_mm",), what, "add upright_feet_mm = [along X, along Y]")
        if self.error is not None:
            for finding in self.error.findings():
                yield finding._replace(path=("error", *finding.path))

    def to_model(self) -> Machine:
        """The record; a machine without stated figures has the wide prior."""
        x, y, z = self.build_volume_mm
        feet = self.upright_feet_mm
        return Machine(
            id=self.id,
            build_volume_mm=(x, y, z),
            error=WIDE_PRIOR if self.error is None else self.error.to_model(),
            extrusion_width_mm=self.extrusion_width_mm,
            overhang_deg=self.overhang_deg,
            clearance_mm=self.clearance_mm,
            upright_feet_mm=None if feet is None else (feet[0], feet[1]),
            foot_pitch_mm=self.foot_pitch_mm,
            gantry_width_mm=self.gantry_width_mm,
        )
