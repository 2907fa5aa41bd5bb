"""Sizes from photographs of an invented house, seen by simulated cameras, and what the schedule takes of them."""

from __future__ import annotations

import re

import numpy as np
import pytest

from dryfit.app import photo_measuring, photo_sizes
from dryfit.app.loading import open_project
from dryfit.app.photo_adding import add_photos
from dryfit.app.photo_marking import MarkChanges, mark_photo
from dryfit.app.photo_measuring import join_pieces
from dryfit.app.photo_size_records import Piece, Wanted
from dryfit.app.photo_sizes import project_evidence, size_photos
from dryfit.app.schedule import schedule_folder
from dryfit.app.schedule_lines import schedule_lines
from dryfit.base.errors import ReferenceUnknown
from dryfit.calc.photo import Lens, Pose, project
from dryfit.model.photo import MarkedSize
from support.photographs import looking
from support.pictures import camera_data, pixels, write_picture

WIDTH, HEIGHT = 1200, 900
LENS = Lens(1300.0, np.array([(WIDTH - 1) / 2, (HEIGHT - 1) / 2]))
STD_PX = 0.3
POINTS: dict[str, tuple[float, float, float]] = {
    **{
        f"{'LR'[i]}{'FB'[j]}{k}": (8000.0 * i, 6000.0 * j, 2500.0 * k)
        for i in (0, 1)
        for j in (0, 1)
        for k in (0, 1, 2)
    },
    "ridge.front": (4000.0, 0.0, 7500.0),
    "ridge.back": (4000.0, 6000.0, 7500.0),
    "porch.foot": (3000.0, -600.0, 0.0),
    "porch.top": (3000.0, -600.0, 3000.0),
}
MIDDLE = (4000.0, 3000.0, 2500.0)
VIEWS: dict[str, Pose] = {
    "front": looking((-6000.0, -14000.0, 1700.0), MIDDLE),
    "side": looking((15000.0, -13000.0, 2500.0), MIDDLE),
    "roof": looking((4000.0, -18000.0, 9000.0), MIDDLE),
}
TRUE = {
    "width": 8000.0,
    "eave": 5000.0,
    "gable": float(np.hypot(4000, 2500)),
    "porch": 3000.0,
    "depth": 6000.0,
}
ENDS = {
    "width": ["LF2", "RF2"],
    "eave": ["LF0", "LF2"],
    "gable": ["LF2", "ridge.front"],
    "porch": ["porch.foot", "porch.top"],
    "depth": ["RF0", "RB0"],
}
CAMERA = (
    "focal_px = 1300\nfocal_std_px = 10\ncentre_px = [599.5, 449.5]\ncentre_std_px = 3\n"
    "distortion = [0, 0, 0, 0, 0]\ndistortion_std = [0, 0, 0, 0, 0]\n"
)
WIDTH_KNOWN = {"between": ["LF0", "RF0"], "length": "8 m", "std": "10 mm", "along": "x"}
EAVE_KNOWN = {"between": ["RF0", "RF2"], "length": "5 m", "std": "10 mm", "along": "z"}
EDGES = (
    ("x", "LF0", "RF0"),
    ("x", "LF1", "RF1"),
    ("x", "LF2", "RF2"),
    ("z", "LF0", "LF2"),
    ("z", "RF0", "RF2"),
    ("y", "RF0", "RB0"),
    ("y", "RF2", "RB2"),
)
LINES = tuple({"name": f"edge-{n}", "through": [a, b], "along": axis} for n, (axis, a, b) in enumerate(EDGES))
WALL = {"name": "wall", "axes": ["x", "z"]}


def house(tmp_path, extra="", camera=CAMERA):
    folder = tmp_path / "house"
    (folder / "photos").mkdir(parents=True)
    dimensions = "".join(f'[[dimension]]\nid = "{name}"\n' for name in TRUE)
    (folder / "project.toml").write_text(
        f'schema = 1\n[project]\nname = "House"\nscale = "1:20"\n{dimensions}{extra}'
    )
    exif = camera_data(1, focal_35_mm=round(1300 / np.hypot(WIDTH, HEIGHT) * np.hypot(36, 24)))
    files = [
        write_picture(tmp_path / f"{view}.png", array=pixels(WIDTH, HEIGHT, n), exif=exif, compress_level=1)
        for n, view in enumerate(VIEWS)
    ]
    add_photos(folder, files)
    document = folder / "project.toml"
    document.write_text(document.read_text().replace("[[photo]]\n", f"[[photo]]\n{camera}"))
    return folder


