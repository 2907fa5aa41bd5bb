"""A frozen document of schema 1 still reads to the same records."""

from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest

from dryfit.base.estimate import Estimate
from dryfit.model.machine import WIDE_PRIOR
from dryfit.model.part import Bed
from dryfit.model.project import Search
from dryfit.store.document import Document, read_document

FROZEN = Path(__file__).with_name("schema-1.toml")


@pytest.fixture(scope="module")
def document() -> Document:
    return read_document(FROZEN)


def test_the_project(document):
    project = document.project
    assert (project.name, project.scale, project.risk, project.invented) == (
        "Harrow Fell observatory",
        Fraction(1, 20),
        0.1,
        True,
    )
    assert project.search == Search(0.8, 3.0, Search().min_area_mm2)
    assert document.path == FROZEN
    assert document.text.encode() == FROZEN.read_bytes()


def test_materials(document):
    pla, nylon = document.project.materials
    assert (pla.id, pla.family, pla.shrinkage) == ("pla", "PLA", Estimate(0.002, 0.0005, "uniform"))
    assert pla.expansion_per_k == Estimate(70e-6, 8e-6)
    assert "memory" in pla.notes[0]
    assert nylon.expansion_per_k == Estimate(30e-6, 5e-6)
    assert nylon.shrinkage == Estimate(0.0)
    assert nylon.notes == ()


def test_machines(document):
    tall, old = document.project.machines
    assert tall.build_volume_mm == (500.0, 500.0, 600.0)
    error = tall.error
    assert error.figures["scale_x"] == Estimate(0.0, 0.0005)
    assert error.figures["scale_y"] == Estimate(0.0, 0.001)
    assert error.figures["skew_xz_deg"] == Estimate(0.4, 0.02, "triangular")
    assert error.unstated == ("scale_z", "skew_xy_deg", "skew_yz_deg", "boundary_offset_mm")
    assert error.exact == ("first_layer_flare_mm",)
    assert (error.knowledge, error.repeatability_mm, error.first_layer_height_mm) == ("stated", 0.08, 0.3)
    assert old.error is WIDE_PRIOR


def test_parts(document):
    first, second = document.project.parts
    assert (first.mesh, first.machine, first.material) == ("meshes/frame.glb#ring-1", "tall", "pla")
    assert (first.bed, first.bed_stated) == (Bed((0.0, 0.0, 90.0)), True)
    assert first.rests == (Bed(), Bed((180.0, 0.0, 0.0)))
    assert (second.unit, second.bed, second.bed_stated) == ("in", Bed(), False)
    # A quarter turn about z takes x to y.
    np.testing.assert_array_equal(second.placement.rotation, [[0, -1, 0], [1, 0, 0], [0, 0, 1]])
    np.testing.assert_array_equal(second.placement.translation_mm, [10, 20, -5.5])
    assert second.sha256 == "abcdef0123456789" * 4


def test_joints(document):
    ring, jig, found = document.project.joints
    assert (ring.parts, ring.locators, ring.locator_axis, ring.role) == (
        ("ring-1", "ring-2"),
        "pin-and-slot",
        "short",
        "locating",
    )
    assert ring.bond_line_mm == Estimate(0.1, 0.02)
    assert ring.contact_play_mm == Estimate(0.0, 0.05, "uniform")
    assert ring.locator_play_mm == Estimate(0.0, 0.03)
    np.testing.assert_array_equal(ring.locator_points_mm, [[0, 0, 0], [20, 0, 0]])
    np.testing.assert_array_equal(ring.faces.normals, [[0, 1, 0]] * 3)
    np.testing.assert_array_equal(ring.faces.points_on_second, ring.faces.points_on_first)
    assert ring.faces.area_mm2 == 600
    np.testing.assert_array_equal(jig.faces.points_on_second, [[0, 0, 0.1], [1, 0, 0.1]])
    np.testing.assert_allclose(jig.faces.normals, [[0, 0, 1], [0, 0.6, 0.8]], atol=1e-15)
    assert found.faces is found.bond_line_mm is found.contact_play_mm is None
    assert found.proposed


def test_characteristics(document):
    by_id = {one.id: one for one in document.project.characteristics}
    limits = {id: (one.lower, one.upper) for id, one in by_id.items()}
    assert limits == {
        "closure": (-0.1, 0.4),
        "climb": (None, 0.3),
        "wedge": (-0.2, 0.2),
        "span": (99.5, 100.5),
        "top": (79.0, 81.0),
        "square": (None, 0.1),
        "round": (19.9, 20.1),
        "flat": (None, 0.2),
    }
    for id in ("climb", "wedge", "top"):
        np.testing.assert_array_equal(by_id[id].direction, [0, 0, 1])
    assert by_id["span"].direction is None
    np.testing.assert_array_equal(by_id["square"].axes, [[1, 0, 0], [0, 1, 0]])
    assert by_id["round"].parts == ("ring-1", "ring-2", "ring-2")


def test_assembly(document):
    assembly = document.project.assembly
    assert (assembly.datum, assembly.order) == ("ring-1", ("ring-1", "ring-2"))
    assert assembly.temp_c == Estimate(21.0, 1.5)


def test_assumptions_say_what_was_left_open(document):
    assert document.assumptions == (
        "search: min_area_mm2 not stated, taken as 4",
        'material "pla": expansion_per_k not stated, taken for PLA as 7e-05 with a standard uncertainty of '
        "8e-06 (typical of data sheets, from memory)",
        'material "filled nylon": shrinkage not stated, taken as 0',
        'machine "tall": scale_y stated by a standard uncertainty alone, taken as 0 with it',
        'part "ring-2": bed pose not stated, taken as its mesh stands',
        'joints "jig", "found": locators not stated, taken as none',
        'characteristic "top": direction not stated, taken as upward, [0, 0, 1]',
    )
