"""One project from an empty folder to the hold point, through the command alone."""

import datetime

import numpy as np
import pytest
import trimesh

from support.command import refusal, run, run_json
from support.mesh_files import box, box_3mf, obj, ply_text
from support.projects import (
    CHARACTERISTICS,
    MACHINE,
    MATERIAL,
    PORTAL,
    contents,
    document,
    glb_bytes,
    open_stl_bytes,
    stl_bytes,
    write_project,
)

CHARACTERISTIC_KEYS = {
    "id",
    "kind",
    "unit",
    "nominal",
    "predicted",
    "std",
    "lower_limit",
    "upper_limit",
    "p_out",
    "worst_low",
    "worst_high",
    "linear_minus_exact",
    "contributions",
}


@pytest.fixture
def project(tmp_path):
    """A new project with a machine and a material, and nothing else."""
    folder = tmp_path / "portal"
    assert run("new", folder, "--scale", "1:20").exit_code == 0
    toml = folder / "project.toml"
    toml.write_text(toml.read_text() + MACHINE + MATERIAL)
    return folder


@pytest.fixture
def stated(tmp_path):
    """The portal with everything stated."""
    return write_project(tmp_path / "portal")


def put(folder, name, data):
    path = folder.parent / name
    path.write_bytes(data)
    return path


def edit(folder, old, new):
    toml = folder / "project.toml"
    text = toml.read_text()
    assert old in text
    toml.write_text(text.replace(old, new))


def by_id(report):
    return {item["id"]: item for item in report["characteristics"]}


class TestNew:
    def test_makes_a_document_that_reads_and_forecasts_nothing(self, tmp_path):
        status, made = run_json("new", tmp_path / "a", "--scale", "1:20", "--name", 'The "long" hull')
        assert status == 0
        assert (made["name"], made["scale"]) == ('The "long" hull', "1:20")
        status, report = run_json("forecast", tmp_path / "a")
        assert (status, report["state"]) == (1, "not checked")
        assert report["project"] == 'The "long" hull'
        assert run_json("ready", tmp_path / "a")[1]["state"] == "not checked"

    def test_leaves_a_filled_folder_alone(self, stated):
        before = contents(stated)
        assert "not empty" in refusal("new", stated)["what"]
        assert contents(stated) == before

    def test_a_scale_that_is_none(self, tmp_path):
        refused = refusal("new", tmp_path / "a", "--scale", "20")
        assert "1:20" in refused["faults"][0]["do"]
        assert not (tmp_path / "a").exists()


