"""Corrected copies of a small portal: printed again, forecast, written, refused."""

import re
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from dryfit.app.compensating import CompensationRefused, CopyOptions, compensate_parts, undo_compensation
from dryfit.app.compensating_copies import make_copy
from dryfit.app.compensating_lines import compensation_lines
from dryfit.app.forecast import run_forecast
from dryfit.app.geometry import shape_in_assembly, to_machine
from dryfit.app.loading import open_project
from dryfit.app.motion import printed_gains
from dryfit.app.orient import orient
from dryfit.app.prediction import chain_of, predict_opened
from dryfit.base.errors import ComputationRefused, NotWritten, ReferenceUnknown
from dryfit.base.estimate import Estimate
from dryfit.calc.errormodel import machine_gain
from dryfit.calc.mesh import measure_mesh
from dryfit.files.mesh import read_meshes
from dryfit.model.machine import FIGURES, ErrorModel, Machine
from dryfit.model.mesh import TriangleMesh
from dryfit.model.part import Bed, Part
from dryfit.store.document import read_document
from dryfit.store.ledger import open_ledger
from support.projects import MACHINE, PORTAL, contents, document, part_row, write_project
from support.shapes import torus


def stated(machine, **figures):
    """The machine with other values of some figures."""
    for name, value in figures.items():
        machine, count = re.subn(rf"(?m)^{name} = \S+", f"{name} = {value}", machine)
        assert count == 1, name
    return machine


SKEWED = stated(MACHINE, skew_xy_deg=-0.3, scale_z=0.004)
GROWN = stated(SKEWED, boundary_offset_mm=0.12, first_layer_flare_mm=0.2)


@pytest.fixture
def folder(tmp_path):
    return write_project(tmp_path / "portal", document(machine=SKEWED))


@pytest.fixture
def grown(tmp_path):
    return write_project(tmp_path / "portal", document(machine=GROWN))


def machine_of(figures, height=0.3):
    estimates = {name: Estimate(float(v), 0.001) for name, v in zip(FIGURES, figures, strict=True)}
    return Machine("tall", (900.0, 900.0, 900.0), ErrorModel(estimates, 0.03, height, "stated"))


SCALES, SKEWS, ANGLES = st.floats(-0.01, 0.01), st.floats(-1.0, 1.0), st.floats(-180.0, 180.0)


@settings(max_examples=25, deadline=None)
@given(
    st.tuples(SCALES, SCALES, SCALES, SKEWS, SKEWS, SKEWS),
    st.tuples(ANGLES, ANGLES, ANGLES),
    st.floats(0.0, 0.02),
)
def test_any_part_in_any_pose_on_any_machine_prints_again_within_a_micrometre(figures, pose, shrinkage):
    body = torus(150.0, 40.0, 16, 8)
    part = Part("ring", "ring.stl", "tall", "pla", bed=Bed(pose))
    machine = machine_of((*figures, 0.0, 0.0))
    copy = make_copy(
        part, shape_in_assembly(part, body), machine, (*figures, 0.0, 0.0), shrinkage, "ring.3mf"
    )
    assert copy.round_trip_mm < 1e-9
    assert copy.round_trip_single_mm < 1e-3
    assert copy.is_closed
    assert copy.volume_change == pytest.approx(copy.volume_wanted, abs=1e-10)
    determinant = float(np.prod(1.0 + np.array(figures[:3]))) * (1.0 - shrinkage) ** 3
    assert copy.volume_wanted == pytest.approx(1.0 / determinant - 1.0, abs=1e-12)
    assert copy.state == "pass"


def test_the_written_file_printed_on_its_machine_is_the_part(folder):
    compensate_parts(folder, "tall", write=True)
    opened = open_project(folder)
    figures = np.array([0, 0, 0.004, -0.3, 0.4, 0])
    for part in opened.project.parts:
        made = part.compensation
        (mesh,) = read_meshes(folder / made.file, None).objects
        printed = mesh.vertices @ machine_gain(figures).T
        wanted = opened.shapes[part.id].mesh.vertices @ to_machine(part).T
        order = [np.lexsort(np.round(a - a.min(axis=0), 6).T) for a in (printed, wanted)]
        apart = (printed - printed.min(axis=0))[order[0]] - (wanted - wanted.min(axis=0))[order[1]]
        assert np.abs(apart).max() < 1e-9
        assert mesh.vertices[:, 2].min() == pytest.approx(0.0, abs=1e-12)


