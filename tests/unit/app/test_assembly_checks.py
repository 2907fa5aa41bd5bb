"""Findings on the assembly in the model; every figure is arithmetic of boxes."""

import dataclasses

import numpy as np
import pytest

from building.meshes import box_mesh
from building.project import Assembled, exact_machine, material
from dryfit.app.assembly_checks import SpaceLimits, check_assembly, group_equal
from dryfit.base.rotation import rotation_from_euler
from dryfit.model.finding import Finding
from dryfit.model.joint import Joint
from dryfit.model.mesh import TriangleMesh
from dryfit.model.part import Part
from dryfit.model.project import Project


def assembly(meshes: dict[str, TriangleMesh], *joints: Joint) -> Assembled:
    parts = tuple(Part(name, f"{name}.stl", "m", "p") for name in meshes)
    project = Project(
        "boxes", None, machines=(exact_machine(),), materials=(material(),), parts=parts, joints=joints
    )
    return Assembled(project, meshes)


def checked(built: Assembled, **options: object) -> tuple[Finding, ...]:
    return check_assembly(built.project, built.shapes, **options)  # type: ignore[arg-type]


def about(findings: tuple[Finding, ...], topic: str, *parts: str) -> Finding:
    found = [f for f in findings if f.topic == topic and set(f.parts) == set(parts)]
    found = [f for f in found if not f.what.startswith("no two parts")]
    assert len(found) == 1, [(f.topic, f.parts, f.what) for f in findings]
    return found[0]


BASE = box_mesh((0, 0, 0), (40, 30, 20))
JOINT = Joint("a:b", ("a", "b"))


def test_two_parts_in_the_same_space_are_a_stop() -> None:
    found = about(
        checked(assembly({"a": BASE, "b": box_mesh((39, 0, 0), (120, 30, 20))})), "overlap", "a", "b"
    )
    assert found.state == "stop"
    assert found.amount == pytest.approx(600.0)
    assert "600 mm3, 1 mm deep" in found.what
    assert np.allclose(found.places_mm, [[39.5, 15, 10]])


def test_joined_faces_that_touch_are_no_overlap_and_no_clearance() -> None:
    found = checked(assembly({"a": BASE, "b": box_mesh((40, 0, 0), (120, 30, 20))}, JOINT))
    assert [f.state for f in found] == ["pass"]
    assert "1 of 1 near pairs" in found[0].what


@pytest.mark.parametrize(("stated", "state"), [(0.1, "pass"), (0.3, "caution"), (None, "stop")])
def test_a_press_fit_is_named_as_such(stated: float | None, state: str) -> None:
    joint = dataclasses.replace(JOINT, press_mm=stated)
    built = assembly({"a": BASE, "b": box_mesh((39.9, 0, 0), (120, 30, 20))}, joint)
    found = next(f for f in checked(built) if f.topic == "overlap" and f.parts == ("a", "b"))
    assert found.state == state
    assert ("press fit" in found.what) == (stated is not None)
    assert '"a:b"' in found.what


@pytest.mark.parametrize(("into_mm", "state"), [(1.0, "stop"), (0.03, "caution")])
def test_an_overlap_has_the_box_of_what_both_fill(into_mm: float, state: str) -> None:
    """Closed form: two boxes share a box."""
    built = assembly({"a": BASE, "b": box_mesh((40 - into_mm, 5, 0), (120, 30, 20))})
    found = about(checked(built), "overlap", "a", "b")
    assert found.state == state
    low, high = BASE.vertices.min(axis=0), BASE.vertices.max(axis=0)
    assert found.boxes_mm.shape == (1, 2, 3)
    assert np.allclose(found.boxes_mm, [[[40 - into_mm, 5, low[2]], [40, high[1], high[2]]]], atol=1e-4)


def test_a_slight_overlap_is_a_caution() -> None:
    built = assembly({"a": BASE, "b": box_mesh((39.97, 0, 0), (120, 30, 20))})
    assert about(checked(built), "overlap", "a", "b").state == "caution"


def test_parts_that_stand_too_near_are_a_caution() -> None:
    built = assembly(
        {"a": BASE, "b": box_mesh((40.15, 0, 0), (120, 30, 20)), "c": box_mesh((0, 0, 25), (9, 9, 30))}
    )
    found = about(checked(built), "clearance", "a", "b")
    assert found.state == "caution"
    assert found.amount == pytest.approx(0.15, abs=1e-9)
    assert found.places_mm[:, 0] == pytest.approx([40.0, 40.15])
    assert not [f for f in checked(built, limits=SpaceLimits(clearance_mm=0.1)) if f.topic == "clearance"]


