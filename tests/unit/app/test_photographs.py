"""Arrays out of marks, methods that marks allow, and what a check finds. The building and its camera are invented."""

from __future__ import annotations

import json

import numpy as np
import pytest

from dryfit.app.photo_adding import PhotoNotAdded, add_photos
from dryfit.app.photo_arrays import height_input, joint_input, photo_arrays, plane_input
from dryfit.app.photo_checking import check_photos
from dryfit.app.photo_marking import MarkChanges, MarkRefused, mark_photo, read_photo
from dryfit.app.photographs import PhotoUnfit, list_photos, show_photo, show_piece
from dryfit.base.errors import ReferenceUnknown
from dryfit.calc.photo import (
    Lens,
    Pose,
    adjust_photos,
    fit_plane,
    fit_vanishing_point,
    horizon_through,
    joint_sizes,
    measure_heights,
    plane_sizes,
    project,
    resect,
    upright_view,
)
from dryfit.store.edit import DocumentEditor
from support.pictures import camera_data, pixels, write_picture

WIDTH, HEIGHT = 1200, 900
LENS = Lens(1300.0, np.array([(WIDTH - 1) / 2, (HEIGHT - 1) / 2]))
# An invented house of 8 x 6 x 5 m, z upward.
CORNERS = {
    f"{['left', 'right'][i]}-{['front', 'back'][j]}-{['foot', 'top'][k]}": (
        8000.0 * i,
        6000.0 * j,
        5000.0 * k,
    )
    for i in (0, 1)
    for j in (0, 1)
    for k in (0, 1)
}
POINTS = {**CORNERS, "ridge-front": (4000.0, 0.0, 7500.0), "ridge-back": (4000.0, 6000.0, 7500.0)}


def camera(position, at=(4000.0, 3000.0, 2500.0)) -> Pose:
    """A camera at a place, level on its long side, looking at a point."""
    forward = np.subtract(at, position)
    forward /= np.linalg.norm(forward)
    right = np.cross(forward, (0.0, 0.0, 1.0))
    right /= np.linalg.norm(right)
    return Pose(np.array([right, np.cross(forward, right), forward]), np.array(position, dtype=float))


VIEWS = {
    "front": camera((-6000.0, -14000.0, 1700.0)),
    "side": camera((15000.0, -13000.0, 2500.0)),
    "roof": camera((4000.0, -18000.0, 9000.0)),
}


def seen(view: str, points=POINTS):
    marks = project(LENS, VIEWS[view], np.array(list(points.values()))).marks_px
    return {name: [float(x), float(y)] for name, (x, y) in zip(points, marks, strict=True)}


@pytest.fixture
def project_folder(tmp_path):
    folder = tmp_path / "house"
    folder.mkdir()
    (folder / "photos").mkdir()
    (folder / "project.toml").write_text(
        'schema = 1\n[project]\nname = "House"\nscale = "1:20"\n'
        '[[dimension]]\nid = "eave.height"\nprototype_mm = 5000\nprototype_std_mm = 300\n'
    )
    files = []
    for number, view in enumerate(VIEWS):
        exif = camera_data(1, focal_35_mm=round(1300 / np.hypot(WIDTH, HEIGHT) * np.hypot(36, 24)))
        files.append(
            write_picture(
                tmp_path / f"{view}.png", array=pixels(WIDTH, HEIGHT, number), exif=exif, compress_level=1
            )
        )
    add_photos(folder, files)
    return folder


def mark_all(folder, view, known=False, plane=False, **changes):
    rows = []
    for name, place in seen(view).items():
        row = {"name": name, "at_px": place}
        if known:
            row |= {"prototype_mm": list(POINTS[name]), "prototype_std_mm": 5.0}
        if plane and "front" in name:
            row["plane"] = "front"
        rows.append(row)
    return mark_photo(folder, view, MarkChanges(points=tuple(rows), std_px=0.5, **changes))


EDGES = (
    ("x", "left-front-foot", "right-front-foot"),
    ("x", "left-front-top", "right-front-top"),
    ("y", "left-front-foot", "left-back-foot"),
    ("y", "left-front-top", "left-back-top"),
    ("z", "left-front-foot", "left-front-top"),
    ("z", "right-front-foot", "right-front-top"),
)


def edges(**keys):
    return tuple(
        {"name": f"edge-{n}", "through": [a, b], "along": axis, **keys}
        for n, (axis, a, b) in enumerate(EDGES)
    )