def test_a_corrected_project_forecasts_as_with_a_true_machine_and_the_same_uncertainty(folder):
    true = predict_opened(
        open_project(folder), ("tall.skew_xy_deg=0", "tall.skew_xz_deg=0", "tall.scale_z=0")
    )
    report = compensate_parts(folder, "tall", write=True)
    now = predict_opened(open_project(folder))
    for item, expected, told in zip(now.characteristics, true.characteristics, report.changes, strict=True):
        assert item.predicted == pytest.approx(expected.predicted, abs=1e-9)
        assert item.std == pytest.approx(expected.std, rel=1e-9)
        assert item.p_out == pytest.approx(expected.p_out, abs=1e-9)
        assert item.linear_minus_exact == pytest.approx(0.0, abs=1e-9)
        assert (told.predicted_after, told.p_out_after) == (item.predicted, item.p_out)
    assert any("corrected copies" in note for note in now.assumptions)


@pytest.mark.parametrize("lying", [False, True])
def test_outlines_made_up_for_no_longer_shift_the_forecast(tmp_path, lying):
    # Lying on their sides, parts meet in faces whose lower edge stands in the flared layers.
    bed = {"bed": "{ euler_xyz_deg = [90, 0, 0] }"} if lying else {}
    parts = "".join(part_row(name, **bed) for name in PORTAL)
    grown = write_project(tmp_path / "portal", document(machine=GROWN, parts=parts))
    options = CopyOptions(offset=True)
    whatif = [f"tall.{name}=0" for name in ("skew_xy_deg", "skew_xz_deg", "scale_z", *FIGURES[6:])]
    true = predict_opened(open_project(grown), whatif)
    compensate_parts(grown, "tall", options=options, write=True)
    now = predict_opened(open_project(grown))
    for item, expected in zip(now.characteristics, true.characteristics, strict=True):
        assert item.predicted == pytest.approx(expected.predicted, abs=1e-9)
        assert item.std == pytest.approx(expected.std, rel=1e-9)
        assert item.linear_minus_exact == pytest.approx(0.0, abs=1e-9)


def test_shrinkage_made_up_for_no_longer_shifts_the_forecast(tmp_path):
    text = document(machine=SKEWED).replace("shrinkage = 0.0\n", "shrinkage = 0.004\n")
    folder = write_project(tmp_path / "portal", text)
    report = compensate_parts(folder, "tall", options=CopyOptions(with_shrinkage=True), write=True)
    assert report.shrinkages == (("pla", 0.004),)
    now = predict_opened(open_project(folder))
    assert now.characteristics[0].predicted == pytest.approx(140.0, abs=1e-9)
    assert now.characteristics[0].linear_minus_exact == pytest.approx(0.0, abs=1e-9)


def test_part_of_the_parts_corrected_shifts_only_theirs(folder):
    """First order against the exact placement: what is not made up for still acts."""
    before = predict_opened(open_project(folder))
    compensate_parts(folder, "tall", ("post-1",), write=True)
    after = predict_opened(open_project(folder))
    for item in after.characteristics:
        assert abs(item.linear_minus_exact) < 0.02
    plumb = after.characteristics[2]
    assert (
        plumb.predicted == pytest.approx(-0.0, abs=0.01)
        or plumb.predicted != before.characteristics[2].predicted
    )


def test_a_copy_laid_otherwise_than_it_was_made_prints_what_its_mesh_would(folder):
    """The forecast of a copy in another pose against the file itself, turned and printed."""
    compensate_parts(folder, "tall", write=True)
    opened = open_project(folder)
    chain = chain_of(opened, ("post-1.bed=0,90,20",))
    index = [part.id for part in opened.project.parts].index("post-1")
    part, was = chain.project.parts[index], opened.project.parts[index]
    figures = np.array([0, 0, 0.004, -0.3, 0.4, 0])
    copy = np.linalg.inv(machine_gain(figures))  # model -> copy, machine axes of the pose it was made in
    turn, made_in = to_machine(part), to_machine(was)
    whole = turn.T @ machine_gain(figures) @ (turn @ made_in.T) @ copy @ made_in
    assert printed_gains(chain.project, chain.motion)[index] == pytest.approx(whole, abs=1e-12)
    # and the first order of the report follows the exact placement
    for item in run_forecast(chain).characteristics:
        assert abs(item.linear_minus_exact) < 0.05


