"""A scan in words, rows, colours and on a sheet."""

import json
from dataclasses import replace
from pathlib import Path
from xml.etree import ElementTree

import numpy as np
import pytest

from dryfit.app.scan_report import ScanReport, decide
from dryfit.app.scan_surface import colour_mesh, vertex_deviations
from dryfit.base.errors import NotWritten
from dryfit.files.mesh import read_meshes
from dryfit.view.blocks import Heading, Sentence, Table
from dryfit.view.scan import scan_blocks, scan_plain
from dryfit.view.scan_colours import BLUE, ORANGE, PAPER, UNSEEN, deviation_colours, scale_limit_mm
from dryfit.view.scan_map import save_map
from support.scan_reports import full_report


@pytest.fixture(scope="module")
def report() -> ScanReport:
    return full_report()


def words_of(report: ScanReport) -> str:
    return " ".join(block.text for block in scan_blocks(report) if isinstance(block, Heading | Sentence))


def test_an_ambiguous_scan_says_so_first_and_how_to_settle_it(report: ScanReport) -> None:
    text = words_of(report)
    assert "the scan fits in two ways" in text
    assert "Turned by 180 degrees about z through (0, 0, 0) fits as well." in text
    assert "--mark" in text
    assert "the scan can turn about the axis z" in text
    assert report.state == "stop"  # a feature is rejected, which is graver
    assert replace(report, features=()).state == "not checked"


def test_a_clear_scan_names_what_fits_next_best(report: ScanReport) -> None:
    clear = replace(report, alternatives=(), free=())
    assert "fits clearly worse, by 30 standard uncertainties" in words_of(clear)
    assert "95 % of the surface seen lies within" in words_of(clear)


def test_features_have_a_decision_and_a_state(report: ScanReport) -> None:
    table = next(b for b in scan_blocks(report) if isinstance(b, Table) and b.heads[0] == "feature")
    assert table.states == ("stop", "caution", "pass", "not checked")
    assert table.rows[0][2] == "29.500(30) mm"


def test_the_difference_of_the_alignments_is_shown(report: ScanReport) -> None:
    assert "turned by (+0.0100, +0.0000, +0.0000) degrees" in words_of(report)
    assert "Three motions are left free by the datums" in words_of(report)


def test_json_is_json(report: ScanReport) -> None:
    plain = json.loads(json.dumps(scan_plain(report), allow_nan=False))
    assert plain["is_ambiguous"] is True
    assert plain["features"][3]["value"] is None


def test_zero_is_paper_inside_blue_outside_orange_and_no_scan_grey() -> None:
    colours = deviation_colours(np.array([0.0, -2.0, 0.5, np.nan]), 0.5)
    np.testing.assert_array_equal(colours, [PAPER, BLUE, ORANGE, UNSEEN])
    assert scale_limit_mm(np.array([0.03, -0.17, np.nan])) == 0.2
    assert scale_limit_mm(np.array([np.nan])) == 0.001


def test_maps_are_written_as_mesh_and_as_sheet(report: ScanReport, tmp_path: Path) -> None:
    save_map(tmp_path / "map.ply", report)
    mesh = read_meshes(tmp_path / "map.ply", "mm").objects[0]
    np.testing.assert_allclose(np.ptp(mesh.vertices, axis=0), [100, 60, 30], atol=1e-4)
    save_map(tmp_path / "map.svg", report)
    drawn = ElementTree.fromstring((tmp_path / "map.svg").read_text(encoding="utf-8"))
    assert len(drawn.findall("{http://www.w3.org/2000/svg}path")) > 6
    with pytest.raises(NotWritten, match=r"not written as \.png"):
        save_map(tmp_path / "map.png", report)
    with pytest.raises(NotWritten, match="no such folder"):
        save_map(tmp_path / "gone" / "map.ply", report)


def test_each_corner_has_the_deviation_of_its_own_face(report: ScanReport) -> None:
    coloured = colour_mesh(report)
    corners = coloured.vertices.reshape(-1, 3, 3)
    up = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])[:, 2] > 0
    values = coloured.values_mm.reshape(-1, 3)
    assert np.nanmedian(values[up]) == pytest.approx(0.1, abs=0.01)
    right = corners[:, :, 0].min(axis=1) > 49.99
    assert np.isnan(values[right]).mean() > 0.7
    assert vertex_deviations(report.mesh, report.map).shape == (len(report.mesh.vertices),)


def test_decisions_keep_the_guard_of_one_sided_95_percent() -> None:
    # JCGM 106:2012 (memory): accepted up to the limit less 1.645 standard uncertainties, rejected beyond as much.
    assert decide(10.0 - 0.1646, 0.1, None, 10.0)[0] == "accept"
    assert decide(10.0 - 0.1644, 0.1, None, 10.0)[0] == "cannot tell"
    assert decide(10.1644, 0.1, None, 10.0)[0] == "cannot tell"
    assert decide(10.1646, 0.1, None, 10.0)[0] == "reject"
    assert decide(9.0, 0.1, 9.5, None)[0] == "reject"
    assert decide(9.0, 0.1, None, None)[0] == "not decided"


def test_features_stand_under_both_alignments(report: ScanReport) -> None:
    (table,) = (b for b in scan_blocks(report) if isinstance(b, Table) and b.heads[0] == "feature under both")
    assert table.rows == (("width", "40.020", "40.000", "mm"), ("bore", "-", "8.100", "mm"))