class TestImport:
    def test_a_file_with_several_objects(self, project):
        status, report = run_json("import", put(project, "portal.glb", glb_bytes()), "--project", project)
        assert status == 0
        assert {part["id"] for part in report["parts"]} == set(PORTAL)
        sizes = {part["id"]: part["size_mm"] for part in report["parts"]}
        for name, (size, _) in PORTAL.items():
            # glTF stores single precision
            assert sizes[name] == pytest.approx(size, rel=1e-6)
        assert (project / "meshes/portal.glb").exists()
        assert any("metre" in note or "m (1 m" in note for note in report["notes"])
        assert any("only one" in note for note in report["notes"])
        assert run("forecast", project).exit_code == 1

    def test_a_format_without_unit_is_refused_with_the_units_ranked(self, project):
        before = contents(project)
        shim = put(project, "shim.stl", stl_bytes((20.0, 60.0, 5.0)))
        refused = refusal("import", shim, "--project", project)
        assert "Likeliest first: as millimetres" in refused["what"]
        assert 'unit = "mm"' in refused["do"]
        assert contents(project) == before
        assert "mile" in refusal("import", shim, "-p", project, "--unit", "mile")["what"]

    def test_a_stated_unit_is_kept_in_the_document(self, project):
        shim = put(project, "shim.stl", stl_bytes((2.0, 6.0, 0.5)))
        _, report = run_json("import", shim, "--project", project, "--unit", "cm")
        assert report["parts"][0]["size_mm"] == pytest.approx([20.0, 60.0, 5.0])
        assert 'unit = "cm"' in (project / "project.toml").read_text()
        assert run("forecast", project).exit_code == 1

    @pytest.mark.parametrize(
        ("name", "data", "unit"),
        [
            ("block.3mf", box_3mf(), None),
            ("block.obj", obj(*box(), "block"), "mm"),
            ("block.ply", ply_text(*box()), "mm"),
        ],
    )
    def test_other_formats(self, project, name, data, unit):
        asked = ["--unit", unit] if unit else []
        status, report = run_json("import", put(project, name, data), "-p", project, *asked)
        assert status == 0
        assert report["parts"][0]["size_mm"] == pytest.approx([1.0, 2.0, 3.0])
        assert report["parts"][0]["is_closed"]

    def test_several_files_at_once(self, project):
        files = [put(project, f"{name}.stl", stl_bytes()) for name in ("one", "two", "three")]
        _, report = run_json("import", *files, "-p", project, "--unit", "mm")
        assert [part["id"] for part in report["parts"]] == ["one", "two", "three"]

    def test_one_bad_file_among_three_leaves_the_project_as_it_was(self, project):
        before = contents(project)
        files = [put(project, "one.stl", stl_bytes()), put(project, "bad.stl", b"solid x\nfacet")]
        refused = refusal(
            "import", *files, put(project, "three.stl", stl_bytes()), "-p", project, "--unit", "mm"
        )
        assert "bad.stl" in refused["where"]
        assert contents(project) == before

    def test_two_files_that_would_take_one_place(self, project):
        before = contents(project)
        for folder in ("a", "b"):
            (project.parent / folder).mkdir()
        files = [
            put(project, f"{folder}/x.glb", glb_bytes({folder: ((1.0, 1.0, 1.0), (0.0, 0.0, 0.0))}))
            for folder in ("a", "b")
        ]
        assert "two of the files" in refusal("import", *files, "-p", project)["what"]
        assert contents(project) == before

    def test_taking_a_changed_file_again(self, project):
        portal = put(project, "portal.glb", glb_bytes())
        run("import", portal, "-p", project)
        assert "already" in refusal("import", portal, "-p", project)["what"]
        taller = {**PORTAL, "post-1": ((20.0, 60.0, 101.0), (0.0, 0.0, 20.0))}
        portal.write_bytes(glb_bytes(taller))
        assert "other content" in refusal("import", portal, "-p", project)["what"]
        edit(
            project,
            'id = "post-1"',
            'id = "post-1"  # by the north door\nbed = { euler_xyz_deg = [0, 0, 90] }',
        )
        status, report = run_json("import", portal, "-p", project, "--again")
        assert status == 0
        assert all(part["renewed"] for part in report["parts"])
        assert report["machine"] is None
        text = (project / "project.toml").read_text()
        assert "# by the north door" in text
        assert "[0, 0, 90]" in text
        assert text.count("\n[[part]]") == 4
        assert run("joints", project, "--look").exit_code == 0

    def test_a_file_taken_again_keeps_the_unit_that_the_document_states(self, project):
        shim = put(project, "shim.stl", stl_bytes((2.0, 6.0, 0.5)))
        run("import", shim, "-p", project, "--unit", "cm")
        shim.write_bytes(stl_bytes((2.0, 6.0, 0.6)))
        assert "not in mm" in refusal("import", shim, "-p", project, "--again", "--unit", "mm")["what"]
        _, report = run_json("import", shim, "-p", project, "--again")
        assert report["parts"][0]["size_mm"] == pytest.approx([20.0, 60.0, 6.0])

    def test_a_part_must_not_lose_its_object(self, project):
        portal = put(project, "portal.glb", glb_bytes())
        run("import", portal, "-p", project)
        before = contents(project)
        portal.write_bytes(glb_bytes({("lintle" if k == "lintel" else k): v for k, v in PORTAL.items()}))
        assert '"lintel"' in refusal("import", portal, "-p", project, "--again")["what"]
        assert contents(project) == before

    def test_without_machine_there_is_nothing_to_print_on(self, tmp_path):
        run("new", tmp_path / "a")
        refused = refusal("import", put(tmp_path / "a", "p.glb", glb_bytes()), "-p", tmp_path / "a")
        assert "no machine" in refused["what"]

    def test_an_unknown_machine_is_named_with_those_known(self, project):
        portal = put(project, "portal.glb", glb_bytes())
        refused = refusal("import", portal, "-p", project, "--machine", "tlal")
        assert "tall" in refused["do"]