def mark(
    folder, view, sizes, seed=1, off=None, mirrored=False, known=(), lens=LENS, names=tuple(POINTS), **changes
):
    """Marks as a user would set them; off: a point and how far its mark is set wrongly."""
    draw = np.random.default_rng(seed)
    places = project(lens, VIEWS[view], np.array([POINTS[name] for name in names])).marks_px
    rows = []
    for name, (x, y) in zip(names, places + STD_PX * draw.normal(size=places.shape), strict=True):
        x += off[1] if off and off[0] == name else 0.0
        row = {"name": name, "at_px": [WIDTH - 1 - float(x) if mirrored else float(x), float(y)]}
        if name in known:
            row |= {"prototype_mm": list(POINTS[name]), "prototype_std_mm": 5.0}
        if changes.get("planes") and POINTS[name][1] == 0.0:
            row["plane"] = "wall"
        if len(changes.get("planes", ())) > 1 and POINTS[name][1] == -600.0:
            row["plane"] = "porch"
        rows.append(row)
    wanted = tuple(
        {"id": id, "between": ENDS[id], "of": id, **({"along": "z"} if id in ("porch", "eave") else {})}
        for id in sizes
    )
    return mark_photo(folder, view, MarkChanges(points=tuple(rows), std_px=STD_PX, sizes=wanted, **changes))


def by_id(report):
    return {line.id: line for line in report.sizes}


def assert_true(line):
    assert abs(line.value_mm - TRUE[line.dimension]) < 3.0 * line.std_mm, line
    assert line.std_mm < 0.02 * line.value_mm


def test_sizes_in_a_plane_come_back_with_what_their_uncertainty_is_made_of(tmp_path):
    folder = house(tmp_path)
    mark(folder, "front", ("gable", "eave"), planes=(WALL,), lines=LINES, lengths=(WIDTH_KNOWN, EAVE_KNOWN))
    report = size_photos(folder, ("front",))
    assert report.state == "pass", (report.suspects, report.not_used)
    for line in report.sizes:
        assert_true(line)
        assert (line.method, line.about) == ("plane", "wall")
        assert line.others[0].method == "together with other photographs"
        assert sum(item.std_mm**2 for item in line.causes) == pytest.approx(line.std_mm**2, rel=0.02)
    # the eave hangs on the known height, one for one: 10 mm in 5 m
    (height,) = (item for item in by_id(report)["eave"].causes if "RF0 to RF2" in item.cause)
    assert height.std_mm == pytest.approx(10.0, rel=0.1)
    assert max(abs(line.one_scale) for line in report.sizes) > 0.05


def test_sizes_are_kept_from_one_command_to_the_next(tmp_path, monkeypatch):
    folder = house(tmp_path)
    mark(folder, "front", ("gable",), planes=(WALL,), lines=LINES, lengths=(WIDTH_KNOWN, EAVE_KNOWN))
    evidence = project_evidence(folder)
    (kept,) = (folder / "kept").glob("*.npz")
    monkeypatch.setattr(photo_sizes, "_KEPT", {})  # another process
    with monkeypatch.context() as patch:
        patch.setattr(photo_measuring, "measure_photos", not_again)
        again = project_evidence(folder)
    assert (again.lines, again.suspects, again.not_used) == (
        evidence.lines,
        evidence.suspects,
        evidence.not_used,
    )
    (was,), (now,) = evidence.extras, again.extras
    assert (was.id, was.ids, was.terms, was.source) == (now.id, now.ids, now.terms, now.source)
    assert np.array_equal(was.values_mm, now.values_mm)
    assert np.array_equal(was.covariance, now.covariance)
    # What is damaged is made anew; a mark that moves is another result.
    kept.write_bytes(b"damaged")
    monkeypatch.setattr(photo_sizes, "_KEPT", {})
    assert project_evidence(folder).lines == evidence.lines
    mark(folder, "front", ("gable",), seed=2, planes=(WALL,), lines=LINES, lengths=(WIDTH_KNOWN, EAVE_KNOWN))
    assert project_evidence(folder).lines != evidence.lines


def not_again(*_args):
    raise AssertionError("the photographs were measured again")


def test_a_size_before_the_plane_is_corrected_by_its_offset(tmp_path):
    folder = house(tmp_path)
    porch = {"name": "porch", "parallel_to": "wall", "offset_mm": 600, "offset_std_mm": 20}
    mark(folder, "front", ("porch",), planes=(WALL, porch), lines=LINES, lengths=(WIDTH_KNOWN, EAVE_KNOWN))
    (line,) = size_photos(folder).sizes
    assert_true(line)
    offset = next(item for item in line.causes if item.cause.startswith("offset"))
    # similar triangles: the camera stands 14 m before the wall
    assert offset.std_mm == pytest.approx(20 * 3000 / 14000, rel=0.1)


def test_heights_by_vanishing_points_where_no_plane_is_stated(tmp_path):
    folder = house(tmp_path)
    mark(folder, "front", ("eave", "porch"), lines=LINES, lengths=(EAVE_KNOWN,))
    report = size_photos(folder)
    assert {line.method for line in report.sizes} == {"heights from vanishing points"}
    for line in report.sizes:
        assert_true(line)


