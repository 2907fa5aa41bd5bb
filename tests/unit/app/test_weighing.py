"""Weights of boxes; every figure is arithmetic."""

import dataclasses

import numpy as np
import pytest

from building.meshes import box_mesh
from building.project import Assembled, exact_machine, material
from dryfit.app.weighing import density_of, weigh
from dryfit.base.estimate import Estimate
from dryfit.calc.weights import MassProperties, mass_properties
from dryfit.model.mesh import TriangleMesh
from dryfit.model.part import Part
from dryfit.model.project import Project

STATED = dataclasses.replace(material("s"), density_g_per_cm3=Estimate(2.0, 0.1))
TABLE = material("p")
UNKNOWN = dataclasses.replace(material("u"), family="wood")


def built(*parts: tuple[Part, TriangleMesh]) -> Assembled:
    project = Project(
        "boxes", None, machines=(exact_machine(),), materials=(STATED, TABLE, UNKNOWN),
        parts=tuple(part for part, _ in parts),
    )  # fmt: skip
    return Assembled(project, {part.id: mesh for part, mesh in parts})


def part(id: str, material: str = "s", shell_mm: float | None = None, infill: float | None = None) -> Part:
    return Part(id, f"{id}.stl", "m", material, shell_mm=shell_mm, infill=infill)


BOX = box_mesh((0, 0, 0), (40, 30, 20))
BEHIND = box_mesh((100, 0, 0), (140, 30, 20))


def test_density_stated_typical_or_not_known() -> None:
    assert density_of(STATED) == (Estimate(2.0, 0.1), "stated")
    density, source = density_of(TABLE)
    assert density == Estimate(1.24, 0.01)
    assert source == "PLA, typical of data sheets, from memory"
    density, source = density_of(UNKNOWN)
    assert density is None
    assert "not known" in source


def test_solid_mass_with_the_uncertainty_of_the_density() -> None:
    assembled = built((part("a"), BOX))
    row = weigh(assembled.project, assembled.shapes).parts[0]
    assert row.solid_g is not None
    assert (row.solid_g.value, row.solid_g.std) == (pytest.approx(48.0), pytest.approx(2.4))
    assert row.printed_g is None
    assert np.allclose(row.centre_mm, [20, 15, 10])  # type: ignore[arg-type]
    assert row.inertia_kg_mm2 is not None
    assert row.inertia_kg_mm2[0, 0] == pytest.approx(0.048 / 12 * (30**2 + 20**2))


def test_printed_mass_with_shell_and_infill() -> None:
    assembled = built((part("a", shell_mm=1.0, infill=0.25), BOX))
    weights = weigh(assembled.project, assembled.shapes)
    share = (5200 + 0.25 * (24000 - 5200)) / 24000  # area 5,200 mm2 times 1 mm of shell
    row = weights.parts[0]
    assert row.printed_g is not None
    assert (row.printed_g.value, row.printed_g.std) == (pytest.approx(48 * share), pytest.approx(2.4 * share))
    assert weights.printed_g == row.printed_g
    assert row.inertia_kg_mm2 is not None
    assert row.inertia_kg_mm2[0, 0] == pytest.approx(share * 0.048 / 12 * 1300)
    assert any("evenly" in note for note in weights.notes)


def test_the_assembly_balances_and_uncertainties_of_one_density_add() -> None:
    assembled = built(
        (part("a"), BOX), (part("b"), BEHIND), (part("c", "p"), box_mesh((0, 0, 0), (10, 10, 10)))
    )
    weights = weigh(assembled.project, assembled.shapes)
    assert weights.solid_g is not None
    assert weights.solid_g.value == pytest.approx(48 + 48 + 1.24)
    assert weights.solid_g.std == pytest.approx(np.hypot(4.8, 0.01))
    assert weights.centre_mm is not None
    assert weights.centre_mm[0] == pytest.approx((48 * 20 + 48 * 120 + 1.24 * 5) / 97.24)
    assert weights.printed_g is None
    assert any("PLA" in note for note in weights.notes)
    assert weights.volume_mm3 == pytest.approx(49000)


def test_parts_without_mass_are_named_with_the_reason() -> None:
    opened = TriangleMesh(BOX.vertices, BOX.faces[1:])
    turned = TriangleMesh(BOX.vertices, BOX.faces[:, ::-1])
    assembled = built((part("a"), BOX), (part("o"), opened), (part("t"), turned), (part("u", "u"), BEHIND))
    weights = weigh(assembled.project, assembled.shapes)
    assert weights.without == ("o", "t", "u")
    reasons = {row.part: row.reason for row in weights.parts}
    assert "not closed" in reasons["o"]
    assert "inside out" in reasons["t"]
    assert "density not known" in reasons["u"]
    assert weights.parts[3].volume_mm3 == pytest.approx(24000)
    assert np.allclose(weights.parts[3].centre_mm, [120, 15, 10])  # type: ignore[arg-type]
    assert weights.solid_g is not None
    assert weights.solid_g.value == pytest.approx(48.0)


def test_bodies_at_hand_weigh_what_the_meshes_weigh() -> None:
    parts = (part("a", shell_mm=1.0, infill=0.25), BOX), (part("b", "p"), BEHIND), (part("c", "u"), BOX)
    assembled = built(*parts)
    bodies = {p.id: mass_properties(mesh, 1.0) for p, mesh in parts}
    measured, given = (weigh(assembled.project, assembled.shapes, at_hand) for at_hand in (None, bodies))
    assert given.solid_g == measured.solid_g
    assert given.printed_g == measured.printed_g
    for one, other in zip(measured.parts, given.parts, strict=True):
        assert one.mass_g == other.mass_g
        assert np.array_equal(one.inertia_kg_mm2, other.inertia_kg_mm2)  # type: ignore[arg-type]


def test_a_body_at_hand_is_used_and_a_missing_one_measured() -> None:
    assembled = built((part("a"), BOX), (part("b"), BEHIND))
    heavy = MassProperties(1000.0, np.zeros(3), np.eye(3))
    rows = weigh(assembled.project, assembled.shapes, {"a": heavy, "b": None}).parts
    assert [row.solid_g.value for row in rows] == pytest.approx([2000.0, 48.0])  # type: ignore[union-attr]
