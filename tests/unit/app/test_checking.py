"""All checks of the parts of a folder: gathered, kept as a whole, and told at the hold point."""

import pytest

from dryfit.app import checking_kept
from dryfit.app.checking import check_folder, check_parts, gravest, grouped, recall_parts
from dryfit.app.hold_parts import part_lines, too_large_parts
from dryfit.app.loading import open_project
from dryfit.app.prediction import chain_of
from dryfit.model.finding import Finding
from support.projects import MACHINE, document, open_stl_bytes, part_row, write_project

FEATURE = """
[[dimension]]
id = "post.height"
prototype_mm = 1830
prototype_std_mm = 10

[[feature]]
id = "post-height"
kind = "extent"
part = "post-1"
direction = [0, 0, 1]
dimension = "post.height"
deviations_mm = [-1, 1]

[[feature]]
id = "post-width"
kind = "extent"
part = "post-1"
direction = [1, 0, 0]
nominal_mm = 20
nominal_std_mm = 0.1
limits_mm = [19.5, 20.5]
"""
WIDE = MACHINE.replace("[machine.error]", "extrusion_width_mm = 0.6\noverhang_deg = 45\n[machine.error]")


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    return write_project(tmp_path_factory.mktemp("portal"), document(machine=WIDE) + FEATURE)


@pytest.fixture(scope="module")
def report(folder):
    return check_folder(folder)


def faces_of(opened):
    return chain_of(opened).structure.faces


class TestReport:
    def test_a_height_nine_per_cent_too_large_stops_and_names_what_rests_on_it(self, report):
        """1830 mm at 1:20 is 91.5; the post measures 100: closed form of scale."""
        item = next(item for item in report.features if item.id == "post-height")
        assert (item.state, item.nominal.value) == ("stop", 91.5)
        assert item.measured == pytest.approx(100.0, abs=1e-5)
        assert item.nominal.std == pytest.approx(0.5)
        assert any("lintel" in name for name in item.dependents)
        assert report.state == "stop"

    def test_what_is_right_passes(self, report):
        assert next(item for item in report.features if item.id == "post-width").state == "pass"

    def test_every_part_is_there_with_its_walls(self, report):
        assert [part.id for part in report.parts] == ["base", "post-1", "post-2", "lintel"]
        assert report.part("base").size_mm == pytest.approx((200.0, 60.0, 20.0))
        assert all(part.thickness is not None for part in report.parts)

    def test_the_weight_of_boxes_is_their_volume_by_the_density(self, report):
        """Closed form: 2 x 240 cm3 and 2 x 120 cm3 of 1.24 g/cm3."""
        assert report.weights.solid_g.value == pytest.approx(720.0 * 1.24)


class TestKept:
    def test_the_whole_report_is_recalled(self, folder, report):
        opened = open_project(folder)
        recalled = recall_parts(opened, faces_of(opened))
        assert recalled is not None
        assert [item.what for item in recalled.findings] == [item.what for item in report.findings]
        assert [item.reason for item in recalled.features] == [item.reason for item in report.features]
        assert all(part.is_kept for part in recalled.parts)

    def test_before_the_first_check_there_is_nothing_to_recall(self, tmp_path):
        opened = open_project(write_project(tmp_path))
        assert recall_parts(opened, faces_of(opened)) is None

    @pytest.mark.parametrize(
        ("old", "new"),
        [
            ("nominal_mm = 20\n", "nominal_mm = 21\n"),
            ("prototype_mm = 1830", "prototype_mm = 1831"),
            ('scale = "1:20"', 'scale = "1:21"'),
            ("bond_line_mm = 0.0", "press_mm = 0.1\nbond_line_mm = 0.0"),
        ],
    )
    def test_a_changed_document_is_not_answered_with_an_old_result(self, folder, tmp_path, old, new):
        text = (folder / "project.toml").read_text(encoding="utf-8")
        assert old in text
        copy = write_project(tmp_path, text)
        check_folder(copy)
        (copy / "project.toml").write_text(text.replace(old, new), encoding="utf-8")
        opened = open_project(copy)
        assert recall_parts(opened, faces_of(opened)) is None

    def test_another_program_version_is_not_answered(self, folder, report, monkeypatch):
        monkeypatch.setattr(checking_kept, "__version__", "0.0.0")
        opened = open_project(folder)
        assert recall_parts(opened, faces_of(opened)) is None

    def test_fresh_measures_anew(self, folder, report):
        again = check_folder(folder, fresh=True)
        assert not any(part.is_kept for part in again.parts)
        assert [item.what for item in again.findings] == [item.what for item in report.findings]


class TestHoldPoint:
    def test_every_doubt_has_its_line_and_nothing_unchecked_passes(self, folder, report):
        project = open_project(folder).project
        lines = list(part_lines(project, report))
        by_subject = {line.subject: line for line in lines}
        assert by_subject["post-height"].state == "stop"
        assert "rest" in by_subject["post-height"].reason
        assert by_subject["1 feature"].state == "pass"
        for topic in {item.topic for item in report.findings}:
            assert any(line.topic == topic for line in lines) or topic == "build volume"

    def test_without_a_check_it_says_not_checked(self, folder):
        lines = list(part_lines(open_project(folder).project, None))
        assert [line.state for line in lines] == ["not checked"]

    def test_without_features_it_says_so(self, tmp_path):
        opened = open_project(write_project(tmp_path))
        lines = list(part_lines(opened.project, check_parts(opened)))
        assert ("feature", "not checked") in {(line.topic, line.state) for line in lines}

    def test_a_part_that_does_not_fit_is_named_once(self, tmp_path):
        small = MACHINE.replace("[500, 500, 600]", "[150, 150, 150]")
        opened = open_project(write_project(tmp_path, document(machine=small)))
        report = check_parts(opened)
        assert too_large_parts(report) == {"base", "lintel"}
        assert too_large_parts(None) == frozenset()

    def test_an_open_mesh_is_no_traceback_and_no_pass(self, tmp_path):
        text = document(
            parts=part_row("lid", reference="meshes/lid.stl", unit='"mm"'),
            joints="",
            characteristics="",
            assembly="",
        )
        opened = open_project(write_project(tmp_path, text, {"meshes/lid.stl": open_stl_bytes()}))
        report = check_parts(opened)
        states = {(item.topic, item.state) for item in report.findings}
        assert ("wall", "not checked") in states
        assert ("health", "pass") not in states


class TestWords:
    def test_the_gravest_state_counts_and_nothing_is_clear(self):
        assert gravest(["pass", "caution", "not checked", "stop"]) == "stop"
        assert gravest(["pass", "caution", "not checked"]) == "not checked"
        assert gravest([]) == "pass"

    def test_what_is_the_same_is_said_once(self):
        same = [Finding("bed", (name,), "caution", "tall") for name in ("a", "b")]
        other = Finding("bed", ("a", "c"), "caution", "touch")
        assert [(item.what, names) for item, names in grouped([*same, other])] == [
            ("tall", ["a", "b"]),
            ("touch", ["a and c"]),
        ]
