"""The demonstration projects: sound on disk, and telling their story by computation."""

import csv
from dataclasses import replace

import numpy as np
import pytest

from dryfit.app import demo
from dryfit.app import demo_photographs_building as building
from dryfit.app.demo import write_demo
from dryfit.app.demo_lighter import lighter_meshes
from dryfit.app.demo_observatory import observatory_meshes
from dryfit.app.demo_observatory_sizes import BY_THE_GUIDE, BY_THE_SCHEDULE
from dryfit.app.forecast import build_chain, run_forecast
from dryfit.app.geometry import to_machine
from dryfit.app.loading import open_project
from dryfit.app.measuring import measure_features
from dryfit.app.part_measures import part_measures
from dryfit.app.prediction import chain_of
from dryfit.app.whatif import apply_what_if
from dryfit.base.errors import NotWritten, ReferenceUnknown
from dryfit.calc.mesh import measure_mesh
from dryfit.model.feature import FEATURE_KINDS
from dryfit.model.part import Bed
from dryfit.store.ledger import LEDGER_NAME


@pytest.fixture(scope="module")
def opened(tmp_path_factory):
    folder = tmp_path_factory.mktemp("demo")
    written = {which: write_demo(folder / which, which) for which in demo.WHICH}
    return {which: open_project(item.folder) for which, item in written.items()}


def forecast(project, shapes):
    """Characteristics by id."""
    return {item.id: item for item in run_forecast(build_chain(project, shapes)).characteristics}


def failing(items, risk):
    return {id for id, item in items.items() if item.p_out is None or item.p_out > risk}


def turned(project):
    """The observatory with every second segment and panel turned by a quarter on the bed."""
    return replace(
        project,
        parts=tuple(
            replace(part, bed=Bed((0.0, 0.0, 135.0)))
            if part.id.startswith(("ring-", "wall-")) and int(part.id[5:]) % 2 == 0
            else part
            for part in project.parts
        ),
    )


def measured(opened, which):
    return {item.id: item for item in measure_features(opened[which].project, opened[which].shapes)}


def test_only_drum_and_dome_are_modelled_too_tall(opened):
    items = measured(opened, "observatory")
    assert [id for id, item in items.items() if item.state != "pass"] == ["drum-height", "dome-rise"]
    for id, parts in (("drum-height", ("wall-1", "wall-6")), ("dome-rise", ("rib-1", "rib-12"))):
        item = items[id]
        assert item.state == "stop"
        assert item.deviation / item.nominal.value == pytest.approx(0.1, abs=0.005), id
        # Far more than the evidence can explain, and told with everything that hangs on it.
        assert item.deviation > 10.0 * item.nominal.std
        assert set(parts) <= set(item.parts)


def test_what_was_modelled_adds_up_to_what_the_guide_prints(opened):
    """Wall, ring, rib and crown, one upon the other, at 1:20."""
    shapes = opened["observatory"].shapes
    heights = [np.ptp(shapes[id].mesh.vertices[:, 2]) for id in ("wall-1", "ring-1", "rib-1", "crown")]
    assert 20.0 * sum(heights) == pytest.approx(building.GUIDE, abs=1e-2)
    ratio = building.GUIDE / building.OVERALL
    assert ratio == pytest.approx(1.09, abs=0.001)


def test_every_kind_of_feature_is_shown_and_measured_where_it_was_drawn(opened):
    items = measured(opened, "observatory")
    assert {item.kind for item in items.values()} == set(FEATURE_KINDS)
    # Wall and section lie between facets: each is the drawn size less what a facet of 5 degrees cuts off.
    facet = np.cos(np.radians(2.5))
    assert items["wall-thickness"].measured == pytest.approx(30.0 * facet, abs=1e-4)
    assert items["ring-section"].measured == pytest.approx(80.0 * facet, abs=1e-4)
    for id, size in (
        *(("ring-outside", 1120.0), ("crown-bore", 150.0), ("segment-angle", 60.0), ("rib-width", 28.0)),
        *(("dome-rise", 460.0), ("bore-from-rail", 46.0), ("crown-underside", 0.0), ("crown-centred", 0.0)),
    ):
        assert items[id].measured == pytest.approx(size, abs=1e-3), id


def test_the_lighter_measures_what_it_should(opened):
    items = measured(opened, "lighter")
    assert [item.state for item in items.values()] == ["pass"] * 3
    assert items["keel-length"].measured == pytest.approx(1800.0, abs=1e-3)


@pytest.mark.parametrize("which", demo.WHICH)
def test_what_the_prototype_measures_says_that_it_is_invented(opened, which):
    dimensions = opened[which].project.dimensions
    assert dimensions
    assert all(item.source.startswith("invented: ") and item.size_mm.std > 0 for item in dimensions)