class TestJoints:
    @pytest.fixture
    def imported(self, project):
        run("import", put(project, "portal.glb", glb_bytes()), "-p", project)
        return project

    def test_looking_writes_nothing(self, imported):
        before = contents(imported)
        status, report = run_json("joints", imported, "--look")
        assert status == 0
        assert len(report["proposals"]) == 4
        assert not report["written"]
        assert contents(imported) == before

    def test_proposals_are_written_once_and_comments_stay(self, imported):
        edit(imported, "[search]", "# by hand\n[search]")
        _, report = run_json("joints", imported)
        assert report["written"]
        assert {item["state"] for item in report["proposals"]} == {"proposed"}
        # the two posts stand on 20 x 60 mm
        assert {round(item["area_mm2"], 3) for item in report["proposals"]} == {1200.0}
        text = (imported / "project.toml").read_text()
        assert "# by hand" in text
        assert "# measured last winter" in text
        _, again = run_json("joints", imported)
        assert not again["written"]
        assert {item["state"] for item in again["proposals"]} == {"waiting"}
        assert (imported / "project.toml").read_text() == text

    def test_proposals_are_not_used_until_accepted(self, imported):
        ids = [item["joint"] for item in run_json("joints", imported)[1]["proposals"]]
        edit(
            imported,
            "[assembly]",
            CHARACTERISTICS[: CHARACTERISTICS.index('[[characteristic]]\nid = "clo')] + "[assembly]",
        )
        assert by_id(run_json("forecast", imported)[1])["lintel-height"]["p_out"] is None
        assert run_json("joints", imported, "--accept", ids[0])[1] == {"done": [f"accepted {ids[0]}"]}
        assert run_json("joints", imported, "--refuse", ids[1])[1] == {"done": [f"removed {ids[1]}"]}
        assert ids[1] not in (imported / "project.toml").read_text()
        done = run_json("joints", imported, "--accept", "all")[1]["done"]
        assert done == [f"accepted {name}" for name in ids[2:]]
        assert "proposed = true" not in (imported / "project.toml").read_text()
        assert "nothing to decide" in run("joints", imported, "--accept", "all").stdout

    def test_an_id_that_is_no_proposal(self, imported):
        run("joints", imported)
        assert "base:post-1" in refusal("joints", imported, "--accept", "post-9")["do"]

    def test_a_joint_without_stated_faces_counts_as_known(self, stated):
        _, report = run_json("joints", stated)
        assert {item["state"] for item in report["proposals"]} == {"accepted"}
        assert not report["written"]


class TestForecast:
    def test_json_has_the_documented_keys_and_nothing_else_is_printed(self, stated):
        status, report = run_json("forecast", stated)
        assert status == 1
        for item in report["characteristics"]:
            assert set(item) >= CHARACTERISTIC_KEYS
            for cause in item["contributions"]:
                assert set(cause) == {"source", "variance_share", "mean_shift"}
        for item in report["placing"]:
            assert set(item) >= {"part", "free_motions", "residual_rms_mm"}
        assert report["assumptions"]
        assert report["program_version"]
        assert len(report["input_hash"]) == 64

    def test_the_lean_of_the_posts(self, stated):
        found = by_id(run_json("forecast", stated)[1])
        # a post printed on a machine that leans 0.4 degrees stands 0.4 degrees out of square
        assert found["plumb"]["predicted"] == pytest.approx(-0.4, abs=0.005)
        assert found["plumb"]["contributions"][0]["source"] == "tall.skew_xz_deg"
        assert found["plumb"]["contributions"][0]["mean_shift"] == pytest.approx(-0.4, abs=0.005)
        assert found["lintel-height"]["predicted"] == pytest.approx(140.0, abs=1e-3)
        shares = sum(cause["variance_share"] for cause in found["plumb"]["contributions"])
        assert shares == pytest.approx(1.0)

    def test_clear_means_exit_status_0(self, stated):
        edit(stated, "limits_deg = [-0.2, 0.2]", "limits_deg = [-2, 2]")
        edit(stated, "limits_mm = [-0.5, 0.5]", "limits_mm = [-3, 3]")
        result = run("forecast", stated)
        assert result.exit_code == 0
        assert "all 3 characteristics hold" in result.stdout

    def test_without_locators_the_result_is_undetermined(self, stated):
        edit(
            stated,
            'locators = "pin-and-slot"\nbond_line_mm = 0.0\ncontact_play_mm = 0.03\nlocator_play_mm = 0.05',
            'locators = "none"\nbond_line_mm = 0.0\ncontact_play_mm = 0.03',
        )
        status, report = run_json("forecast", stated)
        assert status == 1
        assert by_id(report)["closing-step"]["p_out"] is None
        assert by_id(report)["closing-step"]["state"] == "not checked"
        free = {item["part"]: item["free_motions"] for item in report["placing"]}
        assert free["base"] == []
        assert len(free["post-1"]) == 3  # two slides and a turn on a plane face
        assert "under-located" in run("forecast", stated).stdout

    def test_a_refused_document_lists_every_fault(self, stated):
        edit(stated, 'machine = "tall"', 'machine = "tlal"')
        refused = refusal("forecast", stated)
        assert len(refused["faults"]) == 4
        assert all("line" in fault["where"] for fault in refused["faults"])

    def test_why_shows_every_cause(self, stated):
        result = run("forecast", stated, "--why", "plumb", "--why", "closing-step")
        assert result.exit_code == 1
        assert "lean of the upright toward X (tall)" in result.stdout
        assert "closing-step" in result.stdout
        assert "plumb" in refusal("forecast", stated, "--why", "plumbline")["do"]

    def test_only_a_recorded_run_makes_a_ledger(self, stated):
        run("forecast", stated, "--unrecorded")
        run("since", "--project", stated)
        assert not (stated / "ledger.db").exists()
        run("forecast", stated)
        assert (stated / "ledger.db").exists()