def test_three_photographs_together_share_cameras_points_and_the_known_length(tmp_path):
    folder = house(tmp_path)
    for seed, view in enumerate(VIEWS):
        sizes = ("depth", "gable", "eave") if view == "side" else ("eave",)
        mark(folder, view, sizes, seed=seed, lengths=(WIDTH_KNOWN,))
    report = size_photos(folder)
    assert report.state == "pass", (report.suspects, report.not_used)
    assert len(report.sizes) == 3
    for line in report.sizes:
        assert_true(line)
        assert line.photos == ("front", "side", "roof")
        scale = next(item for item in line.causes if "LF0 to RF0" in item.cause)
        assert scale.std_mm == pytest.approx(line.value_mm * 10 / 8000, rel=0.02)
    (extra,) = project_evidence(folder).extras
    assert extra.id == "photo:front+side+roof"
    std = np.sqrt(np.diag(extra.covariance))
    assert (extra.covariance / np.outer(std, std))[0, 1] > 0.2


def test_a_wrong_mark_is_named_and_nothing_of_it_is_used_until_it_is_mended(tmp_path):
    folder = house(tmp_path)
    for seed, view in enumerate(VIEWS):
        off = ("ridge.front", 25.0) if view == "roof" else None
        mark(folder, view, ("depth",), seed=seed, off=off, lengths=(WIDTH_KNOWN,))
    report = size_photos(folder)
    assert report.state == "stop"
    assert [(item.photo, item.where) for item in report.suspects] == [("roof", 'point "ridge.front"')]
    assert "magnifier" in report.suspects[0].do
    assert_true(report.sizes[0])
    assert not report.sizes[0].is_used
    assert project_evidence(folder).extras == ()
    assert "ridge.front" in report.not_used[0].why
    mark(folder, "roof", ("depth",), seed=2)
    assert len(project_evidence(folder).extras) == 1


def test_a_mirrored_photograph_is_named_and_used_once_that_is_stated(tmp_path):
    folder = house(tmp_path)
    for seed, view in enumerate(VIEWS):
        mark(folder, view, ("depth",), seed=seed, mirrored=view == "side", lengths=(WIDTH_KNOWN,))
    report = size_photos(folder)
    assert [item.where for item in report.suspects] == ['photo "side"']
    assert "mirrored = true" in report.suspects[0].do
    document = folder / "project.toml"
    document.write_text(document.read_text().replace('id = "side"\n', 'id = "side"\nmirrored = true\n'))
    report = size_photos(folder)
    assert report.state == "pass", report.suspects
    assert_true(report.sizes[0])


def test_known_points_tell_a_wrong_place_and_a_mirrored_picture(tmp_path):
    folder = house(tmp_path)
    keys = {"planes": (WALL,), "lines": LINES, "lengths": (WIDTH_KNOWN, EAVE_KNOWN)}
    mark(folder, "front", ("gable",), known=tuple(POINTS), off=("RB2", 20.0), **keys)
    assert size_photos(folder).suspects[0].where == 'point "RB2"'
    mark(folder, "front", ("gable",), known=tuple(POINTS), mirrored=True, **keys)
    assert any("mirrored = true" in item.do for item in size_photos(folder).suspects)


def test_a_lens_that_bends_is_not_taken_for_wrong_marks(tmp_path):
    folder = house(tmp_path, camera="")
    bent = Lens(1300.0, LENS.centre_px, -0.1)
    mark(folder, "front", ("eave",), known=tuple(POINTS), lens=bent, lines=LINES, lengths=(EAVE_KNOWN,))
    report = size_photos(folder)
    assert report.suspects == ()
    (line,) = report.sizes
    assert abs(line.value_mm - TRUE["eave"]) < 2.0 * line.std_mm
    assert any("k1" in item.cause for item in line.causes)
    assert any("not tested" in note for note in line.notes)


def test_a_line_through_a_known_length_is_not_counted_twice(tmp_path):
    folder = house(tmp_path)
    lines = tuple(item for item in LINES if "1" not in item["through"][0] and item["along"] != "y")
    mark(folder, "front", ("gable",), planes=(WALL,), lines=lines, lengths=(WIDTH_KNOWN, EAVE_KNOWN))
    report = size_photos(folder)
    assert report.sizes[0].p_value is None
    assert report.sizes[0].rms_px is None
    assert report.state == "caution"


def test_a_known_length_that_contradicts_the_others_is_named(tmp_path):
    folder = house(tmp_path)
    wrong = {"between": ["LF2", "RF2"], "length": "8.8 m", "std": "10 mm", "along": "x"}
    lengths = (WIDTH_KNOWN, EAVE_KNOWN, {**WIDTH_KNOWN, "between": ["LF1", "RF1"]}, wrong)
    mark(folder, "front", ("gable",), planes=(WALL,), lines=LINES, lengths=lengths)
    report = size_photos(folder)
    assert report.suspects[0].where == "length LF2 to RF2"
    assert not report.sizes[0].is_used


