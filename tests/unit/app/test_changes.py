"""Two states of a project: what became of each part, what is touched, and what a change costs."""

from __future__ import annotations

import json
import shutil
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from dryfit.app.bond_records import BOND
from dryfit.app.changes import ChangesReport, bench_with, compare_states
from dryfit.app.changes_matching import Contents
from dryfit.app.print_records import prints_of
from dryfit.app.prints import Answers, enter_print
from dryfit.app.release_state import released_state, working_state
from dryfit.app.releases import RELEASE, list_releases, read_releases
from dryfit.app.releasing import ReleaseOrder, ReleaseRefused, release_parts
from dryfit.base.errors import DryfitError, ReferenceUnknown
from dryfit.store.ledger import open_ledger
from dryfit.store.released import copy_path
from dryfit.view.change_words import change_words
from dryfit.view.changes import changes_blocks, changes_state, part_words, verdict
from dryfit.view.changes_plain import changes_plain
from support.mesh_files import box, stl_binary
from support.projects import PORTAL, document, joint_row, part_row, write_project

FREELY = ReleaseOrder(despite="a test")
FEATURE = """
[[dimension]]
id = "post.height"
prototype_mm = 2000
prototype_std_mm = 1
source = "invented"

[[feature]]
id = "post"
kind = "extent"
part = "post-1"
direction = [0, 0, 1]
dimension = "post.height"
deviations_mm = [-0.05, 0.05]
"""


def stl(name: str, change: Callable[[np.ndarray], None] | None = None) -> bytes:
    size, origin = PORTAL[name]
    vertices, faces = box(size, origin)
    points = np.array(vertices, dtype=float)
    if change is not None:
        change(points)
    return stl_binary(points, faces)


def raise_top(by: float) -> Callable[[np.ndarray], None]:
    def change(points: np.ndarray) -> None:
        points[points[:, 2] > points[:, 2].max() - 1e-6, 2] += by

    return change


def text_of(**keys: object) -> str:
    rows = "".join(part_row(name, reference=f"meshes/{name}.stl", unit='"mm"') for name in PORTAL)
    return document(parts=rows, **keys) + FEATURE  # type: ignore[arg-type]