class TestWhatIf:
    def test_a_value_changes_the_result_and_not_the_document(self, stated):
        before = (stated / "project.toml").read_bytes()
        _, report = run_json("forecast", stated, "--what-if", "tall.skew_xz_deg=0")
        assert by_id(report)["plumb"]["predicted"] == pytest.approx(0.0, abs=1e-9)
        assert report["what_if"] == ["tall.skew_xz_deg=0"]
        assert (stated / "project.toml").read_bytes() == before
        assert report["input_hash"] != run_json("forecast", stated)[1]["input_hash"]

    def test_a_spread_changes_the_spread(self, stated):
        def share(change):
            item = by_id(run_json("forecast", stated, "--what-if", change)[1])["plumb"]
            causes = {cause["source"]: cause["variance_share"] for cause in item["contributions"]}
            return causes.get("tall.skew_xz_deg", 0.0) * item["std"] ** 2

        assert share("tall.skew_xz_deg=0.4+-0.1") == pytest.approx(
            25 * share("tall.skew_xz_deg=0.4+-0.02"), rel=1e-6
        )
        assert share("tall.skew_xz_deg=0.4±0.1") == pytest.approx(0.1**2, rel=0.01)

    def test_a_turned_part(self, stated):
        # turned by 90 degrees about the vertical, the post leans along Y and no longer along X
        _, report = run_json("forecast", stated, "--what-if", "post-1.bed=0,0,90")
        assert by_id(report)["plumb"]["predicted"] == pytest.approx(0.0, abs=1e-6)

    @pytest.mark.parametrize(
        ("change", "nearest"),
        [
            ("tall.skwe_xz_deg=1", "tall.skew_xz_deg"),
            ("tal.skew_xz_deg=1", "tall.skew_xz_deg"),
            ("post1.bed=0,0,0", "post-1.bed"),
            ("assembly.temp=30", "assembly.temp_c"),
            ("base:post-1.locator=pin", "base:post-1.locators"),
        ],
    )
    def test_bad_names_suggest_the_nearest(self, stated, change, nearest):
        assert nearest in refusal("forecast", stated, "--what-if", change)["do"]