@pytest.mark.parametrize("which", demo.WHICH)
def test_parts_are_weighed_and_checked_by_stated_figures(opened, which):
    project = opened[which].project
    assert all(part.shell_mm and part.infill for part in project.parts)
    assert all(m.extrusion_width_mm and m.overhang_deg and m.clearance_mm for m in project.machines)
    for part in project.parts:
        points = opened[which].shapes[part.id].mesh.vertices @ to_machine(part).T
        machine = project.machine(part.machine)
        room = np.array(machine.build_volume_mm) - np.array([2.0, 2.0, 0.0]) * machine.clearance_mm
        assert (np.ptp(points, axis=0) <= room).all(), part.id


@pytest.mark.parametrize(
    "mesh",
    [*observatory_meshes(), *observatory_meshes(BY_THE_SCHEDULE), *lighter_meshes()],
    ids=lambda mesh: mesh.name,
)
def test_every_mesh_is_a_closed_body(mesh):
    measures = measure_mesh(mesh)
    assert measures.is_closed
    assert measures.is_consistently_oriented
    assert measures.volume_mm3 > 1e4
    assert measures.degenerate_faces == 0


@pytest.mark.parametrize("which", demo.WHICH)
def test_the_meshes_survive_their_file_and_stay_closed(opened, which):
    heights = BY_THE_SCHEDULE if which == "as-built" else BY_THE_GUIDE
    made = {mesh.name: mesh for mesh in (*observatory_meshes(heights), *lighter_meshes())}
    for part in opened[which].project.parts:
        shape = opened[which].shapes[part.id]
        name = part.mesh.partition("#")[2] or part.id
        # Files hold 32-bit numbers: at 1.8 m the last digit is 0.0001 mm.
        assert shape.measures.volume_mm3 == pytest.approx(measure_mesh(made[name]).volume_mm3, rel=1e-5)
        assert shape.measures.is_closed
        assert not shape.measures.is_inside_out


@pytest.mark.parametrize("which", demo.WHICH)
def test_every_part_fits_its_machine_in_its_stated_pose(opened, which):
    project = opened[which].project
    for part in project.parts:
        assert part.bed_stated
        extent = np.ptp(opened[which].shapes[part.id].mesh.vertices @ to_machine(part).T, axis=0)
        assert (extent < project.machine(part.machine).build_volume_mm).all(), part.id


@pytest.mark.parametrize("prefix", ["ring-", "wall-", "rib-", "rail-"])
def test_long_parts_of_the_observatory_do_not_fit_along_the_bed(opened, prefix):
    project = opened["observatory"].project
    part = next(part for part in project.parts if part.id.startswith(prefix))
    x, y, z = part.bed.euler_xyz_deg
    square = replace(part, bed=Bed((x, y, z - 45.0)))
    extent = np.ptp(opened["observatory"].shapes[part.id].mesh.vertices @ to_machine(square).T, axis=0)
    assert (extent > project.machine("tall").build_volume_mm).any()


@pytest.mark.parametrize("which", demo.WHICH)
def test_the_documents_say_that_they_are_invented_and_leave_nothing_free(opened, which):
    project = opened[which].project
    assert project.invented
    report = run_forecast(build_chain(project, opened[which].shapes))
    assert all(not part.free_motions for part in report.placing)
    assert not any(item.is_linear_doubtful for item in report.characteristics)
    # Where faces are detected, the model meets exactly: every gap and step is nothing as designed.
    for item in report.characteristics:
        if item.kind in ("gap", "step"):
            assert item.nominal == pytest.approx(0.0, abs=2e-3)
    errors = {machine.id: machine.error for machine in project.machines}
    if which == "unqualified":
        assert errors.pop("tall").knowledge == "prior", "nobody has measured it: that is its story"
    assert all(
        error.knowledge == "stated" and not error.unstated and not error.exact for error in errors.values()
    )


def test_the_observatory_as_written_does_not_go_together(opened):
    project = opened["observatory"].project
    items = forecast(project, opened["observatory"].shapes)
    assert {
        "ring-closure",
        "crown-height",
        "rail-distance-half-way",
        "wall-gap-6",
        "wall-plumb-1",
    } <= failing(items, project.risk)
    closure, height = items["ring-closure"], items["crown-height"]
    assert closure.predicted > 2.0
    assert closure.contributions[0].source == "tall.skew_xy_deg"
    assert closure.contributions[0].mean_shift == pytest.approx(closure.predicted, abs=0.1)
    assert height.predicted < 529.0
    assert height.contributions[0].source == "tall.skew_xz_deg"


def test_turning_every_second_segment_closes_the_ring_but_not_the_crown(opened):
    project = turned(opened["observatory"].project)
    items = forecast(project, opened["observatory"].shapes)
    assert failing(items, project.risk) == {"crown-height", "wall-plumb-1", "wall-plumb-3", "wall-plumb-5"}
    assert abs(items["ring-closure"].predicted) < 0.1


def test_squaring_the_upright_alone_leaves_the_ring_open(opened):
    project = apply_what_if(opened["observatory"].project, ["tall.skew_xz_deg=0"])
    items = forecast(project, opened["observatory"].shapes)
    assert {"ring-closure", "rail-distance-half-way", "wall-gap-6"} == failing(items, project.risk)


def test_turned_and_squared_everything_goes_together(opened):
    project = apply_what_if(turned(opened["observatory"].project), ["tall.skew_xz_deg=0"])
    assert failing(forecast(project, opened["observatory"].shapes), project.risk) == set()