def test_one_scale_is_refused_with_the_error_that_it_would_have_made(tmp_path):
    folder = house(tmp_path)
    mark(folder, "front", ("gable",), lines=LINES, lengths=(WIDTH_KNOWN,))
    report = size_photos(folder)
    assert report.sizes == ()
    (item,) = report.not_used
    marks = dict(
        zip(POINTS, project(LENS, VIEWS["front"], np.array(list(POINTS.values()))).marks_px, strict=True)
    )
    seen, known = (
        np.linalg.norm(np.subtract(marks[b], marks[a])) for a, b in (ENDS["gable"], ("LF0", "RF0"))
    )
    wrong = 100 * (seen / known * 8000 / TRUE["gable"] - 1)
    told = float(re.search(r"it would be wrong by ([-+.0-9]+) %", item.why).group(1))
    assert told == pytest.approx(wrong, abs=0.5)
    assert "together with other photographs" in item.why
    assert "plane" in item.why


def test_pictures_scaled_by_the_same_length_share_its_uncertainty():
    def piece(photo, by):
        wanted = (Wanted(photo, MarkedSize("a", ("p", "q"), "a")),)
        nan = np.array([np.nan])
        return Piece((photo,), "plane", "", wanted, np.array([100.0]), np.array([[5.0]]), by, nan, 0.3, None)

    door = "length foot to top"
    (group,) = join_pieces([piece("one", {door: np.array([2.0])}), piece("two", {door: np.array([1.5])})])
    assert group.id == "photo:one+two"
    assert group.covariance == pytest.approx(np.array([[5.0, 3.0], [3.0, 5.0]]), abs=1e-5)
    apart = join_pieces([piece("one", {"a": np.array([2.0])}), piece("two", {"b": np.array([1.5])})])
    assert [item.id for item in apart] == ["photo:one", "photo:two"]


def test_everything_that_looks_at_dimensions_sees_the_photographs(tmp_path):
    folder = house(tmp_path)
    mark(folder, "front", ("gable", "eave"), planes=(WALL,), lines=LINES, lengths=(WIDTH_KNOWN, EAVE_KNOWN))
    evidence = project_evidence(folder)
    gable = by_id(size_photos(folder))["gable"]
    report = schedule_folder(folder, None, evidence.extras)
    line = next(item for item in report.dimensions if item.id == "gable")
    assert line.photographs == ("photo:front",)
    assert line.prototype_mm.value == pytest.approx(gable.value_mm, rel=1e-9)
    opened = next(item for item in open_project(folder).project.dimensions if item.id == "gable")
    assert opened.scheduled_mm.std == pytest.approx(gable.std_mm, rel=1e-6)
    assert project_evidence(folder) is evidence  # measured once


def test_what_is_not_used_has_a_line_at_the_hold_point_and_stops_nothing(tmp_path):
    folder = house(tmp_path, '[[observation]]\nid = "tape"\nof = "width"\nvalue = "8 m"\nstd = "20 mm"\n')
    mark(folder, "front", ("gable",), planes=(WALL,), lines=LINES, lengths=(WIDTH_KNOWN, EAVE_KNOWN))
    mark(folder, "side", ("depth",), names=("RF0", "RB0"))
    (folder / "photos" / "roof.png").write_bytes(b"no picture")
    (folder / "photos" / "roof.png.marks.toml").write_text("schema = 1\n")
    evidence = project_evidence(folder)
    assert {item.photos for item in evidence.not_used} == {("side",), ("roof",)}
    project = open_project(folder).project
    lines = list(schedule_lines(project, (), evidence))
    told = [line for line in lines if line.reason.startswith("not used")]
    assert len(told) == 2
    assert all(line.state == "not checked" and line.do for line in told)
    sizes = {item.id: item.scheduled_mm for item in project.dimensions}
    assert sizes["gable"] is not None
    assert sizes["width"].value == pytest.approx(8000)


def test_an_unknown_photo_and_an_unknown_dimension(tmp_path):
    folder = house(tmp_path)
    with pytest.raises(ReferenceUnknown):
        size_photos(folder, ("none",))
    assert size_photos(folder).state == "not checked"
    mark(folder, "front", ("gable",), planes=(WALL,), lines=LINES, lengths=(WIDTH_KNOWN, EAVE_KNOWN))
    document = folder / "project.toml"
    document.write_text(document.read_text().replace('[[dimension]]\nid = "gable"\n', ""))
    (item,) = size_photos(folder).not_used
    assert 'no dimension "gable"' in item.why