def eave_height(**keys):
    between = ["left-front-foot", "left-front-top"]
    return {"between": between, "length": "5 m", "std": "10 mm", "along": "z", **keys}


def test_known_points_lead_back_to_the_camera_that_took_them(project_folder):
    mark_all(project_folder, "front", known=True)
    arrays = photo_arrays(read_photo(project_folder, "front"))
    index = list(arrays.known)
    found = resect(
        arrays.marks_px[index], arrays.std_px[index], arrays.known_mm, 5.0, centre_px=arrays.centre_px
    )
    assert found.pose.position_mm == pytest.approx(VIEWS["front"].position_mm, abs=1.0)
    assert found.lens.focal_px == pytest.approx(1300.0, abs=0.1)
    assert arrays.lens.lens.focal_px == pytest.approx(1300.0, rel=0.02)
    assert not arrays.lens.is_focal_guessed


def test_a_plane_with_lengths_in_two_directions_gives_its_sizes(project_folder):
    wide = {"between": ["left-front-foot", "right-front-foot"], "length": "8 m", "std": "10 mm", "along": "x"}
    planes = ({"name": "front", "axes": ["x", "z"]},)
    mark_all(project_folder, "front", plane=True, planes=planes, lengths=(wide, eave_height()), lines=edges())
    arrays = photo_arrays(read_photo(project_folder, "front"))
    given = plane_input(arrays, "front")
    assert len(given.lengths) == 2
    # four edges of the front, along x and z of the building, which are x and y of the plane
    ways = {(given.names[row.first], given.names[row.second]): row.along for row in given.directions}
    assert ways["left-front-foot", "right-front-foot"] == "x"
    assert ways["left-front-foot", "left-front-top"] == "y"
    assert [row.along for row in given.lengths] == ["x", "y"]
    view = fit_plane(given.marks_px, given.std_px, given.points, given.lengths, given.directions)
    ends = (given.names.index("right-front-foot"), given.names.index("ridge-front"))
    expected = np.hypot(4000.0, 7500.0)
    assert plane_sizes(view, [ends]).values_mm[0] == pytest.approx(expected, abs=1.0)


def test_marks_of_a_parallel_plane_carry_its_offset(project_folder):
    planes = (
        {"name": "front", "axes": ["x", "z"]},
        {"name": "porch", "parallel_to": "front", "offset_mm": 900.0, "offset_std_mm": 30.0},
    )
    rows = [{"name": "ridge-front", "at_px": [600.0, 300.0], "plane": "front"}]
    rows.append({"name": "post", "at_px": [500.0, 400.0], "plane": "porch"})
    mark_photo(project_folder, "front", MarkChanges(points=tuple(rows), planes=planes))
    given = plane_input(photo_arrays(read_photo(project_folder, "front")), "front")
    assert given.names == ("ridge-front", "post")
    assert given.offsets_mm.tolist() == [0.0, 900.0]
    assert given.offset_std_mm.tolist() == [0.0, 30.0]


def test_a_known_height_gives_another(project_folder):
    ridge = {
        "id": "ridge",
        "between": ["right-back-foot", "right-back-top"],
        "of": "eave.height",
        "along": "z",
    }
    mark_all(project_folder, "front", lines=edges(), lengths=(eave_height(),), sizes=(ridge,))
    arrays = photo_arrays(read_photo(project_folder, "front"))
    points = {
        axis: fit_vanishing_point(arrays.segments_px[axis], arrays.segment_std_px[axis])
        for axis in ("x", "y", "z")
    }
    view = upright_view(points["z"], horizon_through([points["x"], points["y"]]))
    given = height_input(arrays)
    heights = measure_heights(view, given.known_px, given.known, given.targets_px, given.std_px)
    assert given.targets == ("ridge",)
    assert heights.sizes.values_mm[0] == pytest.approx(5000.0, abs=1.0)


def test_photographs_with_common_points_are_one_problem(project_folder):
    for view in VIEWS:
        mark_all(project_folder, view, lengths=(eave_height(),))
    several = [photo_arrays(read_photo(project_folder, view)) for view in VIEWS]
    given = joint_input(several)
    assert set(given.names) == set(POINTS)
    assert given.photos == tuple(VIEWS)
    assert len(given.problem.marks_px) == 3 * len(POINTS)
    # the same length stated with three photographs is one length
    assert len(given.problem.lengths) == 1
    found = adjust_photos(given.problem)
    pair = (given.names.index("left-front-foot"), given.names.index("right-back-foot"))
    assert joint_sizes(found, [pair]).values_mm[0] == pytest.approx(10_000.0, abs=30.0)


