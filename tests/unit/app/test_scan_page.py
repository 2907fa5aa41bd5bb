"""Scans at a page: kept and recorded once they were laid, and their map as a coloured surface."""

import shutil
from dataclasses import astuple
from pathlib import Path

import numpy as np
import pytest

from dryfit.app.ledger_reading import read_records
from dryfit.app.loading import Opened, open_project
from dryfit.app.scan_input import ScanRefused
from dryfit.app.scan_page import UNSEEN_MM, lay_scan, scans_of, show_scan
from dryfit.app.scan_request import read_request, read_scan_form
from dryfit.app.scanning import scan_folder
from dryfit.base.errors import DryfitError, UnitUnknown
from dryfit.view.scan_page import map_of_scan, scans_table
from support.scans import write_scanned


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return write_scanned(tmp_path_factory.mktemp("page"))


@pytest.fixture(scope="module")
def opened(folder: Path) -> Opened:
    return open_project(folder)


@pytest.fixture(scope="module")
def dropped(folder: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The scan as it waits outside of the project, without the points of its far arm."""
    points = np.loadtxt(folder / "scan.xyz")
    file = tmp_path_factory.mktemp("waiting") / "arm scan.xyz"
    np.savetxt(file, points[points[:, 0] < np.quantile(points[:, 0], 0.8)], fmt="%.5f")
    return file


@pytest.mark.slow
def test_a_scan_is_kept_recorded_and_shown_with_its_map(opened: Opened, dropped: Path) -> None:
    """Closed form: the top was made 0.2 mm too high, nothing else; a fifth of the surface was not scanned."""
    before = len(read_records(opened.folder, "scan"))
    report = lay_scan(opened, read_request("bracket", dropped, "mm", 0.02))
    kept = opened.folder / "scans" / "arm-scan.xyz"
    assert kept.read_bytes() == dropped.read_bytes()
    assert (report.file, report.is_kept) == ("scans/arm-scan.xyz", True)
    line = scans_of(opened, "bracket")[0]
    assert (line.record, line.file, line.is_kept, line.is_shape) == (report.record, report.file, True, True)
    assert len(read_records(opened.folder, "scan")) == before + 1

    shown = show_scan(report)
    corners = np.frombuffer(shown.map, "<f4").reshape(-1, 3, 4)
    assert 0 < len(corners) <= 60_000
    area = 0.5 * np.linalg.norm(
        np.cross(corners[:, 1, :3] - corners[:, 0, :3], corners[:, 2, :3] - corners[:, 0, :3]), axis=1
    )
    whole = 0.5 * np.linalg.norm(
        np.cross(
            report.mesh.vertices[report.mesh.faces][:, 1] - report.mesh.vertices[report.mesh.faces][:, 0],
            report.mesh.vertices[report.mesh.faces][:, 2] - report.mesh.vertices[report.mesh.faces][:, 0],
        ),
        axis=1,
    )
    assert area.sum() == pytest.approx(whole.sum(), rel=1e-4)
    seen = (corners[:, :, 3] < 1e8).all(axis=1)
    assert area[seen].sum() / area.sum() == pytest.approx(report.statistics.covered, abs=0.08)
    top = seen & np.isclose(corners[:, :, 2], 10.0, atol=1e-3).all(axis=1)
    foot = seen & np.isclose(corners[:, :, 2], -10.0, atol=1e-3).all(axis=1)
    raised = np.median(corners[top][:, :, 3]) - np.median(corners[foot][:, :, 3])
    # The deviation points outward: up at the top, down at the foot.
    assert np.median(corners[top][:, :, 3]) + np.median(corners[foot][:, :, 3]) == pytest.approx(
        0.2, abs=0.03
    )
    assert raised > -0.3
    assert corners[~seen].max() == pytest.approx(UNSEEN_MM)
    drawn = map_of_scan(shown, "/there.bin")
    assert drawn["urls"] == {"bracket": "/there.bin"}
    assert shown.reach_mm <= drawn["reach"] <= 10.0 * shown.reach_mm
    assert drawn["step"] == pytest.approx(drawn["reach"] / 5.0)


@pytest.mark.slow
def test_another_scan_of_the_same_name_is_refused_and_the_first_stays(
    opened: Opened, dropped: Path, tmp_path: Path
) -> None:
    request = read_request("bracket", dropped, "mm", 0.02)
    lay_scan(opened, request)
    kept = opened.folder / "scans" / "arm-scan.xyz"
    first, records = kept.read_bytes(), len(read_records(opened.folder, "scan"))
    other = tmp_path / dropped.name
    other.write_bytes(first + b"1 2 3\n")
    with pytest.raises(ScanRefused, match=r"another scans/arm-scan\.xyz already"):
        lay_scan(opened, read_request("bracket", other, "mm", 0.02))
    assert kept.read_bytes() == first
    assert len(read_records(opened.folder, "scan")) == records
    # The same content under the same name is the same scan.
    assert lay_scan(opened, request).file == "scans/arm-scan.xyz"
    # What became of the file afterwards is said.
    kept.write_bytes(first + b"1 2 3\n")
    assert not scans_of(opened, "bracket")[0].is_kept
    assert scans_table(scans_of(opened, "bracket")).rows[0][-1] == "the file is not in the project"
    kept.write_bytes(first)


@pytest.mark.slow
def test_a_scan_that_lies_in_the_project_stays_there(opened: Opened, folder: Path) -> None:
    report = lay_scan(opened, read_request("bracket", folder / "scan.xyz", "mm", 0.02))
    assert report.file == "scan.xyz"
    assert scans_of(opened, "bracket")[0].is_kept
    assert scans_of(opened, "other") == ()


@pytest.mark.slow
def test_a_file_elsewhere_does_not_count_as_kept(opened: Opened, dropped: Path) -> None:
    scan_folder(opened.folder, read_request("bracket", dropped, "mm", 0.02))
    line = scans_of(opened, "bracket")[0]
    assert line.file == str(dropped)
    assert not line.is_kept


def test_a_refused_scan_leaves_nothing_behind(opened: Opened, folder: Path, tmp_path: Path) -> None:
    before = sorted(path.name for path in folder.rglob("*"))
    records = len(read_records(folder, "scan"))
    file = tmp_path / "unsaid.xyz"
    shutil.copy(folder / "scan.xyz", file)
    with pytest.raises(UnitUnknown):
        lay_scan(opened, read_request("bracket", file))
    with pytest.raises(ScanRefused, match="cannot be read"):
        lay_scan(opened, read_request("bracket", tmp_path / "gone.xyz", "mm"))
    with pytest.raises(DryfitError):
        lay_scan(opened, read_request("bracket", folder / "project.toml", "mm"))
    assert sorted(path.name for path in folder.rglob("*")) == before
    assert len(read_records(folder, "scan")) == records


def test_a_form_is_read_as_the_command_is(tmp_path: Path) -> None:
    typed = {"unit": "in", "std": " 0.05 ", "reach": "3", "datums": "back, height", "patch": "yes"}
    ours = read_scan_form("rib", tmp_path, typed)
    assert astuple(ours) == astuple(read_request("rib", tmp_path, "in", 0.05, 3.0, "back,height", (), True))
    marked = read_scan_form("rib", tmp_path, {"marks": "1,2,3=4,5,6; 7,8,9=1,2,3"})
    assert [mark.on_part.tolist() for mark in marked.marks] == [[4.0, 5.0, 6.0], [1.0, 2.0, 3.0]]
    plain = read_scan_form("rib", tmp_path, {})
    assert astuple(plain) == astuple(read_request("rib", tmp_path))
    for words in ("thin", "nan", "1e999"):
        with pytest.raises(ScanRefused, match="is no number"):
            read_scan_form("rib", tmp_path, {"std": words})
