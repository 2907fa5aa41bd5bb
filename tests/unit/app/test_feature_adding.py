"""Adding a feature: typed words, faces looked up on the mesh, and what reaches the document.

Sizes are those of the boxes that the portal on disk is made of.
"""

import numpy as np
import pytest

from dryfit.app.feature_adding import add_feature
from dryfit.app.feature_request import (
    FeatureRefused,
    FeatureRequest,
    read_direction,
    read_limits,
    read_triple,
)
from dryfit.app.feature_words import describe_dimension, describe_feature
from dryfit.base.errors import ComputationRefused, DocumentRefused, ReferenceUnknown
from dryfit.store.document import parse_document, read_document
from dryfit.view.feature_adding import added_blocks, added_plain
from support.projects import write_project

SIZES = '\n[[dimension]]\nid = "post.height"\nprototype_mm = 1900\nprototype_std_mm = 4\n'


@pytest.fixture
def folder(tmp_path):
    folder = write_project(tmp_path)
    toml = folder / "project.toml"
    toml.write_text(toml.read_text() + SIZES + "# the last line\n")
    return folder


def text_of(folder):
    return (folder / "project.toml").read_text()


def test_a_distance_between_typed_points_is_measured_and_written(folder):
    before = text_of(folder)
    request = FeatureRequest(
        kind="distance",
        id="clear width",
        parts=("post-1", "post-2"),
        at=((20.0, 30.0, 60.0), (180.0, 30.0, 60.0)),
        nominal=160.0,
        std=0.1,
        limits=(159.0, 161.0),
    )
    report = add_feature(folder, request)
    assert report.written
    assert report.measured.measured == pytest.approx(160.0, abs=1e-4)
    assert report.measured.state == "pass"
    assert not [line for line in report.diff.split("\n")[2:] if line.startswith("-")]
    after = text_of(folder)
    for line in before.split("\n"):
        assert line in after
    feature = read_document(folder).project.features[-1]
    assert (feature.id, feature.parts) == ("clear width", ("post-1", "post-2"))
    first, second = feature.faces
    np.testing.assert_allclose(first.normal, [1, 0, 0], atol=1e-6)
    np.testing.assert_allclose(second.normal, [-1, 0, 0], atol=1e-6)
    assert (first.form, second.form) == ("plane", "plane")
    # Root of 60 x 100.
    assert first.size_mm == pytest.approx(6000**0.5, rel=1e-6)


def test_a_look_writes_nothing(folder):
    before = text_of(folder)
    request = FeatureRequest("extent", parts=("post-1",), along=(0.0, 0.0, 1.0), dimension="post.height")
    report = add_feature(folder, request, write=False)
    assert text_of(folder) == before
    assert not report.written
    # 1900(4) at 1:20 is 95(0.2), and the post is 100 tall.
    assert report.measured.nominal.value == pytest.approx(95.0)
    assert report.measured.deviation == pytest.approx(5.0, abs=1e-4)
    assert report.measured.state == "stop"
    assert '+dimension = "post.height"\n' in report.diff
    assert report.feature.id == "post-1.extent"


def test_a_name_that_is_taken_is_counted_on(folder):
    request = FeatureRequest("flatness", parts=("base",), toward=((0.0, 0.0, 1.0),), limits=(None, 0.1))
    assert [add_feature(folder, request).feature.id for _ in range(3)] == [
        "base.flatness",
        "base.flatness-2",
        "base.flatness-3",
    ]
    assert [feature.limits.upper for feature in read_document(folder).project.features] == [0.1] * 3


def test_one_part_for_a_point_and_a_direction(folder):
    request = FeatureRequest(
        "angle", parts=("lintel",), at=((100.0, 30.0, 140.0),), toward=((1.0, 0.0, 0.0),), nominal=90.0
    )
    report = add_feature(folder, request)
    assert report.measured.measured == pytest.approx(90.0, abs=1e-6)
    assert read_document(folder).project.features[0].nominal.value == 90.0


def test_a_section_and_a_thickness(folder):
    section = FeatureRequest(
        "section", parts=("base",), at=((100.0, 30.0, 10.0),), across=(1.0, 0.0, 0.0), along=(0.0, 1.0, 0.0)
    )
    assert add_feature(folder, section).measured.measured == pytest.approx(60.0, abs=1e-4)
    thickness = FeatureRequest("thickness", parts=("base",), at=((100.0, 30.0, 0.0),), limits=(19.0, None))
    report = add_feature(folder, thickness)
    assert report.measured.measured == pytest.approx(20.0, abs=1e-3)
    assert read_document(folder).project.features[1].limits.lower == 19.0


def test_deviations_and_classes_reach_the_document(folder):
    size = FeatureRequest("extent", parts=("base",), along=(1.0, 0.0, 0.0), nominal=200.0, std=0.01)
    for name, keys, limits in (
        ("a", {"deviations": (-0.5, 0.5)}, (199.5, 200.5)),
        ("b", {"iso_2768": "m"}, (199.5, 200.5)),
        ("c", {"iso_286": "IT12"}, (199.77, 200.23)),
    ):
        request = FeatureRequest(
            size.kind, name, size.parts, along=size.along, nominal=200.0, std=0.01, **keys
        )
        report = add_feature(folder, request)
        assert (report.measured.lower, report.measured.upper) == pytest.approx(limits)
        assert report.measured.state == "pass"