def test_a_touch_without_a_joint_is_a_caution_and_a_part_alone_too() -> None:
    built = assembly(
        {"a": BASE, "b": box_mesh((40, 0, 0), (120, 30, 20)), "c": box_mesh((0, 0, 25), (9, 9, 30))}
    )
    found = checked(built)
    assert "touch" in about(found, "clearance", "a", "b").what
    assert about(found, "contact", "c").state == "caution"
    assert not [f for f in found if f.topic == "contact" and "c" not in f.parts]


def test_a_proposed_joint_is_not_yet_an_intended_contact() -> None:
    proposed = dataclasses.replace(JOINT, proposed=True)
    found = checked(assembly({"a": BASE, "b": box_mesh((40, 0, 0), (120, 30, 20))}, proposed))
    assert about(found, "clearance", "a", "b").state == "caution"


def test_an_open_mesh_is_not_checked_but_a_crossing_is_said() -> None:
    opened = TriangleMesh(BASE.vertices, BASE.faces[1:])
    crossing = about(
        checked(assembly({"a": opened, "b": box_mesh((35, 5, 5), (120, 25, 15))})), "overlap", "a", "b"
    )
    assert crossing.state == "stop"
    assert "a is open" in crossing.what
    inside = about(checked(assembly({"a": opened, "b": box_mesh((5, 5, 5), (9, 9, 9))})), "overlap", "a", "b")
    assert inside.state == "not checked"
    # Not checked is never followed by a pass.
    assert not [
        f for f in checked(assembly({"a": opened, "b": box_mesh((5, 5, 5), (9, 9, 9))}))
        if f.topic == "overlap" and f.state == "pass"
    ]  # fmt: skip


def wedge(tip: float = 0.0, mirror: bool = False, turn: float = 0.0, shift: float = 0.0) -> TriangleMesh:
    """A box without symmetry: one corner is drawn out."""
    vertices = np.array(box_mesh((0, 0, 0), (40, 30, 20)).vertices)
    vertices[7] += [5.0, 3.0 + tip, 1.0]
    vertices[5] += [2.0, 0.0, 4.0]
    faces = BASE.faces
    if mirror:
        vertices, faces = vertices * [-1, 1, 1], faces[:, ::-1]
    return TriangleMesh(vertices @ rotation_from_euler((turn, 0, 2 * turn)).T + [shift, 0, 0], faces)


def test_equal_mirrored_and_not_quite_mirrored_parts() -> None:
    built = assembly(
        {
            "left": wedge(),
            "left-2": wedge(turn=30.0, shift=200.0),
            "right": wedge(mirror=True, shift=-200.0),
            "right-off": wedge(tip=0.3, mirror=True, turn=50.0, shift=-400.0),
            "other": box_mesh((600, 0, 0), (700, 20, 20)),
        }
    )
    assert group_equal(built.shapes) == {
        "left": "left", "left-2": "left", "right": "right", "right-off": "right-off", "other": "other"
    }  # fmt: skip
    found = [f for f in checked(built) if f.topic == "likeness"]
    assert about(tuple(found), "likeness", "left", "left-2").state == "pass"
    assert about(tuple(found), "likeness", "left", "right").state == "pass"
    off = about(tuple(found), "likeness", "left", "right-off")
    assert off.state == "caution"
    assert "mirror images but for 0." in off.what
    assert "left-2" in off.what
    assert off.amount == pytest.approx(0.3, abs=0.1)
    corner = built.meshes["right-off"].vertices[7]
    assert np.linalg.norm(off.places_mm[0] - corner) < 1.0
    assert about(tuple(found), "likeness", "right", "right-off").state == "caution"


def test_progress_comes_to_its_end_and_missing_parts_are_left_out() -> None:
    built = assembly(
        {"a": BASE, "b": box_mesh((40, 0, 0), (120, 30, 20)), "c": box_mesh((0, 0, 25), (9, 9, 30))}
    )
    seen: list[tuple[int, int]] = []
    check_assembly(built.project, built.shapes, progress=lambda done, total: seen.append((done, total)))
    assert [done for done, _ in seen] == sorted(done for done, _ in seen)
    assert {total for _, total in seen} == {4}
    shapes = {name: shape for name, shape in built.shapes.items() if name != "c"}
    assert all("c" not in f.parts for f in check_assembly(built.project, shapes))