def test_looking_writes_nothing(folder):
    before = contents(folder)
    report = compensate_parts(folder, "tall")
    assert report.diff
    assert not report.written
    assert contents(folder) == before


def test_what_is_written_keeps_the_original_and_every_comment(folder):
    before = contents(folder)
    report = compensate_parts(folder, "tall", write=True)
    after = contents(folder)
    assert after["meshes/portal.glb"] == before["meshes/portal.glb"]
    assert b"# measured last winter" in after["project.toml"]
    assert {name for name in after if name.startswith("compensated/")} == {c.file for c in report.copies}
    for part in read_document(folder).project.parts:
        assert part.mesh == f"meshes/portal.glb#{part.id}"
        assert part.compensation.figures == (0, 0, 0.004, -0.3, 0.4, 0, 0, 0)
        assert part.compensation.machine == "tall"
    with open_ledger(folder / "ledger.db") as ledger:
        record = ledger.latest("compensation")
    assert [copy["sha256"] for copy in record.payload["copies"]] == [c.sha256 for c in report.copies]
    assert record.payload["figures"]["skew_xz_deg"] == 0.4


def test_a_second_run_replaces_no_file(folder):
    first = compensate_parts(folder, "tall", ("lintel",), write=True)
    second = compensate_parts(folder, "tall", ("lintel",), write=True)
    assert first.copies[0].file == "compensated/lintel.3mf"
    assert second.copies[0].file == "compensated/lintel-2.3mf"
    assert (folder / first.copies[0].file).is_file()
    # made from the mesh, never from a copy
    assert first.copies[0].data == second.copies[0].data


def test_copies_can_be_let_go(folder):
    before = (folder / "project.toml").read_text()
    compensate_parts(folder, "tall", write=True)
    assert undo_compensation(folder, "tall") == ("base", "post-1", "post-2", "lintel")
    assert (folder / "project.toml").read_text() == before
    with pytest.raises(CompensationRefused, match="no corrected copy"):
        undo_compensation(folder, "tall")


def test_a_flared_foot_is_taken_off_in_the_first_layers_only(grown):
    report = compensate_parts(grown, "tall", ("post-1",), CopyOptions(offset=True))
    (copy,) = report.copies
    file = grown / "copy.3mf"
    file.write_bytes(copy.data)
    (mesh,) = read_meshes(file, None).objects
    upright = mesh.vertices @ machine_gain(np.array([0, 0, 0.004, -0.3, 0.4, 0])).T
    for low, wanted in ((True, 20.0 - 2 * 0.32), (False, 20.0 - 2 * 0.12)):
        layer = upright[(upright[:, 2] <= 0.305) == low]
        assert np.ptp(layer[:, 0]) == pytest.approx(
            wanted, abs=1e-6
        )  # the mesh itself is in single precision
    assert copy.inexact == 0
    assert copy.offset_departure_mm < 1e-5
    assert copy.is_closed
    assert measure_mesh(mesh).is_consistently_oriented


@pytest.mark.parametrize(
    ("machine", "words"),
    [
        (stated(MACHINE, skew_xz_deg=1.2), "1.2 degrees, more than 1 degree"),
        (stated(MACHINE, scale_y=-0.012), "-1.2 %, more than 1 %"),
        (stated(MACHINE, skew_xz_deg=0.0), "every figure to be made up for is 0"),
        ('[[machine]]\nid = "tall"\nbuild_volume_mm = [500, 500, 600]\n', "never measured"),
    ],
)
def test_machines_that_must_be_mended_or_measured_first_are_refused(tmp_path, machine, words):
    folder = write_project(tmp_path / "portal", document(machine=machine))
    with pytest.raises(CompensationRefused, match=words):
        compensate_parts(folder, "tall", write=True)
    assert not (folder / "compensated").exists()


def test_names_of_nothing_are_refused(folder):
    with pytest.raises(ReferenceUnknown, match='no machine "tell"'):
        compensate_parts(folder, "tell")
    with pytest.raises(ReferenceUnknown, match='no part "post-9"'):
        compensate_parts(folder, "tall", ("post-9",))