@pytest.mark.parametrize(
    ("request_", "error", "what", "do"),
    [
        (FeatureRequest("hight"), ReferenceUnknown, 'kind of feature "hight"', "kinds: "),
        (FeatureRequest("extent", parts=("bse",)), ReferenceUnknown, 'no part "bse"', "base"),
        (FeatureRequest("extent"), FeatureRefused, "which part", "--part"),
        (FeatureRequest("extent", parts=("base",)), FeatureRefused, "direction of the extent", "--along"),
        (
            FeatureRequest("extent", parts=("base",), along=(1, 0, 0), toward=((1, 0, 0),)),
            FeatureRefused,
            "--toward does not belong",
            "--along",
        ),
        (
            FeatureRequest("section", parts=("base",), along=(1, 0, 0)),
            FeatureRefused,
            "0 points",
            "--across",
        ),
        (FeatureRequest("flatness", parts=("base",)), FeatureRefused, "which face", "--at"),
        (
            FeatureRequest("distance", parts=("base",) * 3, toward=((1, 0, 0), (-1, 0, 0))),
            FeatureRefused,
            "3 parts are given for 2 faces",
            "once for each",
        ),
        (
            FeatureRequest("flatness", toward=((0, 0, 1),)),
            FeatureRefused,
            "0 parts are given for 1 face",
            "--part",
        ),
        (
            FeatureRequest("flatness", parts=("base",), toward=((0, 0, 1),), deviations=(None, 1.0)),
            FeatureRefused,
            "on one side only",
            "--limits",
        ),
        (
            FeatureRequest("flatness", parts=("base",), at=((100.0, 30.0, 90.0),)),
            ComputationRefused,
            "",
            "on the surface",
        ),
    ],
)
def test_what_does_not_say_enough_is_refused_and_nothing_is_written(folder, request_, error, what, do):
    before = text_of(folder)
    with pytest.raises(error) as refusal:
        add_feature(folder, request_)
    assert what in refusal.value.what
    assert do in refusal.value.do
    assert text_of(folder) == before


def test_a_row_that_would_not_be_valid_is_refused_without_a_line(folder):
    before = text_of(folder)
    request = FeatureRequest(
        "extent", "x", ("base",), along=(1.0, 0.0, 0.0), nominal=1.0, dimension="nothing", limits=(2.0, 1.0)
    )
    with pytest.raises(DocumentRefused) as refusal:
        add_feature(folder, request)
    assert len(refusal.value.faults) == 3
    assert all("line" not in fault.where for fault in refusal.value.faults)
    assert 'feature[1] "x"' in refusal.value.faults[0].where
    assert text_of(folder) == before


def test_typed_numbers():
    assert read_triple("1, -2,3e1", "--at") == (1.0, -2.0, 30.0)
    assert read_direction("0,0,-2", "--along") == (0.0, 0.0, -1.0)
    assert read_limits("1,2", "--limits") == (1.0, 2.0)
    assert read_limits(",2", "--limits") == (None, 2.0)
    assert read_limits("-1,", "--limits") == (-1.0, None)


@pytest.mark.parametrize(
    ("read", "text"),
    [
        *((read_triple, text) for text in ("", "1,2", "1,2,3,4", "1,2,x", "1,2,nan", "1,2,inf")),
        *((read_direction, text) for text in ("0,0,0", "1.7e308,1.7e308,0")),
        *((read_limits, text) for text in ("", ",", "1", "1,2,3", "a,b")),
    ],
)
def test_typed_words_that_are_no_numbers_are_refused(read, text):
    with pytest.raises(FeatureRefused) as refusal:
        read(text, "--option")
    assert refusal.value.where == "--option"
    assert refusal.value.do.startswith("write it as")


def test_both_faces_tell_the_same(folder):
    request = FeatureRequest("extent", parts=("post-1",), along=(0.0, 0.0, 1.0), dimension="post.height")
    report = add_feature(folder, request)
    plain = added_plain(report)
    assert plain["state"] == "stop"
    assert plain["measured_mm"] == pytest.approx(100.0, abs=1e-4)
    assert plain["deviation_mm"] == pytest.approx(5.0, abs=1e-4)
    shown = [getattr(block, "text", "") for block in added_blocks(report)]
    assert shown[0] == "post-1.extent: stop"
    assert shown[1] == "extent of post-1, along 0 0 1, nominal from post.height."
    assert shown[-1] == "Written into project.toml."


def test_words():
    text = """schema = 1
[project]
name = "x"
scale = "1:20"
[[dimension]]
id = "d"
prototype_mm = 3670
prototype_std_mm = 20
[[material]]
id = "pla"
family = "PLA"
[[machine]]
id = "tall"
build_volume_mm = [500, 500, 600]
[[part]]
id = "a"
mesh = "a.stl"
machine = "tall"
material = "pla"
[[feature]]
id = "f"
kind = "position"
faces = [{ part = "a", point_mm = [1, 2.5, 0] }, { part = "a", direction = [0, 0, -1] }]
nominal_mm = 3
nominal_std_mm = 0.1
iso_286 = "H8"
[[feature]]
id = "g"
kind = "section"
part = "a"
at_mm = [0, 0, 1]
normal = [0, 0, 1]
direction = [1, 0, 0]
limits_mm = [1, 2]
[[feature]]
id = "h"
kind = "flatness"
faces = [{ part = "a", direction = [0, 0, -1] }]
lower_mm = 0.5
"""
    project = parse_document(text, "project.toml").project
    assert describe_dimension(project.dimensions[0]) == "3670 mm (std 20)"
    assert [describe_feature(feature) for feature in project.features] == [
        "position of a at 1 2.5 0 and a toward 0 0 -1, nominal 3 mm (std 0.1), limits by ISO 286 H8",
        "section of a, along 1 0 0, at 0 0 1, across 0 0 1, limits 1 to 2 mm",
        "flatness of a toward 0 0 -1, at least 0.5 mm",
    ]
