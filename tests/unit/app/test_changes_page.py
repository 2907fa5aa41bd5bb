"""Two revisions made ready for the eye: copies, maps of deviations to one scale, pairs of forecasts."""

import numpy as np
import pytest

from dryfit.app.changes import compare_states
from dryfit.app.changes_page import ends_to_choose, forecast_pairs, risk_of, show_changes
from dryfit.app.releases import list_releases
from dryfit.app.releasing import ReleaseOrder, release_parts
from dryfit.app.view_meshes import unpack_surface
from support.at_the_bench import write_printed
from support.projects import PORTAL, glb_bytes

HIGHER = {**PORTAL, "lintel": ((200.0, 60.0, 20.4), (0.0, 0.0, 120.0))}


@pytest.fixture(scope="module")
def shown(tmp_path_factory):
    """A released portal whose lintel was made 0.4 mm thicker since, on top."""
    folder = write_printed(tmp_path_factory.mktemp("page") / "portal", "lintel")
    release_parts(folder, ReleaseOrder(because="first", despite="a trial"))
    (folder / "meshes" / "portal.glb").write_bytes(glb_bytes(HIGHER))
    steps = []
    found = show_changes(compare_states(folder), lambda done, total: steps.append((done, total)))
    assert steps[-1] == (8, 8)
    assert ends_to_choose(list_releases(folder)) == ("working", "A")
    return found


def corners_of(part):
    return np.frombuffer(part.map, "<f4").reshape(-1, 4)


def test_both_sides_show_every_part_and_only_the_changed_one_has_a_map(shown):
    for side in (shown.before, shown.after):
        assert [part.id for part in side.parts] == list(PORTAL)
        assert [part.id for part in side.parts if part.map is not None] == ["lintel"]
        for part in side.parts:
            positions, indices = unpack_surface(part.copy)
            assert len(indices) == part.triangles == 12
            assert len(positions)
        assert set(side.placing.matrices) == set(PORTAL)
    unchanged = [
        (a.copy, b.copy) for a, b in zip(shown.before.parts, shown.after.parts, strict=True) if a.map is None
    ]
    assert all(before == after for before, after in unchanged)


def test_the_map_is_the_deviation_where_it_is_and_nothing_elsewhere(shown):
    lintel = next(part for part in shown.after.parts if part.id == "lintel")
    corners = corners_of(lintel)
    triangles = corners.reshape(-1, 3, 4)
    top = (triangles[:, :, 2] > 140.39).all(axis=1)
    assert top.any()
    assert triangles[top, :, 3] == pytest.approx(0.4, abs=1e-3)
    # A side is new above the old top alone; how finely that is told is as fine as the points that were looked at.
    assert np.abs(corners[corners[:, 2] < 125.0, 3]).max() < 0.01
    before = corners_of(next(part for part in shown.before.parts if part.id == "lintel"))
    assert np.abs(before[before[:, 2] < 125.0, 3]).max() < 0.01


def test_the_scale_ends_at_a_round_value_beyond_the_largest(shown):
    assert shown.reach_mm >= 0.4 - 1e-6
    assert shown.step_mm == pytest.approx(0.1)
    assert shown.reach_mm / shown.step_mm == pytest.approx(round(shown.reach_mm / shown.step_mm))


def test_forecasts_that_differ_come_in_pairs(shown):
    pairs = forecast_pairs(shown.report)
    changed = [row.change.id for row in shown.report.forecast.outcomes if row.change.has_changed]
    assert [after.id for _, after in pairs] == changed
    assert all(before is not None and before.id == after.id for before, after in pairs)
    assert risk_of(shown) == shown.report.forecast.after.risk