def test_photographs_share_a_lens_only_where_they_are_turned_alike(project_folder, tmp_path):
    turned = write_picture(tmp_path / "turned.png", array=pixels(WIDTH, HEIGHT, 9), exif=camera_data(6))
    add_photos(project_folder, [turned])
    editor = DocumentEditor(project_folder)
    for id in ("front", "side", "turned"):
        editor.set_value(("photo", id, "lens"), "mine")
    editor.save()
    for id in ("front", "side", "turned", "roof"):
        mark_photo(project_folder, id, MarkChanges(points=({"name": "a", "at_px": [1, 2]},)))
    keys = [
        photo_arrays(read_photo(project_folder, id)).lens_key for id in ("front", "side", "turned", "roof")
    ]
    assert keys[0] == keys[1]
    assert len(set(keys)) == 3


def test_a_cropped_picture_has_a_doubtful_middle(project_folder):
    mark_all(project_folder, "front")
    before = photo_arrays(read_photo(project_folder, "front")).lens
    editor = DocumentEditor(project_folder)
    editor.set_value(("photo", "front", "cropped"), True)
    editor.save()
    after = photo_arrays(read_photo(project_folder, "front")).lens
    assert after.std[1] > 5 * before.std[1]
    assert after.is_focal_guessed


def methods(folder, id="front"):
    return {(line.method, line.about): line for line in check_photos(folder, id).photos[0].methods}


def test_each_method_says_what_it_stands_on_or_what_it_misses(project_folder):
    mark_photo(project_folder, "front", MarkChanges(points=({"name": "a", "at_px": [1, 2]},)))
    for line in methods(project_folder).values():
        assert not line.is_possible
        assert line.why
        assert line.do
    wide = {"between": ["left-front-foot", "right-front-foot"], "length": "8 m", "std": "10 mm", "along": "x"}
    planes = ({"name": "front", "axes": ["x", "z"]},)
    lengths = (wide, eave_height())
    mark_all(project_folder, "front", known=True, plane=True, planes=planes, lengths=lengths, lines=edges())
    mark_all(project_folder, "side")
    found = methods(project_folder)
    possible = {name for name, line in found.items() if line.is_possible}
    assert possible == {
        ("plane", "front"),
        ("heights from vanishing points", ""),
        ("camera from known points", ""),
        ("together with other photographs", "side (10)"),
    }
    assert "no line is marked" in found[("lens distortion from straight lines", "")].why


def test_a_mark_outside_the_picture_is_refused_and_found(project_folder):
    for place in ([-0.6, 10.0], [WIDTH - 0.4, 10.0], [10.0, HEIGHT]):
        with pytest.raises(MarkRefused, match="outside the picture of 1200 x 900"):
            mark_photo(project_folder, "front", MarkChanges(points=({"name": "a", "at_px": place},)))
    mark_photo(project_folder, "front", MarkChanges(points=({"name": "a", "at_px": [-0.5, HEIGHT - 0.5]},)))
    path = project_folder / "photos" / "front.png.marks.toml"
    path.write_text(path.read_text().replace("-0.5", "-5"))
    check = check_photos(project_folder, "front")
    assert check.state == "stop"
    assert "outside" in check.photos[0].findings[0].what


def test_two_points_at_one_place_are_doubted(project_folder):
    rows = ({"name": "a", "at_px": [100.0, 50.0]}, {"name": "b", "at_px": [100.5, 50.5]})
    mark_photo(project_folder, "front", MarkChanges(points=(*rows, {"name": "c", "at_px": [130.0, 50.0]})))
    found = [
        item
        for item in check_photos(project_folder, "front").photos[0].findings
        if item.where.startswith("point")
    ]
    assert [item.where for item in found] == ['point "a"']
    assert '0.7 px from "b"' in found[0].what