@pytest.fixture(scope="module")
def released(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("released") / "portal"
    write_project(folder, text_of(), {f"meshes/{name}.stl": stl(name) for name in PORTAL})
    assert release_parts(folder, FREELY).release.letter == "A"
    return folder


@pytest.fixture
def project(released: Path, tmp_path: Path) -> Path:
    """A copy of its own of a project that was released as A."""
    return Path(shutil.copytree(released, tmp_path / "portal"))


def put(project: Path, name: str, change: Callable[[np.ndarray], None]) -> None:
    (project / "meshes" / f"{name}.stl").write_bytes(stl(name, change))


def edit(project: Path, old: str, new: str) -> None:
    path = project / "project.toml"
    text = path.read_text(encoding="utf-8")
    assert old in text
    path.write_text(text.replace(old, new), encoding="utf-8")


def printed(project: Path, *names: str, release: str = "A") -> None:
    for name in names:
        enter_print(project, name, Answers(result="good", release=release, hours=8.0, grams=100.0))


def kinds(report: ChangesReport) -> dict[str, str]:
    return {part.name: part.kind for part in report.parts if part.kind != "unchanged"}


# Parts


def test_nothing_differs_from_what_was_just_released(project: Path) -> None:
    report = compare_states(project)
    assert report.is_same
    assert report.is_clear
    assert verdict(report) == "nothing differs"
    assert changes_state(report) == "pass"


def test_a_change_of_shape_is_told_by_how_much_and_where(project: Path) -> None:
    put(project, "lintel", raise_top(0.7))
    report = compare_states(project)
    assert kinds(report) == {"lintel": "changed"}
    (part,) = report.of_kind("changed")
    assert part.deviation is not None
    assert part.deviation.added_mm == pytest.approx(0.7, abs=1e-5)
    assert part.deviation.removed_mm == pytest.approx(0.0, abs=1e-5)
    assert part.regions[0].place_mm == pytest.approx([100.0, 30.0, 140.7], abs=8.0)
    assert "+0.7 mm on the face to +Z at" in part_words(part)
    assert part.mesh_before is not None
    assert part.mesh_after is not None
    assert len(part.deviation.on_new_mm) == len(part.mesh_after.vertices)


def test_the_deviation_map_tells_what_was_taken_away(project: Path) -> None:
    put(project, "lintel", raise_top(-0.4))
    (part,) = compare_states(project).of_kind("changed")
    assert part.deviation is not None
    assert part.deviation.removed_mm == pytest.approx(0.4, abs=1e-5)
    assert part.deviation.added_mm == pytest.approx(0.0, abs=1e-5)
    assert part.regions[0].largest_mm == pytest.approx(-0.4, abs=1e-5)


def test_a_part_that_only_moved_has_its_motion_told(project: Path) -> None:
    turn = Rotation.from_rotvec([0.0, 0.0, np.radians(30.0)]).as_matrix()

    def move(points: np.ndarray) -> None:
        points[:] = points @ turn.T + [1.0, 2.0, 3.0]

    put(project, "lintel", move)
    report = compare_states(project)
    (part,) = report.of_kind("moved")
    assert part.motion is not None
    assert part.motion.turn_deg == pytest.approx(30.0, abs=1e-3)
    assert part.motion.axis == pytest.approx([0.0, 0.0, 1.0], abs=1e-6)
    assert part.motion.move(np.array([[0.0, 0.0, 120.0]])) == pytest.approx(
        np.array([[1.0, 2.0, 123.0]]), abs=1e-4
    )
    assert not part.has_shape_changed


def test_a_part_that_moved_and_changed_is_told_so(project: Path) -> None:
    def change(points: np.ndarray) -> None:
        points[7] += [1.0, 0.0, 0.0]
        points += [0.0, 0.0, 40.0]

    put(project, "lintel", change)
    (part,) = compare_states(project).of_kind("moved and changed")
    assert part.motion is not None
    assert part.motion.shift_mm == pytest.approx([0.0, 0.0, 40.0], abs=0.3)
    assert part.deviation is not None
    assert part.deviation.largest_mm == pytest.approx(1.0, abs=0.3)


def test_a_slip_of_the_unit_is_recognised(project: Path) -> None:
    edit(project, 'mesh = "meshes/lintel.stl"\nmachine = "tall"\nmaterial = "pla"\nunit = "mm"',
         'mesh = "meshes/lintel.stl"\nmachine = "tall"\nmaterial = "pla"\nunit = "in"')  # fmt: skip
    report = compare_states(project)
    (part,) = report.of_kind("unit slip")
    assert part.factor is not None
    assert part.factor[0] == pytest.approx(25.4)
    assert "the factor of in to mm" in part.reason
    assert "the same shape otherwise" in part.reason


def test_a_mirror_image_is_told_apart(project: Path) -> None:
    def skewed(points: np.ndarray) -> None:
        points[7] += [9.0, 5.0, 3.0]

    def mirror(points: np.ndarray) -> None:
        skewed(points)
        points[:, 0] = 200.0 - points[:, 0]

    put(project, "lintel", skewed)
    assert release_parts(project, FREELY).release.letter == "B"
    size, origin = PORTAL["lintel"]
    vertices, faces = box(size, origin)
    points = np.array(vertices, dtype=float)
    mirror(points)
    (project / "meshes" / "lintel.stl").write_bytes(stl_binary(points, np.array(faces)[:, ::-1]))
    assert kinds(compare_states(project)) == {"lintel": "mirrored"}


def test_other_triangles_of_the_same_surface_are_no_change(project: Path) -> None:
    size, origin = PORTAL["lintel"]
    vertices, faces = (np.array(rows) for rows in box(size, origin))
    middle = vertices[faces[0]].mean(axis=0)
    a, b, c = faces[0]
    split = np.vstack([faces[1:], [[a, b, 8], [b, c, 8], [c, a, 8]]])
    (project / "meshes" / "lintel.stl").write_bytes(stl_binary(np.vstack([vertices, middle]), split))
    report = compare_states(project)
    (part,) = report.of_kind("other triangles")
    assert "um apart" in part.reason
    assert part.facets_mm < 1e-4


def test_another_file_of_the_same_triangles_is_unchanged(project: Path) -> None:
    size, origin = PORTAL["lintel"]
    vertices, faces = (np.array(rows) for rows in box(size, origin))
    (project / "meshes" / "lintel.stl").write_bytes(stl_binary(vertices, np.roll(faces, 1, axis=1)[::-1]))
    report = compare_states(project)
    assert kinds(report) == {}
    part = next(part for part in report.parts if part.name == "lintel")
    assert "another file with the same triangles" in part.reason


def test_a_renamed_part_is_recognised_by_its_shape(project: Path) -> None:
    (project / "meshes" / "lintel.stl").rename(project / "meshes" / "beam.stl")
    path = project / "project.toml"
    path.write_text(path.read_text().replace('"lintel"', '"beam"').replace("lintel.stl", "beam.stl"))
    report = compare_states(project)
    part = next(part for part in report.parts if part.id == "beam")
    assert part.is_renamed
    assert (part.old_id, part.kind) == ("lintel", "unchanged")
    said = [change_words(change) for change in report.document]
    assert said == [
        "part lintel is named beam now",
        'part beam: mesh "meshes/lintel.stl" -> "meshes/beam.stl"',
    ]
    assert not any(row.change.has_changed for row in report.forecast.outcomes)


def test_exchanged_names_are_seen_through(project: Path) -> None:
    first, second = (project / "meshes" / f"post-{k}.stl" for k in (1, 2))
    held = first.read_bytes()
    first.write_bytes(second.read_bytes())
    second.write_bytes(held)
    report = compare_states(project)
    assert {part.id: part.old_id for part in report.parts if part.is_renamed} == {
        "post-1": "post-2", "post-2": "post-1",
    }  # fmt: skip


def test_a_renamed_part_that_lies_elsewhere_is_recognised_too(project: Path) -> None:
    def move(points: np.ndarray) -> None:
        points += [0.0, 0.0, 7.0]

    put(project, "lintel", move)
    path = project / "project.toml"
    path.write_text(path.read_text().replace('"lintel"', '"beam"'))
    part = next(part for part in compare_states(project).parts if part.id == "beam")
    assert (part.old_id, part.kind) == ("lintel", "moved")


def test_new_and_gone_swap_when_the_comparison_is_turned_round(project: Path) -> None:
    (project / "meshes" / "cap.stl").write_bytes(stl_binary(*box((30.0, 30.0, 5.0), (300.0, 0.0, 0.0))))
    row = part_row("cap", reference="meshes/cap.stl", unit='"mm"')
    path = project / "project.toml"
    text = path.read_text().replace("[[joint]]", f"{row}\n[[joint]]", 1)
    path.write_text(text.replace('"post-1", "post-2", "lintel"]', '"post-1", "post-2", "lintel", "cap"]'))
    there = compare_states(project, "A", "working")
    back = compare_states(project, "working", "A")
    assert kinds(there) == {"cap": "new"}
    assert kinds(back) == {"cap": "gone"}
    assert [row.part for row in there.price.to_come] == ["cap"]
    assert [row.change.predicted_before for row in there.forecast.outcomes] == [
        row.change.predicted_after for row in back.forecast.outcomes
    ]


def test_a_mesh_that_is_gone_is_a_line_and_not_the_end(project: Path) -> None:
    printed(project, "post-1")
    (project / "meshes" / "lintel.stl").unlink()
    put(project, "post-1", raise_top(5.0))
    report = compare_states(project)
    assert kinds(report) == {"post-1": "changed", "lintel": "not compared"}
    assert "lintel cannot be read" in report.forecast.refused_after
    assert [piece.part for piece in report.price.of("lost")] == ["post-1"]
    assert json.dumps(changes_plain(report), allow_nan=False)


# What hangs on a change


def test_joints_are_affected_where_their_faces_moved(project: Path) -> None:
    put(project, "post-1", raise_top(0.2))
    report = compare_states(project)
    moves = {move.id: move for move in report.joints}
    assert set(moves) == {"post-1:lintel"}
    assert moves["post-1:lintel"].moved_mm == pytest.approx(0.2, abs=0.05)


def test_parts_that_moved_together_keep_their_joints(project: Path) -> None:
    def move(points: np.ndarray) -> None:
        points += [10.0, 0.0, 0.0]

    for name in PORTAL:
        put(project, name, move)
    report = compare_states(project)
    assert set(kinds(report).values()) == {"moved"}
    assert report.joints == ()


def test_the_forecast_moves_with_the_change(project: Path) -> None:
    put(project, "lintel", raise_top(0.1))
    edit(project, "bond_line_mm = 0.0", "bond_line_mm = 0.05")
    report = compare_states(project)
    height = next(row.change for row in report.forecast.outcomes if row.change.id == "lintel-height")
    assert height.predicted_after is not None
    assert height.predicted_before is not None
    assert height.predicted_after - height.predicted_before == pytest.approx(0.1, abs=0.06)
    assert report.forecast.recorded == ()


def test_a_dimension_that_moved_tells_what_is_modelled_to_it(project: Path) -> None:
    edit(project, "prototype_mm = 2000", "prototype_mm = 2010")
    printed(project, "post-1", "post-2")
    report = compare_states(project)
    (move,) = report.dimensions
    assert move.is_significant
    assert move.model_after_mm is not None
    assert move.model_after_mm.value == pytest.approx(100.5)
    assert move.touched.parts == ("post-1",)
    assert [feature.id for feature in report.features] == ["post"]
    (piece,) = report.price.of("lost")
    assert piece.part == "post-1"
    assert "feature post is out of limits now" in piece.reasons[0]


def test_a_dimension_that_moved_within_what_is_known_is_not_significant(project: Path) -> None:
    edit(project, "prototype_mm = 2000\nprototype_std_mm = 1", "prototype_mm = 2001\nprototype_std_mm = 1")
    (move,) = compare_states(project).dimensions
    assert move.is_significant is False


# The price


def test_a_change_before_anything_is_printed_costs_nothing(project: Path) -> None:
    put(project, "lintel", raise_top(5.0))
    report = compare_states(project)
    assert verdict(report) == "nothing is printed yet, so nothing printed is touched"
    assert report.is_clear


def test_a_change_that_touches_nothing_printed_says_so_first(project: Path) -> None:
    printed(project, "base", "post-2")
    edit(project, "limits_mm = [139, 141]", "limits_mm = [138, 142]")
    report = compare_states(project)
    assert verdict(report) == "nothing printed is touched: all 2 printed parts stay good"
    assert report.is_clear
    assert not report.price.is_touched


@pytest.mark.parametrize(
    ("by", "state"), [(5.0, "lost"), (0.2, "rework"), (-0.3, "rework"), (-0.8, "lost"), (0.05, "good")]
)
def test_what_becomes_of_a_printed_part_goes_by_the_bench(project: Path, by: float, state: str) -> None:
    printed(project, "lintel")
    put(project, "lintel", raise_top(by))
    (piece,) = compare_states(project).price.pieces
    assert piece.state == state
    assert (piece.hours.value, piece.grams.value) == (8.0, 100.0)


def test_the_rules_can_be_set(project: Path) -> None:
    printed(project, "lintel")
    put(project, "lintel", raise_top(-0.8))
    report = compare_states(project, bench=bench_with(sand_mm=1.0))
    assert report.price.pieces[0].state == "rework"


def test_a_lost_part_costs_its_hours_and_is_to_be_printed_again(project: Path) -> None:
    printed(project, "lintel", "base")
    put(project, "lintel", raise_top(10.0))
    report = compare_states(project)
    assert not report.is_clear
    assert verdict(report) == "of 2 printed parts, 1 lost, 1 stays good"
    (again,) = report.price.to_come
    assert again.part == "lintel"
    assert again.grams.value == pytest.approx(150.0, rel=1e-3)  # half as thick again
    assert again.hours.value == pytest.approx(12.0, rel=1e-3)
    assert again.grams.is_estimate


def test_a_new_bond_line_is_work_and_no_loss(project: Path) -> None:
    printed(project, "base", "lintel")
    edit(project, 'parts = ["base", "post-1"]\nlocators = "pin-and-slot"\nbond_line_mm = 0.0',
         'parts = ["base", "post-1"]\nlocators = "pin-and-slot"\nbond_line_mm = 0.15')  # fmt: skip
    report = compare_states(project)
    assert {piece.part: piece.state for piece in report.price.pieces} == {"base": "rework", "lintel": "good"}
    assert report.price.of("rework")[0].reasons == ("bond joint base:post-1 with 0.15 mm, not 0.0 mm",)
    assert report.is_clear


def test_a_part_that_is_turned_on_the_bed_after_it_was_printed_is_looked_at(project: Path) -> None:
    printed(project, "lintel")
    edit(project, 'id = "lintel"', 'id = "lintel"\nbed = { euler_xyz_deg = [0, 0, 90] }')
    (piece,) = compare_states(project).price.pieces
    assert piece.state == "look"
    assert "in pose 0, 0, 0, not 0, 0, 90" in piece.reasons[0]


def bonded(project: Path, *joints: tuple[str, str]) -> None:
    with open_ledger(project / "ledger.db") as ledger:
        prints = {item.part: item.record for item in prints_of(ledger.records())}
        for parts in joints:
            payload = {
                "joint": ":".join(parts),
                "parts": list(parts),
                "prints": [prints[name] for name in parts],
            }
            ledger.append(
                BOND,
                payload
                | dict.fromkeys(("done_at", "adhesive", "despite", "because", "by"), "")
                | {"gaps": []},
            )


def test_what_is_bonded_to_a_lost_part_is_lost_with_it(project: Path) -> None:
    printed(project, "base", "post-1", "post-2", "lintel")
    bonded(project, ("base", "post-1"), ("base", "post-2"))
    put(project, "post-1", raise_top(5.0))
    report = compare_states(project)
    assert {piece.part: piece.state for piece in report.price.pieces} == {
        "base": "lost",
        "post-1": "lost",
        "post-2": "lost",
        "lintel": "good",
    }
    base = next(piece for piece in report.price.pieces if piece.part == "base")
    assert base.reasons[-1].startswith("it is bonded to post-1, which is lost")
    assert [item.part for item in report.price.to_come] == ["base", "post-1", "post-2"]


def test_a_part_that_was_printed_anew_is_not_lost_with_what_its_first_print_was_bonded_to(
    project: Path,
) -> None:
    printed(project, "base", "post-1")
    bonded(project, ("base", "post-1"))
    printed(project, "base")
    put(project, "post-1", raise_top(5.0))
    states = {piece.part: piece.state for piece in compare_states(project).price.pieces}
    assert states == {"base": "good", "post-1": "lost"}


def test_a_printed_part_that_is_gone_is_lost(project: Path) -> None:
    printed(project, "lintel")
    before = compare_states(project, "working", "A")
    assert before.is_clear
    path = project / "project.toml"
    joints = joint_row("base", "post-1") + joint_row("base", "post-2")
    text = text_of(joints=joints, characteristics="", assembly="")
    path.write_text(text.replace(part_row("lintel", reference="meshes/lintel.stl", unit='"mm"'), ""))
    (piece,) = compare_states(project).price.pieces
    assert piece.state == "lost"
    assert "gone" in piece.reasons[0]


def test_a_part_printed_from_an_older_release_is_held_against_that_one(project: Path) -> None:
    printed(project, "lintel")
    put(project, "lintel", raise_top(3.0))
    release_parts(project, FREELY)
    put(project, "lintel", raise_top(3.01))
    report = compare_states(project)
    assert (report.before.name, kinds(report)) == ("release B", {"lintel": "other triangles"})
    (piece,) = report.price.pieces
    assert piece.state == "lost"  # 3 mm are missing on what was printed of A


def test_a_renamed_printed_part_stays_good(project: Path) -> None:
    printed(project, "lintel")
    path = project / "project.toml"
    path.write_text(path.read_text().replace('"lintel"', '"beam"'))
    (piece,) = compare_states(project).price.pieces
    assert (piece.part, piece.state) == ("beam", "good")


# Releases


def test_a_release_with_a_stop_needs_a_reason(project: Path) -> None:
    put(project, "lintel", raise_top(5.0))
    with pytest.raises(ReleaseRefused, match="stop"):
        release_parts(project)
    assert [item.letter for item in read_releases(project)] == ["A"]
    report = release_parts(project, ReleaseOrder(despite="the wall waits", because="taller", by="Ann"))
    (item,) = [item for item in read_releases(project) if item.letter == "B"]
    assert report.release == item
    assert (item.despite, item.because, item.by, item.state) == ("the wall waits", "taller", "Ann", "stop")
    assert item.count("not checked") > 0


def test_the_same_content_is_not_released_twice(project: Path) -> None:
    edit(project, "schema = 1", "schema = 1  # a comment")
    report = release_parts(project, FREELY)
    assert not report.is_new
    assert report.release.letter == "A"
    assert len(read_releases(project)) == 1


def test_parts_can_be_released_by_themselves(project: Path) -> None:
    report = release_parts(project, ReleaseOrder(parts=("base", "post-1"), despite="a test"))
    assert report.release.issued == ("base", "post-1")
    assert len(report.release.parts) == 4
    with pytest.raises(ReferenceUnknown, match='no part "bas"'):
        release_parts(project, ReleaseOrder(parts=("bas",), despite="a test"))


@pytest.mark.parametrize(
    ("letter", "words"), [("A", "would not come after"), ("I", "no revision letter"), ("1", "no rev")]
)
def test_letters_are_given_once_and_in_order(project: Path, letter: str, words: str) -> None:
    put(project, "lintel", raise_top(1.0))
    with pytest.raises(ReferenceUnknown, match=words):
        release_parts(project, ReleaseOrder(letter=letter, despite="a test"))


def test_a_letter_may_be_passed_over(project: Path) -> None:
    put(project, "lintel", raise_top(1.0))
    assert release_parts(project, ReleaseOrder(letter="d", despite="a test")).release.letter == "D"
    put(project, "lintel", raise_top(2.0))
    assert release_parts(project, FREELY).release.letter == "E"


def test_damaged_copies_are_found(project: Path) -> None:
    assert list_releases(project, True).faults == ()
    release = read_releases(project)[0]
    name, sha256 = release.files[0]
    copy_path(project, sha256).unlink()
    faults = list_releases(project, True).faults
    assert [(letter, fault.name, fault.kind) for letter, fault in faults] == [("A", name, "missing")]
    report = compare_states(project)  # the working state still has the mesh
    assert not report.is_clear
    assert kinds(report) == {}


def test_without_the_frozen_document_there_is_nothing_to_compare(project: Path) -> None:
    copy_path(project, read_releases(project)[0].document_sha256).unlink()
    with pytest.raises(DryfitError, match="frozen document"):
        compare_states(project)


def test_a_release_stands_by_itself(project: Path) -> None:
    """Meshes deleted, document emptied: the release has it all."""
    (release,) = read_releases(project)
    shutil.rmtree(project / "meshes")
    state = released_state(project, release)
    assert state.is_whole
    assert set(state.opened.shapes) == set(PORTAL)
    assert state.faults == ()


def test_a_release_of_a_newer_program_is_refused(project: Path) -> None:
    with open_ledger(project / "ledger.db") as ledger:
        ledger.append(RELEASE, {"format": 99, "letter": "B"})
    with pytest.raises(ReferenceUnknown, match="newer program"):
        read_releases(project)


def test_other_letters_are_refused(project: Path) -> None:
    with pytest.raises(ReferenceUnknown, match='no release "Q"'):
        compare_states(project, "Q")


def test_without_a_release_there_is_nothing_to_compare(tmp_path: Path) -> None:
    write_project(tmp_path / "portal")
    with pytest.raises(ReferenceUnknown, match="nothing was released"):
        compare_states(tmp_path / "portal")


def test_two_releases_are_compared_as_they_were(project: Path) -> None:
    put(project, "lintel", raise_top(1.0))
    release_parts(project, FREELY)
    put(project, "lintel", raise_top(9.0))
    report = compare_states(project, "A", "B")
    (part,) = report.of_kind("changed")
    assert part.deviation is not None
    assert part.deviation.largest_mm == pytest.approx(1.0, abs=1e-4)
    assert compare_states(project, "B", "B").is_same


def test_files_that_are_the_same_are_not_compared_as_shapes(project: Path) -> None:
    after = working_state(project)
    before = released_state(project, read_releases(project)[0], after)
    assert all(before.opened.shapes[name].mesh is after.opened.shapes[name].mesh for name in PORTAL)
    assert Contents(before, after).is_same("base", "base")


def test_the_report_can_be_shown_and_written(project: Path) -> None:
    printed(project, "lintel")
    put(project, "lintel", raise_top(10.0))
    edit(project, "prototype_mm = 2000", "prototype_mm = 2010")
    report = compare_states(project)
    shown = [getattr(block, "text", "") for block in changes_blocks(report)]
    assert "1 lost" in shown[0]
    assert "Lost: 8 h, 100 g." in shown
    plain = changes_plain(report)
    assert plain["touches_printed"] is True
    assert json.loads(json.dumps(plain, allow_nan=False)) == plain
