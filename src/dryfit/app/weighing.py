"""What each part and the assembly weigh, and where their centre of gravity lies."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from dryfit.app.geometry import PartShape, Shapes
from dryfit.base.arrays import Array, locked
from dryfit.base.errors import ComputationRefused
from dryfit.base.estimate import Estimate
from dryfit.calc.weights import MassProperties, combine_masses, mass_properties, printed_share
from dryfit.model.material import Material
from dryfit.model.material_table import FAMILIES
from dryfit.model.part import Part
from dryfit.model.project import Project


@dataclass(frozen=True, slots=True, eq=False)
class PartWeight:
    """Weight and measures of one part as modelled; None where reason says why it is not known.

    density       of the solid plastic, and density_from in words
    solid_g       mass if filled with plastic wholly; its std comes from the density alone
    printed_g     mass with the stated shell and infill; None where they are not both stated
    share         printed over solid [-]; 1 where printed_g is None
    centre_mm     (3,) [mm] assembly coordinates, of an evenly filled part
    inertia_kg_mm2  (3, 3) about the centre, assembly axes: of the printed mass where it is known, spread
                    evenly, else of the solid mass
    """

    part: str
    volume_mm3: float | None
    area_mm2: float
    density: Estimate | None
    density_from: str
    solid_g: Estimate | None
    printed_g: Estimate | None
    share: float
    centre_mm: Array | None
    inertia_kg_mm2: Array | None
    reason: str = ""

    @property
    def mass_g(self) -> Estimate | None:
        """The printed mass where it is known, else the solid one."""
        return self.printed_g or self.solid_g


@dataclass(frozen=True, slots=True, eq=False)
class Weights:
    """The parts in the order of the document, and the assembly of all those whose mass is known.

    solid_g, printed_g  sums; printed_g counts parts without stated shell and infill as solid, and is None
                        where no part states them. Parts of one material share its density, so their
                        uncertainties add; those of different materials add in squares
    without             parts left out of the sums because their mass is not known
    notes               what was assumed, in words
    """

    parts: tuple[PartWeight, ...]
    volume_mm3: float
    area_mm2: float
    solid_g: Estimate | None
    printed_g: Estimate | None
    centre_mm: Array | None
    inertia_kg_mm2: Array | None
    without: tuple[str, ...]
    notes: tuple[str, ...]

    def __post_init__(self) -> None:
        for name, shape in (("centre_mm", (3,)), ("inertia_kg_mm2", (3, 3))):
            if getattr(self, name) is not None:
                object.__setattr__(self, name, locked(getattr(self, name), shape, name))


def weigh(
    project: Project, shapes: Shapes, bodies_of: Mapping[str, MassProperties | None] | None = None
) -> Weights:
    """Volume, surface, mass, centre of gravity and inertia per part and of the assembly.

    bodies_of : parts filled with 1 g/cm3, where they are at hand; None for one that has no volume
    """
    rows, bodies = [], []
    for part in project.parts:
        if part.id not in shapes:
            continue
        known = (bodies_of or {}).get(part.id)
        row, body = _weigh_part(project.material(part.material), part, shapes[part.id], known)
        rows.append(row)
        if body is not None:
            bodies.append(body)
    whole = combine_masses(bodies) if bodies else None
    has_printed = any(row.printed_g is not None for row in rows)
    return Weights(
        parts=tuple(rows),
        volume_mm3=sum(row.volume_mm3 or 0.0 for row in rows),
        area_mm2=sum(row.area_mm2 for row in rows),
        solid_g=_sum(project, [(row.part, row.solid_g) for row in rows]),
        printed_g=_sum(project, [(row.part, row.mass_g) for row in rows]) if has_printed else None,
        centre_mm=whole.centre_mm if whole else None,
        inertia_kg_mm2=whole.inertia_kg_mm2 if whole else None,
        without=tuple(row.part for row in rows if row.mass_g is None),
        notes=_notes(rows),
    )


def density_of(material: Material) -> tuple[Estimate | None, str]:
    """Density [g/cm3] of a material and where it comes from, in words."""
    known = FAMILIES.get(material.family)
    typical = known.density_g_per_cm3 if known else None
    if material.density_g_per_cm3 is not None:
        is_typical = material.density_g_per_cm3 == typical
        return material.density_g_per_cm3, _table_words(material) if is_typical else "stated"
    if typical is not None:
        return typical, _table_words(material)
    return None, f'not known: family "{material.family}" is not in the table and no density is stated'


def _table_words(material: Material) -> str:
    return f"{material.family}, {FAMILIES[material.family].source.text}"


def _weigh_part(
    material: Material, part: Part, shape: PartShape, known: MassProperties | None
) -> tuple[PartWeight, MassProperties | None]:
    measures = shape.measures
    density, source = density_of(material)
    reason = _why_no_volume(shape)
    body = None
    if not reason:
        try:
            # Without a density the volume and the centre are still known: weigh as water.
            body = known or mass_properties(shape.mesh, 1.0)
        except ComputationRefused as error:
            reason = error.what
    if body is None:
        row = PartWeight(
            part.id, None, measures.area_mm2, density, source, None, None, 1.0, None, None, reason
        )
        return row, None
    if density is None:
        row = PartWeight(part.id, measures.volume_mm3, measures.area_mm2, None, source, None, None, 1.0,
                         body.centre_mm, None, f"density {source}")  # fmt: skip
        return row, None
    body = _scaled(body, density.value)
    solid = Estimate(body.mass_g, body.mass_g * density.std / density.value)
    share = _share(part, shape)
    printed = None if share is None else Estimate(solid.value * share, solid.std * share)
    share = 1.0 if share is None else share
    body = _scaled(body, share)
    row = PartWeight(part.id, measures.volume_mm3, measures.area_mm2, density, source, solid, printed, share,
                     body.centre_mm, body.inertia_kg_mm2)  # fmt: skip
    return row, body


def _scaled(body: MassProperties, factor: float) -> MassProperties:
    """The same body with so many times the density."""
    return MassProperties(body.mass_g * factor, body.centre_mm, body.inertia_kg_mm2 * factor)


def _why_no_volume(shape: PartShape) -> str:
    measures = shape.measures
    if not measures.is_closed:
        return "the mesh is not closed, so it has no volume"
    if not measures.is_consistently_oriented:
        return "the mesh is not consistently oriented, so it has no volume"
    return "the mesh is inside out, so it has no mass" if measures.is_inside_out else ""


def _share(part: Part, shape: PartShape) -> float | None:
    if part.shell_mm is None or part.infill is None:
        return None
    return printed_share(shape.measures.volume_mm3, shape.measures.area_mm2, part.shell_mm, part.infill)


def _sum(project: Project, masses: list[tuple[str, Estimate | None]]) -> Estimate | None:
    total, by_material = 0.0, dict[str, float]()
    for name, mass in masses:
        if mass is not None:
            material = project.part(name).material
            total += mass.value
            by_material[material] = by_material.get(material, 0.0) + mass.std
    if not by_material:
        return None
    return Estimate(total, math.sqrt(float(np.square(list(by_material.values())).sum())))


def _notes(rows: list[PartWeight]) -> tuple[str, ...]:
    notes = [
        f"density of {words}" for words in dict.fromkeys(r.density_from for r in rows) if "data" in words
    ]
    solid = [row.part for row in rows if row.solid_g is not None and row.printed_g is None]
    if solid:
        notes.append(f"counted as solid, as no shell and infill are stated: {', '.join(solid)}")
    if any(row.printed_g is not None for row in rows):
        notes.append("centre and inertia as if shell and infill were spread evenly")
    return tuple(notes)