def test_no_turn_of_the_ribs_mends_crown_height_and_seats_together(opened):
    project = turned(opened["observatory"].project)
    for raised in ({2, 4, 6, 8, 10, 12}, {1, 2, 5, 6, 9, 10}, {3, 9}):
        parts = tuple(
            replace(part, bed=Bed((0.0, -45.0, -135.0)))
            if part.id.startswith("rib-") and int(part.id[4:]) in raised
            else part
            for part in project.parts
        )
        items = forecast(replace(project, parts=parts), opened["observatory"].shapes)
        assert failing(items, project.risk) & {"crown-height", "crown-seats"}


def test_the_lighter_is_too_long_by_a_scale_that_is_badly_known(opened):
    project = opened["lighter"].project
    items = forecast(project, opened["lighter"].shapes)
    length = items["overall-length"]
    # 0.2 % of 1800 mm, and two bond lines of a tenth that the model leaves no room for.
    assert length.predicted == pytest.approx(1800.0 * 1.002 + 0.2, abs=1e-3)
    assert length.contributions[0].source == "long.scale_x"
    assert length.contributions[0].variance_share > 0.9
    assert {"overall-length", "frame-spacing-1-7", "frame-square-4"} <= failing(items, project.risk)


def test_the_lighter_measured_again_and_made_up_for_goes_together(opened):
    changes = ["long.scale_x=0+-0.0001", "long.skew_xz_deg=0"]
    project = apply_what_if(opened["lighter"].project, changes)
    assert failing(forecast(project, opened["lighter"].shapes), project.risk) == set()


# The one with a history lives through it, twice.
@pytest.mark.parametrize(
    "which",
    [pytest.param(name, marks=pytest.mark.slow) if name == "as-built" else name for name in demo.WHICH],
)
def test_a_demonstration_is_small_and_the_same_each_time(tmp_path, which):
    first, second = write_demo(tmp_path / "a", which), write_demo(tmp_path / "b", which)
    names = sorted(path.relative_to(first.folder) for path in first.folder.rglob("*"))
    assert names == sorted(path.relative_to(second.folder) for path in second.folder.rglob("*"))
    for name in names:
        if (first.folder / name).is_file() and name.name != LEDGER_NAME:  # which tells the time
            assert (first.folder / name).read_bytes() == (second.folder / name).read_bytes()
    assert first.mesh_bytes == sum(path.stat().st_size for path in (first.folder / "meshes").iterdir())
    assert first.mesh_bytes < 200_000
    photos = list((first.folder / "photos").iterdir())
    assert first.photo_bytes == sum(path.stat().st_size for path in photos)
    assert len(photos) == 2 * first.photos == (0 if which in ("lighter", "as-built") else 10)
    assert (first.folder / "released").is_dir()
    assert {path.name for path in tmp_path.iterdir()} == {"a", "b"}


def test_readings_of_the_lent_machine_are_short_by_what_it_truly_does(opened):
    """A length along the diagonal of the bed shrinks by the mean of both axes: 0.51 and 0.49 % here."""
    folder = opened["as-built"].folder
    chain = chain_of(opened["as-built"])
    measures = part_measures(chain.project, chain.shapes, chain.structure, "rib-4")
    nominal = {str(item.measure.number): item.measure.length_mm for item in measures}
    with (folder / "invented-readings-rib-4.csv").open(encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    assert len(rows) >= 4
    for row in rows:
        assert row["by"] == "simulated"
        assert float(row["value_mm"]) / nominal[row["measure"]] == pytest.approx(1.0 - 0.0050, abs=0.0003)


def test_an_empty_folder_is_filled_and_a_filled_one_refused(tmp_path):
    empty = tmp_path / "empty"
    empty.mkdir()
    written = write_demo(empty, "lighter")
    assert (written.parts, written.joints, written.scale) == (10, 12, "1:10")
    before = written.document.read_bytes()
    with pytest.raises(NotWritten, match="not empty"):
        write_demo(empty, "observatory")
    assert written.document.read_bytes() == before
    file = tmp_path / "file"
    file.write_text("mine")
    with pytest.raises(NotWritten, match="a file of that name"):
        write_demo(file, "lighter")
    assert file.read_text() == "mine"


def test_a_folder_that_cannot_be_made_leaves_nothing(tmp_path):
    with pytest.raises(NotWritten):
        write_demo(tmp_path / "missing" / "demo", "lighter")
    assert list(tmp_path.iterdir()) == []


def test_a_failure_half_way_leaves_nothing(tmp_path, monkeypatch):
    def fail(path, data):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(demo, "write_atomically", fail)
    with pytest.raises(NotWritten, match="No space left"):
        write_demo(tmp_path / "demo", "observatory")
    assert list(tmp_path.iterdir()) == []


def test_an_unknown_demonstration_is_refused(tmp_path):
    with pytest.raises(ReferenceUnknown):
        write_demo(tmp_path / "demo", "cathedral")
    assert list(tmp_path.iterdir()) == []