def test_a_copy_that_does_not_fit_is_not_written(tmp_path):
    # 200 mm base on a bed of 200 mm: leaning by 0.3 degrees it needs more
    machine = SKEWED.replace("[500, 500, 600]", "[200, 60, 600]")
    folder = write_project(tmp_path / "portal", document(machine=machine))
    report = compensate_parts(folder, "tall", write=True)
    assert report.state == "stop"
    assert not report.written
    assert not (folder / "compensated").exists()
    assert "larger than the build volume" in report.copies[0].remarks[0][1]


def test_a_document_that_changed_meanwhile_leaves_no_file_behind(folder, monkeypatch):
    from dryfit.app import compensating

    original = compensating.edit_document

    def late(*arguments):
        editor = original(*arguments)
        with (folder / "project.toml").open("a") as stream:
            stream.write("# somebody else\n")
        return editor

    monkeypatch.setattr(compensating, "edit_document", late)
    with pytest.raises(NotWritten, match="changed on disk"):
        compensate_parts(folder, "tall", write=True)
    assert not list((folder / "compensated").glob("*.3mf"))


def test_neighbours_with_a_fault_of_their_own_are_named(tmp_path):
    desk = SKEWED.replace('id = "tall"', 'id = "desk"')
    parts = "".join(part_row(n) for n in ("base", "post-1", "post-2")) + part_row("lintel", machine='"desk"')
    folder = write_project(tmp_path / "portal", document(machine=SKEWED + desk, parts=parts))
    whole = compensate_parts(folder, "tall")
    assert [what for what, _ in whole.warnings] == [
        "2 joints between corrected parts of tall and parts of desk, whose own fault is not made up for: "
        "post-1:lintel, post-2:lintel"
    ]
    some = compensate_parts(folder, "tall", ("post-1",))
    assert any("that tall prints as it is" in what for what, _ in some.warnings)
    assert some.state == "caution"


def test_a_figure_not_told_from_zero_is_named(tmp_path):
    machine = stated(MACHINE, skew_yz_deg=0.03)
    folder = write_project(tmp_path / "portal", document(machine=machine))
    assert any("skew_yz_deg: less than 2" in what for what, _ in compensate_parts(folder, "tall").warnings)


def test_turning_parts_with_copies_is_refused(folder):
    compensate_parts(folder, "tall", write=True)
    with pytest.raises(ComputationRefused, match="corrected copies"):
        orient(chain_of(open_project(folder)))


def test_an_open_mesh_stays_open_and_says_so(tmp_path):
    body = torus(150.0, 40.0, 16, 8)
    part = Part("ring", "ring.stl", "tall", "pla")
    figures = (0, 0, 0, 0, 0.4, 0, 0, 0)
    shape = shape_in_assembly(part, TriangleMesh(body.vertices, body.faces[:-1]))
    copy = make_copy(part, shape, machine_of(figures), figures, 0.0, "ring.3mf")
    assert not copy.is_closed
    assert any("is open" in what for _, what, _ in copy.remarks)


def test_an_offset_larger_than_a_wall_is_a_stop():
    """A wall of 0.6 mm moved in by 0.4 from both sides passes through itself."""
    from support.mesh_files import box

    vertices, faces = box((30.0, 0.6, 10.0))
    part = Part("wall", "wall.stl", "tall", "pla")
    figures = (0, 0, 0, 0, 0.4, 0, 0.4, 0)
    shape = shape_in_assembly(part, TriangleMesh(np.asarray(vertices, dtype=float), np.asarray(faces)))
    copy = make_copy(part, shape, machine_of(figures), figures, 0.0, "wall.3mf")
    assert copy.state == "stop"


# The hold point -------------------------------------------------------------------------------------------


def lines(folder):
    return list(compensation_lines(open_project(folder)))


def test_no_copies_no_lines(folder):
    assert lines(folder) == []


def test_fresh_copies_pass(folder):
    compensate_parts(folder, "tall", write=True)
    (line,) = lines(folder)
    assert (line.topic, line.subject, line.state) == ("compensation", "base, post-1, post-2, lintel", "pass")
    assert "not turned" in line.do


