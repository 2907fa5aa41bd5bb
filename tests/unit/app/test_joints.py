"""Proposing joints and deciding on them."""

import pytest

from dryfit.app.joints import decide_joints, propose_joints
from dryfit.base.errors import DocumentRefused, ReferenceUnknown
from dryfit.store.document import read_document
from support.projects import JOINTS, contents, document, joint_row, write_project

BARE = document(joints="", characteristics="")


@pytest.fixture
def folder(tmp_path):
    return write_project(tmp_path, BARE)


def test_faces_of_the_portal(folder):
    report = propose_joints(folder)
    assert {frozenset(item.parts) for item in report.proposals} == {
        frozenset(pair)
        for pair in [("base", "post-1"), ("base", "post-2"), ("post-1", "lintel"), ("post-2", "lintel")]
    }
    for item in report.proposals:
        assert item.area_mm2 == pytest.approx(20.0 * 60.0, rel=1e-5)
        assert item.mean_gap_mm == pytest.approx(0.0, abs=1e-4)
        assert len(item.free_motions) == 3  # a plane face leaves two slides and a turn
    assert (report.lonely, report.not_detected, report.written) == ((), (), True)


def test_a_proposal_keeps_its_contacts_and_no_locators(folder):
    propose_joints(folder)
    for joint in read_document(folder).project.joints:
        assert joint.proposed
        assert joint.locators == "none"
        assert joint.faces is not None
        assert len(joint.faces.normals) == 4


@pytest.mark.parametrize("rounds", [1, 2, 3])
def test_it_settles_at_once(folder, rounds):
    for _ in range(rounds):
        propose_joints(folder)
    assert len(read_document(folder).project.joints) == 4


@pytest.mark.parametrize("turned", [("base", "post-1"), ("post-1", "base")])
def test_a_joint_without_faces_is_known_either_way_round(tmp_path, turned):
    folder = write_project(tmp_path, document(joints=joint_row(*turned), characteristics=""))
    report = propose_joints(folder)
    states = {frozenset(item.parts): item.state for item in report.proposals}
    assert states[frozenset(turned)] == "accepted"
    assert list(states.values()).count("proposed") == 3


def test_a_name_that_is_taken_gets_a_number(tmp_path):
    # a joint of that name is there already, between other parts
    odd = joint_row("post-1", "lintel", id="base:post-1")
    folder = write_project(tmp_path, document(joints=odd, characteristics=""))
    assert "base:post-1.2" in {item.joint for item in propose_joints(folder).proposals}


def test_a_lonely_part_is_named(tmp_path):
    from support.projects import PORTAL, glb_bytes

    bodies = {**PORTAL, "lintel": ((200.0, 60.0, 20.0), (0.0, 0.0, 500.0))}
    folder = write_project(tmp_path, BARE, {"meshes/portal.glb": glb_bytes(bodies)})
    assert propose_joints(folder, write=False).lonely == ("lintel",)


class TestDecisions:
    def test_accept_and_refuse(self, folder):
        ids = [item.joint for item in propose_joints(folder).proposals]
        assert decide_joints(folder, [ids[0]], [ids[1]]) == (f"accepted {ids[0]}", f"removed {ids[1]}")
        joints = {joint.id: joint.proposed for joint in read_document(folder).project.joints}
        assert joints == {ids[0]: False, ids[2]: True, ids[3]: True}

    def test_all(self, folder):
        propose_joints(folder)
        assert len(decide_joints(folder, [], ["all"])) == 4
        assert read_document(folder).project.joints == ()
        assert decide_joints(folder, ["all"], []) == ("nothing to decide: no joint is waiting",)

    @pytest.mark.parametrize("name", ["base:post-9", "base:post-1"])
    def test_only_what_waits_can_be_decided(self, tmp_path, name):
        folder = write_project(tmp_path)
        before = contents(folder)
        with pytest.raises(ReferenceUnknown, match="is not a proposed joint"):
            decide_joints(folder, [name], [])
        assert contents(folder) == before

    def test_a_joint_that_a_characteristic_needs_is_not_removed(self, tmp_path):
        text = document(joints=JOINTS.replace('role = "closing"', 'role = "closing"\nproposed = true'))
        folder = write_project(tmp_path, text)
        before = contents(folder)
        with pytest.raises(DocumentRefused):
            decide_joints(folder, [], ["post-2:lintel"])
        assert contents(folder) == before
