"""One effect at a time through the whole forecast, against its closed form."""

import math

import numpy as np
import pytest
import trimesh

from building import Assembled, box_mesh, by_id, forecast, machine, material, square_face, tower
from dryfit.base.estimate import Estimate
from dryfit.model.characteristic import Characteristic
from dryfit.model.forecast import CharacteristicForecast
from dryfit.model.joint import GROUND, Joint
from dryfit.model.machine import Machine
from dryfit.model.material import Material
from dryfit.model.mesh import TriangleMesh
from dryfit.model.part import Bed, Part
from dryfit.model.project import Assembly, Project

X, Y, Z = np.eye(3)
TOP = Characteristic("top", "height", parts=("b2",), points_mm=np.array([[40.0, 40.0, 300.0]]), direction=Z)
LEAN = Characteristic(
    "lean",
    "distance",
    parts=(GROUND, "b2"),
    points_mm=np.array([[20.0, 40.0, 0.0], [20.0, 40.0, 300.0]]),
    direction=X,
)
SQUARE = Characteristic("square", "squareness", parts=("b1", "b1"), axes=np.array([X, Z]))


def only(assembled: Assembled) -> CharacteristicForecast:
    (item,) = forecast(assembled).characteristics
    return item


def test_a_scale_makes_the_tower_taller() -> None:
    item = only(tower(machine(scale_z=Estimate(0.002, 0.0005)), (TOP,)))
    assert item.nominal == pytest.approx(300.0)
    assert item.predicted == pytest.approx(300.6, abs=1e-9)
    assert item.std == pytest.approx(0.15, abs=1e-9)
    assert (item.low, item.high) == pytest.approx(
        (300.6 - 1.959964 * 0.15, 300.6 + 1.959964 * 0.15), abs=1e-6
    )
    assert (item.worst_low, item.worst_high) == pytest.approx((300.15, 301.05), abs=1e-9)
    assert [(c.source, c.variance_share) for c in item.contributions] == [("m.scale_z", pytest.approx(1.0))]
    assert item.contributions[0].mean_shift == pytest.approx(0.6)


def test_blocks_that_lean_alike_lean_on() -> None:
    tangent = math.tan(math.radians(0.5))
    assert only(tower(machine(skew_xz_deg=0.5), (LEAN,))).predicted == pytest.approx(
        300.0 * tangent, abs=1e-9
    )


def test_a_block_turned_by_half_a_turn_leans_back() -> None:
    tangent = math.tan(math.radians(0.5))
    turned = tower(machine(skew_xz_deg=0.5), (LEAN,), beds_deg=((0.0, 0.0, 0.0), (0.0, 0.0, 180.0)))
    assert only(turned).predicted == pytest.approx((100.0 - 200.0) * tangent, abs=1e-9)


def test_a_lean_toward_x_closes_the_angle_to_x() -> None:
    item = only(tower(machine(skew_xz_deg=Estimate(0.5, 0.1)), (SQUARE,)))
    assert item.predicted == pytest.approx(-0.5, abs=1e-9)
    assert item.std == pytest.approx(0.1, abs=1e-9)
    assert item.unit == "deg"


def test_shrinkage() -> None:
    item = only(tower(machine(), (TOP,), plastic=material(shrinkage=Estimate(0.002, 0.0005))))
    assert item.predicted == pytest.approx(299.4, abs=1e-9)
    assert item.std == pytest.approx(0.15, abs=1e-9)


def test_warmth_expands() -> None:
    # closed form: 300 mm of a plastic of 70e-6 per kelvin, 15 kelvin over the reference: 0.315 mm
    plastic = material(expansion_per_k=Estimate(70e-6, 7e-6))
    item = only(tower(machine(), (TOP,), plastic=plastic, temp_c=Estimate(35.0, 2.0)))
    assert item.predicted == pytest.approx(300.315, abs=1e-9)
    by_spread, by_temp = 300.0 * 15.0 * 7e-6, 300.0 * 70e-6 * 2.0
    assert item.std == pytest.approx(math.hypot(by_spread, by_temp), abs=1e-9)
    shares = {c.source: c.variance_share for c in item.contributions}
    assert shares["p.expansion_per_k"] == pytest.approx(by_spread**2 / item.std**2)


def test_an_uncertain_temperature_at_the_reference_counts_too() -> None:
    plastic = material(expansion_per_k=Estimate(70e-6))
    item = only(tower(machine(), (TOP,), plastic=plastic, temp_c=Estimate(20.0, 5.0)))
    assert item.std == pytest.approx(300.0 * 70e-6 * 5.0, abs=1e-9)


def test_bond_lines_add_to_the_height() -> None:
    item = only(tower(machine(), (TOP,), bond_line_mm=Estimate(0.1, 0.02)))
    assert item.predicted == pytest.approx(300.2, abs=1e-9)
    assert item.std == pytest.approx(math.sqrt(2.0) * 0.02, abs=1e-9)
    assert item.linear_minus_exact == pytest.approx(0.0, abs=1e-9)