class TestOrient:
    def test_reports_and_writes_only_when_told(self, stated):
        before = contents(stated)
        status, report = run_json("orient", stated)
        assert status == 0
        assert {item["part"] for item in report["parts"]} == {"post-1", "post-2"}
        assert contents(stated) == before
        assert not report["written"]
        assert "+" in report["diff"]

    def test_written_poses_hold_and_comments_stay(self, stated):
        _, report = run_json("orient", stated, "--write")
        assert report["written"]
        text = (stated / "project.toml").read_text()
        assert "# measured last winter" in text
        found = by_id(run_json("forecast", stated)[1])
        assert abs(found["plumb"]["predicted"]) < 0.01
        after = {item["id"]: item["predicted_after"] for item in report["characteristics"]}
        assert found["plumb"]["predicted"] == pytest.approx(after["plumb"], abs=1e-9)
        assert "Written" not in run("orient", stated).stdout

    def test_what_if_poses_are_searched_but_what_ifs_never_written(self, stated):
        run("orient", stated, "--write", "--what-if", "tall.skew_xz_deg=0.3")
        assert "skew_xz_deg = 0.4" in (stated / "project.toml").read_text()

    def test_kept_parts_stay(self, stated):
        _, report = run_json("orient", stated, "--keep", "post-1")
        assert "post-1" not in {item["part"] for item in report["parts"]}
        assert "post-9" in refusal("orient", stated, "--keep", "post-9")["what"]

    @pytest.mark.parametrize("grid", ["0", "-5", "nan", "1e-9", "720", "7"])
    def test_a_grid_that_is_none(self, stated, grid):
        assert run("orient", stated, "--grid", grid).exit_code == 2


class TestSince:
    def test_names_what_was_changed_and_what_came_of_it(self, stated):
        run("forecast", stated)
        edit(stated, "skew_xz_deg = 0.4", "skew_xz_deg = 0.1")
        run("forecast", stated)
        status, report = run_json("since", "--project", stated)
        assert status == 0
        assert (report["before"], report["after"]) == (1, 2)
        assert any("tall.skew_xz_deg: 0.4" in cause and "0.1" in cause for cause in report["causes"])
        plumb = by_id(report)["plumb"]
        assert plumb["predicted_before"] == pytest.approx(-0.4, abs=0.005)
        assert plumb["predicted_after"] == pytest.approx(-0.1, abs=0.005)
        assert "tall.skew_xz_deg" in run("since", "-p", stated).stdout

    def test_by_number_by_date_and_as_a_list(self, stated):
        for _ in range(3):
            run("forecast", stated)
        assert run_json("since", "1", "-p", stated)[1]["before"] == 1
        today = datetime.datetime.now(datetime.UTC).date()
        assert run_json("since", today.isoformat(), "-p", stated)[1]["before"] == 2
        assert len(run_json("since", "--list", "-p", stated)[1]["forecasts"]) == 3
        assert "3 recorded forecasts" in run("since", "--list", "-p", stated).stdout
        assert run_json("since", "-p", stated)[1]["causes"] == []
        yesterday = (today - datetime.timedelta(days=2)).isoformat()
        assert "no earlier forecast" in refusal("since", yesterday, "-p", stated)["what"]

    @pytest.mark.parametrize("when", ["x", "²", "9" * 5000, "2026-13-01", "3.5", "", "9", "٣"])
    def test_a_time_that_is_none(self, stated, when):
        run("forecast", stated)
        run("forecast", stated)
        refusal("since", when, "-p", stated)

    def test_one_forecast_is_not_enough(self, stated):
        assert "two are needed" in refusal("since", "-p", stated)["what"]
        run("forecast", stated)
        assert "holds 1 forecast:" in refusal("since", "-p", stated)["what"]


def lines_of(report, topic):
    return {check["subject"]: check["state"] for check in report["checks"] if check["topic"] == topic}


