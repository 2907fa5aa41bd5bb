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


class MaterialRow(Row):
    """A printing material; expansion is looked up by family where it is not stated."""

    id: Id
    family: str
    shrinkage: Shrinkage | None = None
    shrinkage_std: NotNegative | None = None
    shrinkage_distribution: Distribution | None = None
    expansion_per_k: Expansion | None = None
    expansion_std_per_k: NotNegative | None = None

    def findings(self) -> Iterator[Finding]:
        """A family that the table does not hold needs a stated expansion."""
        if self.expansion_per_k is None and self.family not in FAMILIES:
            yield Finding(
                ("family",),
                f'the family "{self.family}" is not in the table and no expansion is stated',
                suggest(self.family, FAMILIES, "families") + "; or state expansion_per_k",
            )

    def to_model(self) -> Material:
        """The record; what came from the table is said in its notes."""
        shrinkage = make_estimate(self.shrinkage or 0.0, self.shrinkage_std, self.shrinkage_distribution)
        expansion, notes = self._find_expansion()
        return Material(self.id, self.family, shrinkage, expansion, notes)

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

    def findings(self) -> Iterator[Finding]:
        """Those of its error figures."""
        if self.error is not None:
            for finding in self.error.findings():
                yield finding._replace(path=("error", *finding.path))

    def to_model(self) -> Machine:
        """The record; a machine without stated figures has the wide prior."""
        x, y, z = self.build_volume_mm
        return Machine(self.id, (x, y, z), WIDE_PRIOR if self.error is None else self.error.to_model())