@pytest.mark.parametrize(
    ("old", "new", "state", "words"),
    [
        ("skew_xz_deg = 0.4  #", "skew_xz_deg = 0.5  #", "stop", "skew_xz_deg from 0.4 to 0.5"),
        ("skew_xz_deg = 0.4  #", "skew_xz_deg = 0.41  #", "caution", "within 2 standard uncertainties"),
        ("boundary_offset_mm = 0.0\n", "boundary_offset_mm = 0.1\n", "pass", ""),
        ('id = "post-1"', 'id = "post-1"\nbed = { euler_xyz_deg = [0, 0, 90] }', "stop", "another bed pose"),
    ],
)
def test_copies_of_another_state_of_things_are_named(folder, old, new, state, words):
    compensate_parts(folder, "tall", write=True)
    text = (folder / "project.toml").read_text()
    assert text.count(old) == 1
    (folder / "project.toml").write_text(text.replace(old, new))
    found = [line for line in lines(folder) if line.state == state]
    assert found
    assert words in found[0].reason


def test_a_copy_that_is_gone_or_changed_is_a_stop(folder):
    report = compensate_parts(folder, "tall", write=True)
    (folder / report.copies[0].file).unlink()
    (folder / report.copies[1].file).write_bytes(b"other")
    states = {line.subject: (line.state, line.reason) for line in lines(folder)}
    assert states["base"] == ("stop", "the corrected copy compensated/base.3mf is not there")
    assert states["post-1"][0] == "stop"
    assert "content has changed" in states["post-1"][1]


def test_a_part_given_to_another_machine_is_a_stop(folder):
    compensate_parts(folder, "tall", write=True)
    opened = open_project(folder)
    other = replace(opened.project.machines[0], id="desk")
    parts = tuple(replace(part, machine="desk") for part in opened.project.parts)
    project = replace(opened.project, parts=parts, machines=(other,))
    changed = replace(opened, document=replace(opened.document, project=project))
    (line,) = compensation_lines(changed)
    assert line.state == "stop"
    assert "was made for machine tall" in line.reason


# Figures out of the ledger --------------------------------------------------------------------------------

COVARIANCE = np.diag(np.array([3e-4, 3e-4, 3e-4, 0.02, 0.02, 0.02, 0.03, 0.02]) ** 2)


def qualify(folder, **figures):
    """Append a qualification of the machine, as `dryfit qualify` does."""
    from dryfit.app.qualification_records import QUALIFICATION, qualification_payload
    from dryfit.model.qualification import Qualification

    found = Qualification(
        record=0,
        at="",
        machine="tall",
        artefact=1,
        readings=(2, 3, 4),
        figures=np.array([figures.get(name, 0.0) for name in FIGURES]),
        covariance=COVARIANCE,
        dof=20.0,
        repeatability_mm=0.03,
        repeatability_std_mm=0.005,
        first_layer_height_mm=0.3,
        material="pla",
        shrinkage=0.0,
        shrinkage_std=2e-4,
        with_shrinkage=np.zeros(8),
    )
    with open_ledger(folder / "ledger.db") as ledger:
        return ledger.append(QUALIFICATION, qualification_payload(found)).id


@pytest.fixture
def unstated(tmp_path):
    machine = '[[machine]]\nid = "tall"\nbuild_volume_mm = [500, 500, 600]\n'
    return write_project(tmp_path / "portal", document(machine=machine))


def test_copies_name_the_qualification_that_their_figures_come_from(unstated):
    number = qualify(unstated, skew_xz_deg=0.4)
    report = compensate_parts(unstated, "tall", write=True)
    assert report.qualification == number
    made = open_project(unstated).project.parts[0].compensation
    assert (made.qualification, made.figures[4]) == (number, 0.4)
    assert [line.state for line in lines(unstated)] == ["pass"]
    assert report.settings.tangents_std[1] == pytest.approx(np.radians(0.02), rel=1e-3)


@pytest.mark.parametrize(
    ("lean", "state", "words"),
    [(0.41, "caution", "another qualification"), (0.5, "stop", "skew_xz_deg from 0.4 to 0.5")],
)
def test_another_qualification_is_noticed(unstated, lean, state, words):
    qualify(unstated, skew_xz_deg=0.4)
    compensate_parts(unstated, "tall", write=True)
    qualify(unstated, skew_xz_deg=lean)
    (line,) = lines(unstated)
    assert line.state == state
    assert words in line.reason
    # and the forecast counts with what is left
    plumb = predict_opened(open_project(unstated)).characteristics[2]
    assert plumb.predicted == pytest.approx(0.4 - lean, abs=2e-4)