def test_repeatability_of_a_height_by_hand() -> None:
    """One block on four corners, its top point over the middle: the mean of four corners, and the point."""
    top = Characteristic(
        "top", "height", parts=("b1",), points_mm=np.array([[40.0, 40.0, 100.0]]), direction=Z
    )
    item = only(tower(machine(repeatability_mm=0.1), (top,), heights_mm=(100.0,)))
    assert item.std == pytest.approx(0.1 * math.sqrt(1.0 + 1.0 / 4.0), abs=1e-9)


def test_probability_out_of_limits_and_a_doubtful_linear_value() -> None:
    limited = Characteristic(
        "top", "height", parts=("b2",), points_mm=TOP.points_mm, direction=Z, lower=300.3, upper=300.9
    )
    item = only(tower(machine(scale_z=Estimate(0.002, 0.0005)), (limited,)))
    assert item.p_out == pytest.approx(0.0455, abs=5e-5)  # two standard deviations on each side
    assert item.band == pytest.approx(0.6)
    assert not item.is_linear_doubtful


def test_a_block_without_locators_leaves_sideways_results_undetermined() -> None:
    report = forecast(tower(machine(), (TOP, LEAN), locators="none"))
    items = by_id(report)
    assert items["top"].p_out == 0.0
    assert items["lean"].p_out is None
    # b2 stands where it is put: sliding b1 underneath does not carry it along
    assert items["lean"].free_parts == ("b2",)
    assert [part.free_motions[0] for part in report.placing] == ["slides along (1.000, 0.000, 0.000)"] * 2
    assert report.p_any_out is None


def test_rectangular_bond_lines_are_drawn_and_follow_irwin_and_hall() -> None:
    """Four blocks: the sum of four equal rectangles, JCGM 101:2008, 9.2.3 (memory)."""
    four = Characteristic(
        "top", "height", parts=("b4",), points_mm=np.array([[40.0, 40.0, 40.0]]), direction=Z
    )
    bond = Estimate(0.2, 0.05, "uniform")
    item = only(tower(machine(), (four,), heights_mm=(10.0,) * 4, bond_line_mm=bond))
    half = 0.05 * 2.0 * math.sqrt(3.0) * (2.0 - 0.6**0.25)
    assert item.samples == 100_000
    assert item.std == pytest.approx(0.1, abs=1e-9)
    assert item.high == pytest.approx(40.8 + half, abs=0.002)
    assert item.low == pytest.approx(40.8 - half, abs=0.002)
    assert item.worst_high == pytest.approx(40.8 + 4 * 0.05 * math.sqrt(3.0), abs=1e-9)


def test_flatness_of_four_printed_corners_is_half_normal() -> None:
    """Four corners have one residual, the twist, of std s: the flatness is |twist|, half-normal.

    Its mean is s sqrt(2 / pi), its std s sqrt(1 - 2 / pi) (closed form).
    """
    corners = np.array([[0.0, 0, 100], [80, 0, 100], [80, 80, 100], [0, 80, 100]])
    flat = Characteristic("flat", "flatness", parts=("b1",) * 4, points_mm=corners, upper=0.2)
    item = only(tower(machine(repeatability_mm=0.1), (flat,), heights_mm=(100.0,)))
    assert item.predicted == pytest.approx(0.1 * math.sqrt(2.0 / math.pi), rel=0.01)
    assert item.std == pytest.approx(0.1 * math.sqrt(1.0 - 2.0 / math.pi), rel=0.01)
    assert item.high == pytest.approx(0.1 * 2.2414, rel=0.01)
    assert item.p_out == pytest.approx(0.0455, abs=0.003)


PIPE = trimesh.creation.annulus(r_min=20.0, r_max=30.0, height=50.0, sections=32)


def pipe(
    printer: Machine, characteristics: tuple[Characteristic, ...], plastic: Material | None = None
) -> Assembled:
    """An upright pipe on the ground, held by a pin and a slot; its facets meet the axes at their corners."""
    stuff = plastic or material()
    mesh = TriangleMesh(np.array(PIPE.vertices) + np.array([0.0, 0.0, 25.0]), np.array(PIPE.faces))
    foot = square_face(np.array([[25.0, 0, 0], [0, 25, 0], [-25, 0, 0], [0, -25, 0]]), Z)
    joint = Joint(
        "foot",
        (GROUND, "pipe"),
        "pin-and-slot",
        np.array([[-10.0, 0, 0], [10, 0, 0]]),
        faces=foot,
        contact_play_mm=Estimate(0.0),
        locator_play_mm=Estimate(0.0),
    )
    project = Project(
        "pipe",
        None,
        machines=(printer,),
        materials=(stuff,),
        parts=(Part("pipe", "x", printer.id, stuff.id),),
        joints=(joint,),
        characteristics=characteristics,
        assembly=Assembly(GROUND, ("pipe",)),
    )
    return Assembled(project, {"pipe": mesh})


