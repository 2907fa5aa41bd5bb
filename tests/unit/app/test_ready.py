"""The hold point before printing, line by line."""

import dataclasses

import numpy as np
import pytest

from building import box_mesh, by_id, forecast, machine, ring
from dryfit.app.geometry import shape_in_assembly
from dryfit.app.ready import GRAVITY, Check, HoldPoint, check_before, printed_extent, what_would_hold
from dryfit.base.errors import MeshRefused, ReferenceUnknown
from dryfit.model.part import Bed, Part
from dryfit.store.ledger import open_ledger
from support.projects import MACHINE, document, glb_bytes, write_project


def lines(report, topic):
    return [check for check in report.checks if check.topic == topic]


@pytest.fixture(scope="module")
def portal(tmp_path_factory):
    return check_before(write_project(tmp_path_factory.mktemp("portal")), "printing")


class TestState:
    @pytest.mark.parametrize("states", [GRAVITY[k:] for k in range(4)])
    def test_the_gravest_line_counts(self, states):
        report = forecast(ring(4, machine()))
        checks = tuple(Check("x", "y", state, "because") for state in reversed(states))
        point = HoldPoint("ring", "printing", checks, report)
        assert point.state == states[0]
        assert point.count(states[0]) == 1

    def test_not_checked_is_graver_than_a_caution(self):
        assert GRAVITY.index("not checked") < GRAVITY.index("caution")

    def test_strength_is_never_claimed(self, portal):
        assert [check.state for check in lines(portal, "strength")] == ["not checked"]
        assert "licensed engineer" in lines(portal, "strength")[0].do


class TestVolume:
    def test_size_along_the_machine_axes(self):
        """A box turned by 45 degrees is wider by the square root of two."""
        part = Part("a", "x", "m", "p", bed=Bed((0.0, 0.0, 45.0)))
        shape = shape_in_assembly(part, box_mesh((0, 0, 0), (100, 100, 10)))
        assert printed_extent(part, shape, np.eye(3)) == pytest.approx([2**0.5 * 100, 2**0.5 * 100, 10.0])

    def test_the_lean_of_the_machine_counts(self):
        """At 45 degrees of lean a print 100 tall is 100 wider."""
        part = Part("a", "x", "m", "p")
        shape = shape_in_assembly(part, box_mesh((0, 0, 0), (10, 10, 100)))
        gain = np.array([[1.0, 0.0, 1.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]])
        assert printed_extent(part, shape, gain) == pytest.approx([110.0, 10.0, 100.0])

    def test_exactly_full_is_inside(self, tmp_path):
        text = document(
            machine=MACHINE.replace("[500, 500, 600]", "[200, 60, 200]").replace("= 0.4 ", "= 0.0 ")
        )
        report = check_before(write_project(tmp_path, text), "printing")
        stops = [
            name
            for check in lines(report, "build volume")
            if check.state == "stop"
            for name in check.subject.split(", ")
        ]
        # single precision of the mesh file decides on the last hair
        assert set(stops) <= {"base", "lintel"}
        assert "post-1" not in stops

    def test_it_says_by_how_much(self, tmp_path):
        text = document(
            machine=MACHINE.replace("[500, 500, 600]", "[190, 60.5, 90]").replace("= 0.4 ", "= 0.0 ")
        )
        report = check_before(write_project(tmp_path, text), "printing")
        words = {check.subject: check.reason for check in lines(report, "build volume")}
        assert "X by 10.0 mm" in words["base, lintel"]
        assert "Z by 10.0 mm" in words["post-1, post-2"]

    def test_what_fits_as_modelled_and_not_as_printed_has_its_own_line(self, tmp_path):
        """A lean of 0.4 degrees makes a post 100 tall 0.7 wider than the 20 that it is modelled."""
        text = document(machine=MACHINE.replace("[500, 500, 600]", "[200.5, 60.5, 200]"))
        report = check_before(write_project(tmp_path, text), "printing")
        stops = {check.subject for check in lines(report, "build volume") if check.state == "stop"}
        assert stops == set()
        text = text.replace("[200.5, 60.5, 200]", "[200.1, 60.5, 200]")
        report = check_before(write_project(tmp_path / "tight", text), "printing")
        words = {check.subject: check.reason for check in lines(report, "build volume")}
        assert "as printed" not in words.get("base", "")
        assert words["base"].startswith("in its pose it is larger")


class TestMeshes:
    def test_a_hash_that_no_longer_fits_passes_nothing(self, tmp_path):
        text = document().replace('material = "pla"\n', f'material = "pla"\nsha256 = "{"0" * 64}"\n', 1)
        with pytest.raises(MeshRefused):
            check_before(write_project(tmp_path, text), "printing")

    def test_sound_meshes_are_counted_together(self, portal):
        assert [(check.subject, check.state) for check in lines(portal, "health")] == [("4 parts", "pass")]
        assert [(check.subject, check.state) for check in lines(portal, "mesh")] == [
            ("4 parts", "not checked")
        ]


class TestForecastLines:
    def test_they_agree_with_the_forecast(self, portal):
        items = by_id(portal.forecast)
        for check in lines(portal, "forecast"):
            p_out = items[check.subject].p_out
            assert check.state == ("stop" if p_out > portal.forecast.risk else "pass")

    def test_nothing_asked_is_not_checked(self, tmp_path):
        report = check_before(write_project(tmp_path, document(characteristics="")), "printing")
        assert [check.state for check in lines(report, "forecast")] == ["not checked"]

    def test_undetermined_is_not_checked(self, tmp_path):
        report = check_before(
            write_project(
                tmp_path,
                document(
                    joints="",
                    characteristics="""
[[characteristic]]
id = "height"
kind = "height"
parts = ["lintel"]
points_mm = [[0, 0, 140]]
limits_mm = [0, 1000]
""",
                ),
            ),
            "printing",
        )
        assert [check.state for check in lines(report, "forecast")] == ["not checked"]
        assert "lintel" in lines(report, "forecast")[0].reason
        under = {check.subject for check in lines(report, "placing") if check.state == "caution"}
        assert under == {"post-1", "post-2", "lintel"}

    def test_heat_is_looked_at_once_a_temperature_is_stated(self, tmp_path):
        text = f"{document()}temp_c = 30\ntemp_std_c = 5\n"
        assert lines(check_before(write_project(tmp_path, text), "printing"), "heat") == []


@pytest.mark.parametrize(
    ("free", "joints", "words"),
    [(6, (), "no joint locates it"), (1, ("a:b",), "pin-and-slot"), (3, ("a:b",), "a pin holds the slides"),
     (5, ("a:b",), "at least three")],
)  # fmt: skip
def test_what_would_hold_a_part(free, joints, words):
    assert words in what_would_hold(free, joints)


def test_it_is_recorded_unless_told_otherwise(tmp_path):
    folder = write_project(tmp_path, None, {"meshes/portal.glb": glb_bytes()})
    check_before(folder, "printing", record=False)
    assert not (folder / "ledger.db").exists()
    check_before(folder, "printing")
    with open_ledger(folder / "ledger.db") as ledger:
        assert len(ledger.records("forecast")) == 1


def test_other_stages_have_no_checks_yet(tmp_path):
    with pytest.raises(ReferenceUnknown):
        check_before(write_project(tmp_path), "ordering")


def test_a_line_is_frozen(portal):
    with pytest.raises(dataclasses.FrozenInstanceError):
        portal.checks[0].state = "pass"