def test_what_contradicts_itself_is_found(project_folder):
    planes = ({"name": "front", "axes": ["x", "z"]},)
    bent = {
        "name": "left-front-top",
        "at_px": [1.0, 1.0],
        "prototype_mm": [0, 700, 5000],
        "prototype_std_mm": 5,
    }
    mark_all(project_folder, "front", known=True, plane=True, planes=planes, lengths=(eave_height(),))
    mark_photo(project_folder, "front", MarkChanges(points=(bent,)))
    across = {"name": "across", "points_px": [[1, 2], [50, 60]], "along": "y", "plane": "front"}
    size = {"id": "s", "between": ["left-front-foot", "left-front-top"], "of": "nothing"}
    mark_photo(project_folder, "front", MarkChanges(lines=(across,), sizes=(size,)))
    mark_all(project_folder, "side", known=True, lengths=(eave_height(length="4.5 m"),))
    check = check_photos(project_folder)
    assert check.state == "stop"
    words = " / ".join(f"{item.where}: {item.what}" for item in check.photos[0].findings)
    assert "700 mm off" in words
    assert 'line "across": it runs along y' in words
    assert 'size "s": there is no dimension "nothing"' in words
    between = " / ".join(f"{item.where}: {item.what}" for item in check.between)
    assert 'point "left-front-top": "front" and "side" state it 700 mm apart' in between
    assert "length left-front-foot to left-front-top" in between
    assert check_photos(project_folder, "roof").between == ()
    assert len(check_photos(project_folder, "side").between) == len(check.between)


def test_a_changed_picture_is_noticed_until_it_is_accepted(project_folder, tmp_path):
    mark_all(project_folder, "front")
    again = write_picture(project_folder / "photos" / "front.png", array=pixels(WIDTH, HEIGHT, 77))
    found = check_photos(project_folder, "front").photos[0]
    assert found.state == "stop"
    assert len(found.findings) >= 2
    assert found.methods == ()
    with pytest.raises(PhotoUnfit):
        photo_arrays(read_photo(project_folder, "front"))
    with pytest.raises(PhotoNotAdded, match="already"):
        add_photos(project_folder, [again])
    assert add_photos(project_folder, [again], again=True).renewed == ("front",)
    move = MarkChanges(points=({"name": "ridge-front", "at_px": [600.0, 200.0]},))
    with pytest.raises(PhotoUnfit, match="another picture"):
        mark_photo(project_folder, "front", move)
    mark_photo(project_folder, "front", MarkChanges(same_picture=True))
    mark_photo(project_folder, "front", move)
    assert photo_arrays(read_photo(project_folder, "front")).names


def test_one_bad_photograph_hides_no_other(project_folder):
    (project_folder / "photos" / "side.png").write_bytes(b"a letter")
    (project_folder / "photos" / "roof.png.marks.toml").write_text("schema = 7\n")
    report = list_photos(project_folder)
    assert [line.state for line in report.photos] == ["pass", "stop", "stop"]
    assert "this is a text" in report.photos[1].findings[0].what
    assert len(report.photos[2].findings) == 3
    assert check_photos(project_folder, "front").photos[0].state == "not checked"


def test_pictures_are_shown_upright_and_in_pieces(project_folder):
    assert show_photo(project_folder, "front", 100).startswith(b"\xff\xd8")
    assert show_piece(project_folder, "front", 10, 10, 8, 8).startswith(b"\x89PNG")
    with pytest.raises(ReferenceUnknown, match='no photo "none"'):
        show_photo(project_folder, "none")


def test_nothing_of_several_pictures_is_added_where_one_is_refused(project_folder, tmp_path):
    before = (project_folder / "project.toml").read_text()
    good = write_picture(tmp_path / "good.jpg")
    twin = tmp_path / "twin.jpg"
    twin.write_bytes(good.read_bytes())
    with pytest.raises(PhotoNotAdded, match='the same picture as "good"'):
        add_photos(project_folder, [good, twin])
    other = write_picture(tmp_path / "front.png", array=pixels(64, 64))
    with pytest.raises(PhotoNotAdded, match="already"):
        add_photos(project_folder, [good, other])
    assert (project_folder / "project.toml").read_text() == before
    assert not (project_folder / "photos" / "good.jpg").exists()


def test_the_copies_go_again_where_the_document_cannot_be_saved(project_folder, tmp_path, monkeypatch):
    def fail(self):
        raise RuntimeError("no")

    monkeypatch.setattr(DocumentEditor, "save", fail)
    with pytest.raises(RuntimeError):
        add_photos(project_folder, [write_picture(tmp_path / "good.jpg")])
    assert not (project_folder / "photos" / "good.jpg").exists()


def test_a_forecast_does_not_feel_photographs(project_folder):
    from dryfit.app.fingerprint import hash_inputs
    from dryfit.store.document import read_document

    document = read_document(project_folder).project
    import dataclasses

    assert hash_inputs(document, (), ()) == hash_inputs(dataclasses.replace(document, photos=()), (), ())
    assert json.dumps([photo.id for photo in document.photos]) == '["front", "side", "roof"]'
