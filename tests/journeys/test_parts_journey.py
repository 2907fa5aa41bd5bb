"""From a wrong height to a clear check, and a holed mesh mended: the commands about meshes, as a builder uses them."""

import tomllib

import numpy as np
import pytest

from support.command import refusal, run, run_json
from support.mesh_files import box, stl_binary
from support.projects import MACHINE, document, open_stl_bytes, part_row, write_project

WIDE = MACHINE.replace("[machine.error]", "extrusion_width_mm = 0.6\noverhang_deg = 45\n[machine.error]")
DIMENSION = """
[[dimension]]
id = "post.height"
prototype_mm = 1830
prototype_std_mm = 10
"""


@pytest.fixture
def portal(tmp_path):
    return write_project(tmp_path / "portal", document(machine=WIDE) + DIMENSION)


def toml_of(folder):
    return tomllib.loads((folder / "project.toml").read_text(encoding="utf-8"))


def add_height(folder, *more):
    return (
        "feature", "add", "extent", "--project", folder, "--part", "post-1", "--along", "0,0,1",
        "--dimension", "post.height", "--deviations=-1,1", "--id", "post-height", *more,
    )  # fmt: skip


class TestFeatures:
    def test_a_height_nine_per_cent_too_large_is_caught_before_printing(self, portal):
        status, _added = run_json(*add_height(portal))
        assert status == 1
        assert toml_of(portal)["feature"][0]["id"] == "post-height"
        status, report = run_json("parts", portal)
        item = next(item for item in report["features"] if item["id"] == "post-height")
        assert (status, item["state"]) == (1, "stop")
        assert item["measured"] == pytest.approx(100.0, abs=1e-4)
        assert item["nominal"] == 91.5
        assert item["deviation_in_std_of_nominal"] == pytest.approx(17.0, abs=1e-3)
        assert any("lintel" in name for name in item["dependents"])
        ready, point = run_json("ready", portal)
        lines = [line for line in point["checks"] if line["topic"] == "feature"]
        assert (ready, lines[0]["state"]) == (1, "stop")

    def test_looking_writes_nothing(self, portal):
        before = (portal / "project.toml").read_bytes()
        run(*add_height(portal, "--look"))
        assert (portal / "project.toml").read_bytes() == before

    def test_a_picked_face_is_found_again_in_a_moved_export_and_lost_when_it_is_gone(self, portal):
        assert run(
            "feature", "add", "distance", "--project", portal, "--part", "post-1",
            "--at", "0,30,70", "--at", "20,30,70", "--nominal", "20", "--std", "0.1",
            "--limits", "19.5,20.5", "--id", "post-width",
        ).exit_code == 0  # fmt: skip
        stored = toml_of(portal)["feature"][0]["faces"]
        assert [face["form"] for face in stored] == ["plane", "plane"]
        # The same post as another file, with its triangles in another order: still the same faces.
        vertices, faces = box((20.0, 60.0, 100.0), (0.0, 0.0, 20.0))
        again = np.asarray(faces)[np.random.default_rng(1).permutation(len(faces))]
        point_to(portal, stl_binary(vertices, again))
        _, report = run_json("parts", portal)
        assert feature(report, "post-width")["state"] == "pass"
        # A post whose side has moved by 30 mm: the face is gone, and the report says so.
        point_to(portal, stl_binary(*box((50.0, 60.0, 100.0), (0.0, 0.0, 20.0))))
        _, report = run_json("parts", portal)
        lost = feature(report, "post-width")
        assert lost["state"] == "not checked"
        assert "post-1" in lost["reason"]

    def test_a_point_in_the_air_is_refused(self, portal):
        words = refusal(
            "feature", "add", "flatness", "--project", portal, "--part", "post-1", "--at", "500,500,500",
        )  # fmt: skip
        assert "post-1" in words["what"] + words["where"]
        assert "feature" not in toml_of(portal)


def point_to(folder, data):
    (folder / "meshes" / "post.stl").write_bytes(data)
    toml = folder / "project.toml"
    text = toml.read_text(encoding="utf-8")
    toml.write_text(
        text.replace('mesh = "meshes/portal.glb#post-1"', 'mesh = "meshes/post.stl"\nunit = "mm"'),
        encoding="utf-8",
    )


def feature(report, id):
    return next(item for item in report["features"] if item["id"] == id)


class TestParts:
    def test_all_states_of_the_demonstration(self, tmp_path):
        folder = tmp_path / "demo"
        assert run("demo", folder).exit_code == 0
        status, report = run_json("parts", folder)
        stops = [item["id"] for item in report["features"] if item["state"] == "stop"]
        assert (status, stops) == (1, ["drum-height", "dome-rise"])
        assert feature(report, "drum-height")["deviation"] == pytest.approx(0.1 * 182.0, rel=0.04)
        assert feature(report, "dome-rise")["deviation"] == pytest.approx(0.1 * 418.0, rel=0.04)
        assert [item for item in all_findings(report) if item["state"] == "stop"] == []
        words = run("parts", folder, "--brief").stdout
        assert "drum-height" in words
        assert "rib-width" not in words
        again, second = run_json("parts", folder)
        assert again == 1
        assert all(part["is_kept_result"] for part in second["parts"])
        assert second["features"] == report["features"]

    def test_metres_read_as_millimetres_do_not_pass(self, tmp_path):
        """A wall of 2 mm that came a thousand times too thin is below one line."""
        text = document(machine=WIDE, parts=part_row("lid", reference="meshes/lid.stl", unit='"mm"'),
                        joints="", characteristics="", assembly="")  # fmt: skip
        thin = stl_binary(*box((40.0, 30.0, 0.02)))
        folder = write_project(tmp_path / "thin", text, {"meshes/lid.stl": thin})
        status, report = run_json("parts", folder)
        walls = [item for item in all_findings(report) if item["topic"] == "wall"]
        assert (status, walls[0]["state"]) == (1, "stop")

    def test_what_cannot_be_opened_is_refused(self, tmp_path):
        refusal("parts", tmp_path / "nowhere")


def all_findings(report):
    return [item for part in report["parts"] for item in part["findings"]] + report["assembly"]


class TestMend:
    @pytest.fixture
    def holed(self, tmp_path):
        text = document(machine=WIDE, parts=part_row("lid", reference="meshes/lid.stl", unit='"mm"'),
                        joints="", characteristics="", assembly="")  # fmt: skip
        return write_project(tmp_path / "holed", text, {"meshes/lid.stl": open_stl_bytes()})

    def test_a_hole_is_named_filled_on_request_and_the_original_stays(self, holed):
        original = (holed / "meshes" / "lid.stl").read_bytes()
        _, report = run_json("parts", holed)
        health = [item for item in all_findings(report) if item["topic"] == "health"]
        assert any(item["state"] != "pass" and item["places_mm"] for item in health)
        status, _mended = run_json("mend", "lid", holed, "--fill-holes-up-to", "1000")
        assert status == 0
        assert (holed / "meshes" / "lid.stl").read_bytes() == original
        assert toml_of(holed)["part"][0]["mesh"] != "meshes/lid.stl"
        _, report = run_json("parts", holed)
        assert report["parts"][0]["is_closed"]
        assert report["weights"]["volume_mm3"] == pytest.approx(20 * 60 * 100, rel=1e-6)

    def test_a_sound_mesh_is_not_touched(self, portal):
        before = (portal / "project.toml").read_bytes()
        refusal("mend", "base", portal)
        assert (portal / "project.toml").read_bytes() == before