def facet_circle(id: str, radius: float, z: float = 25.0) -> Characteristic:
    """Diameter through the middles of eight facets."""
    angle = (np.arange(0, 32, 4) + 0.5) * 2.0 * np.pi / 32
    apothem = radius * math.cos(math.pi / 32)
    points = np.column_stack([apothem * np.cos(angle), apothem * np.sin(angle), np.full(8, z)])
    return Characteristic(id, "diameter", parts=("pipe",) * 8, points_mm=points)


def test_a_boundary_offset_widens_outsides_and_narrows_holes_by_two_offsets() -> None:
    printer = machine(boundary_offset_mm=Estimate(0.15, 0.02))
    items = by_id(forecast(pipe(printer, (facet_circle("outside", 30.0), facet_circle("hole", 20.0)))))
    assert items["outside"].predicted - items["outside"].nominal == pytest.approx(0.3, abs=1e-6)
    assert items["hole"].predicted - items["hole"].nominal == pytest.approx(-0.3, abs=1e-6)
    assert items["outside"].std == pytest.approx(0.04, abs=1e-6)
    assert items["hole"].std == pytest.approx(0.04, abs=1e-6)


def test_flare_widens_the_foot_only() -> None:
    printer = machine(first_layer_height_mm=0.3, boundary_offset_mm=0.1, first_layer_flare_mm=0.2)
    wanted = (facet_circle("foot", 30.0, 0.2), facet_circle("above", 30.0, 0.4))
    items = by_id(forecast(pipe(printer, wanted)))
    assert items["foot"].predicted - items["foot"].nominal == pytest.approx(0.6, abs=1e-6)
    assert items["above"].predicted - items["above"].nominal == pytest.approx(0.2, abs=1e-6)


def size(id: str, one: list[float], two: list[float]) -> Characteristic:
    return Characteristic(id, "distance", parts=("b1", "b1"), points_mm=np.array([one, two]))


WIDTH = size("width", [0.0, 30.0, 50.0], [80.0, 30.0, 50.0])
HEIGHT = size("height", [30.0, 30.0, 0.0], [30.0, 30.0, 100.0])
CENTRES = size("centres", [20.0, 30.0, 50.0], [60.0, 30.0, 50.0])


@pytest.mark.parametrize(
    ("bed", "grown"),
    [((0.0, 0.0, 0.0), ("width",)), ((90.0, 0.0, 0.0), ("width", "height")), ((0.0, 90.0, 0.0), ("height",))],
)
def test_offset_of_a_box_depends_on_what_stands_upright_on_the_bed(
    bed: tuple[float, float, float], grown: tuple[str, ...]
) -> None:
    printer = machine(boundary_offset_mm=0.1)
    items = by_id(forecast(tower(printer, (WIDTH, HEIGHT, CENTRES), heights_mm=(100.0,), beds_deg=(bed,))))
    for id, item in items.items():
        expected = 0.2 if id in grown else 0.0
        assert item.predicted - item.nominal == pytest.approx(expected, abs=1e-9)


def test_diagonal_of_a_box_grows_at_its_mitred_corners() -> None:
    corner = size("diagonal", [0.0, 0.0, 50.0], [80.0, 80.0, 50.0])
    item = only(tower(machine(boundary_offset_mm=0.1), (corner,), heights_mm=(100.0,)))
    assert item.predicted - item.nominal == pytest.approx(0.2 * math.sqrt(2.0), abs=1e-9)


def test_upright_faces_that_meet_push_each_other_apart_by_two_offsets() -> None:
    """Two blocks side by side along x: each grows by d at the joint and by d at its far end."""
    meshes = {"a": box_mesh((0, 0, 0), (50, 40, 30)), "b": box_mesh((50, 0, 0), (120, 40, 30))}
    corners = np.array([[50.0, y, z] for y in (0, 40) for z in (0, 30)])
    joint = Joint(
        "a:b",
        ("a", "b"),
        "pin-and-slot",
        np.array([[50.0, 10, 15], [50, 30, 15]]),
        faces=square_face(corners, X),
        contact_play_mm=Estimate(0.0),
        locator_play_mm=Estimate(0.0),
    )
    length = Characteristic(
        "length", "distance", parts=("a", "b"), points_mm=np.array([[0.0, 20, 15], [120, 20, 15]])
    )
    printer = machine(boundary_offset_mm=Estimate(0.1, 0.03))
    project = Project(
        "pair",
        None,
        machines=(printer,),
        materials=(material(),),
        parts=(Part("a", "x", "m", "p", bed=Bed()), Part("b", "x", "m", "p", bed=Bed((0.0, 0.0, 90.0)))),
        joints=(joint,),
        characteristics=(length,),
        assembly=Assembly("a", ("a", "b")),
    )
    item = only(Assembled(project, meshes))
    assert item.predicted == pytest.approx(120.0 + 4 * 0.1, abs=1e-9)
    assert item.std == pytest.approx(4 * 0.03, abs=1e-9)
    assert item.linear_minus_exact == pytest.approx(0.0, abs=1e-9)