class TestReady:
    def test_stops_for_what_will_not_fit(self, stated):
        status, report = run_json("ready", stated)
        assert (status, report["state"]) == (1, "stop")
        assert lines_of(report, "forecast")["plumb"] == "stop"
        assert lines_of(report, "forecast")["lintel-height"] == "pass"
        assert lines_of(report, "machine") == {"tall": "pass"}
        assert lines_of(report, "strength") == {"stand and load": "not checked"}

    def test_every_line_that_is_no_pass_says_what_to_do(self, stated):
        for check in run_json("ready", stated)[1]["checks"]:
            assert check["state"] == "pass" or (check["reason"] and check["do"])

    def test_a_machine_never_qualified_is_not_checked(self, tmp_path):
        machine = '[[machine]]\nid = "tall"\nbuild_volume_mm = [500, 500, 600]\n'
        folder = write_project(tmp_path / "p", document(machine=machine))
        assert lines_of(run_json("ready", folder)[1], "machine") == {"tall": "not checked"}
        assert "○" in run("ready", folder).stdout

    @pytest.mark.parametrize(
        ("old", "new"), [("scale_x = 0.0\n", ""), ("std = { scale_x = 0.0005, ", "std = { ")]
    )
    def test_a_machine_half_stated_is_a_caution(self, stated, old, new):
        edit(stated, old, new)
        if not new:
            edit(stated, "scale_x = 0.0005, ", "")
        assert lines_of(run_json("ready", stated)[1], "machine") == {"tall": "caution"}

    def test_an_open_mesh_is_a_caution(self, project):
        run("import", put(project, "lid.stl", open_stl_bytes()), "-p", project, "--unit", "mm")
        status, report = run_json("ready", project)
        assert status == 1
        assert lines_of(report, "health")["lid"] == "stop"

    def test_a_part_larger_than_the_build_volume_in_its_pose_is_a_stop(self, stated):
        edit(stated, "build_volume_mm = [500, 500, 600]", "build_volume_mm = [150, 250, 150]")
        report = run_json("ready", stated)[1]
        assert lines_of(report, "build volume")["base, lintel"] == "stop"
        edit(stated, 'id = "base"', 'id = "base"\nbed = { euler_xyz_deg = [0, 0, 90] }')
        assert lines_of(run_json("ready", stated)[1], "build volume").get("lintel") == "stop"

    def test_a_part_that_prints_too_large_is_a_stop(self, stated):
        # 200 mm fit 200.5 mm as modelled; at 0.5 % too long they do not
        edit(stated, "build_volume_mm = [500, 500, 600]", "build_volume_mm = [200.5, 250, 150]")
        assert "base" not in lines_of(run_json("ready", stated)[1], "build volume")
        edit(stated, "scale_x = 0.0\n", "scale_x = 0.005\n")
        assert lines_of(run_json("ready", stated)[1], "build volume")["base"] == "stop"

    def test_an_under_located_part_is_a_caution_that_says_what_would_hold_it(self, stated):
        row = 'parts = ["base", "post-1"]\nlocators = '
        edit(stated, f'{row}"pin-and-slot"', f'{row}"pin"')
        report = run_json("ready", stated)[1]
        assert lines_of(report, "placing")["post-1"] == "caution"
        line = next(check for check in report["checks"] if check["subject"] == "post-1")
        assert "slot" in line["do"]

    def test_proposed_joints_are_a_caution(self, project):
        run("import", put(project, "portal.glb", glb_bytes()), "-p", project)
        run("joints", project)
        assert lines_of(run_json("ready", project)[1], "joints") == {"4 proposed": "caution"}

    def test_a_mesh_changed_since_it_was_imported_passes_no_hold_point(self, project):
        run("import", put(project, "portal.glb", glb_bytes()), "-p", project)
        assert "no hash" not in run("ready", project).stdout
        shorter = {**PORTAL, "base": ((199.0, 60.0, 20.0), (0.0, 0.0, 0.0))}
        (project / "meshes/portal.glb").write_bytes(glb_bytes(shorter))
        refused = refusal("ready", project)
        assert "changed" in refused["what"]
        assert "--again" in refused["do"]

    def test_meshes_without_hash_are_not_checked(self, stated):
        assert lines_of(run_json("ready", stated)[1], "mesh")["4 parts"] == "not checked"

    def test_a_stage_without_checks(self, stated):
        assert "printing" in refusal("ready", stated, "--before", "ordering")["do"]


def test_a_name_that_would_steer_the_terminal_is_escaped(tmp_path):
    text = document(head='schema = 1\n[project]\nname = "a\\u001b[31mb"\nscale = "1:20"\n')
    folder = write_project(tmp_path / "p", text)
    for verb in ("forecast", "ready", "joints", "orient"):
        result = run(verb, folder)
        assert "\x1b" not in result.output
        assert "a\\x1b[31mb" in result.output


def test_printed_bodies_agree_with_the_mesh_library(project):
    """Volume against trimesh's own."""
    rng = np.random.default_rng(1)
    hull = trimesh.convex.convex_hull(rng.normal(size=(40, 3)) * 30.0)
    path = put(project, "pebble.ply", hull.export(file_type="ply"))
    _, report = run_json("import", path, "-p", project, "--unit", "mm")
    assert report["parts"][0]["volume_mm3"] == pytest.approx(hull.volume, rel=1e-5)
