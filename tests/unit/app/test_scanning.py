"""A scan compared with its part in a project folder: features, joint-free figures, datums, ledger."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from dryfit.app.ledger_reading import read_records
from dryfit.app.loading import Opened, open_project
from dryfit.app.scan_input import ScanRefused
from dryfit.app.scan_joints import face_lengths
from dryfit.app.scan_report import ScannedFace, ScanReport
from dryfit.app.scan_request import read_request
from dryfit.app.scanning import scan_folder, scan_opened
from dryfit.base.errors import ReferenceUnknown, UnitUnknown
from dryfit.base.rotation import rotation_from_vector
from support.scans import write_scanned


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A bracket whose top stands 0.2 mm too high over a third of its surface, scanned in another position."""
    place = tmp_path_factory.mktemp("scanned")
    return write_scanned(place)


@pytest.fixture(scope="module")
def opened(folder: Path) -> Opened:
    return open_project(folder)


@pytest.fixture(scope="module")
def report(folder: Path) -> ScanReport:
    request = read_request("bracket", folder / "scan.xyz", "mm", 0.02, datums="back,height")
    return scan_folder(folder, request)


@pytest.mark.slow
def test_features_are_measured_on_the_scan(report: ScanReport) -> None:
    assert not report.is_ambiguous
    height, hole, long, back = report.features
    assert height.value == pytest.approx(20.2, abs=0.02)
    assert height.decision == "reject"
    assert hole.value == pytest.approx(12.0, abs=0.04)
    assert hole.decision == "accept"
    assert long.value == pytest.approx(100.0, abs=0.1)
    assert back.value == pytest.approx(0.0, abs=0.12)
    assert all(item.std is not None and item.std > 0.015 for item in report.features)
    assert report.state == "stop"


@pytest.mark.slow
def test_the_datums_lay_it_otherwise_than_the_best_fit(report: ScanReport, folder: Path) -> None:
    assert report.alignment == "datums"
    assert report.difference is not None
    back, top = report.difference.datums
    assert (back.held, top.held) == (3, 2)
    assert report.difference.free == 1
    # By the top, which is 0.2 mm too high, everything else comes to lie 0.2 mm too low.
    above = report.map.is_seen & (report.map.normals[:, 2] > 0.9) & (report.map.points[:, 2] > 9.9)
    below = report.map.is_seen & (report.map.normals[:, 2] < -0.9) & (report.map.points[:, 2] < -9.9)
    assert np.median(report.map.deviation_mm[above]) == pytest.approx(0.0, abs=0.02)
    assert np.median(report.map.deviation_mm[below]) == pytest.approx(0.2, abs=0.02)


@pytest.mark.slow
def test_features_are_measured_under_both_alignments(report: ScanReport, folder: Path) -> None:
    """A length between faces hangs on no position: closed form, twice the same. What stands is by the datums."""
    assert report.difference is not None
    both = {name: (one, two) for name, _, one, two in report.difference.features}
    assert both["height"][0] == pytest.approx(both["height"][1], abs=0.005)
    assert both["height"][0] == pytest.approx(20.2, abs=0.02)
    assert [two for _, two in both.values()] == [item.value for item in report.features]
    fitted = scan_folder(folder, read_request("bracket", folder / "scan.xyz", "mm", 0.02), record=False)
    assert [one for one, _ in both.values()] == [item.value for item in fitted.features]
    assert fitted.difference is None


@pytest.mark.slow
def test_the_ledger_keeps_position_and_hash(report: ScanReport, folder: Path) -> None:
    record = next(item for item in read_records(folder, "scan") if item.id == report.record)
    assert record.payload["sha256"] == report.sha256
    np.testing.assert_allclose(record.payload["rotation"], report.motion.rotation)
    assert [item["decision"] for item in record.payload["features"]] == [
        item.decision for item in report.features
    ]


def test_a_scan_without_unit_or_in_another_one_is_a_question(
    opened: Opened, folder: Path, tmp_path: Path
) -> None:
    with pytest.raises(UnitUnknown, match="Likeliest first: as millimetres"):
        scan_opened(opened, read_request("bracket", folder / "scan.xyz"))
    with pytest.raises(ScanRefused, match="larger than bracket; as millimetres it would have its size"):
        scan_opened(opened, read_request("bracket", folder / "scan.xyz", "in"))
    metres = tmp_path / "metres.xyz"
    np.savetxt(metres, np.loadtxt(folder / "scan.xyz") / 1000.0, fmt="%.8f")
    with pytest.raises(ScanRefused, match="smaller than bracket; as metres it would have its size"):
        scan_opened(opened, read_request("bracket", metres, "mm"))


def test_requests_that_make_no_sense_are_refused(opened: Opened, folder: Path) -> None:
    scan = folder / "scan.xyz"
    for words in (("1,2,3",), ("1,2=3,4,5",), ("1,2,x=3,4,5",)):
        with pytest.raises(ScanRefused, match="no mark"):
            read_request("bracket", scan, "mm", marks=words)
    with pytest.raises(ScanRefused, match="no unit"):
        read_request("bracket", scan, "furlong")
    with pytest.raises(ScanRefused, match="no list of datums"):
        read_request("bracket", scan, "mm", datums="back,,top")
    with pytest.raises(ScanRefused, match="cannot be"):
        scan_opened(opened, read_request("bracket", scan, "mm", scanner_std_mm=-1.0))
    with pytest.raises(ReferenceUnknown, match="no part gone"):
        scan_opened(opened, read_request("gone", scan, "mm"))


def test_lengths_join_faces_that_look_away_from_each_other() -> None:
    def face(name: str, x: float, nx: float, offset: float) -> ScannedFace:
        normal = np.array([nx, 0.0, 0.0])
        return ScannedFace(name, "", np.array([x, 0.0, 0.0]), normal, offset, 0.01, None, None, None, 9)

    one, two, three = face("a", 0.0, -1.0, 0.1), face("b", 80.0, 1.0, 0.2), face("c", 40.0, -1.0, 0.5)
    (length,) = face_lengths((one, two))
    assert (length.nominal_mm, length.change_mm) == (80.0, pytest.approx(0.3))
    assert length.std_mm == pytest.approx(0.01 * 2**0.5)
    assert {item.joints for item in face_lengths((one, two, three))} == {("a", "b"), ("b", "c")}


def test_lengths_of_oblique_faces_say_what_is_not_seen() -> None:
    """Parallel faces: straight across. Others: along the middles, with a strain of 0.5 % aside. Closed forms."""

    def face(name: str, centre: tuple[float, ...], normal: tuple[float, ...], offset: float) -> ScannedFace:
        unit = np.array(normal) / np.linalg.norm(normal)
        return ScannedFace(name, "", np.array(centre), unit, offset, 0.01, None, None, None, 9)

    foot, top = face("foot", (0, 0, 0), (0, 0, -1), -1.0), face("top", (300, 0, 400), (0, 0, 1), -0.7)
    (across,) = face_lengths((foot, top))
    assert (across.nominal_mm, across.change_mm) == (pytest.approx(400.0), pytest.approx(-1.7))
    # How they lean is not seen here: by a strain of 0.5 % of the 300 mm aside, half of it for each face.
    assert across.std_mm == pytest.approx(np.hypot(0.01, 0.5 * 0.005 * 300.0) * 2**0.5)
    # Both lean alike by 0.1 degrees, since the part was laid so: the distance of their planes is what it was.
    lean = np.radians(0.1)
    whole = rotation_from_vector(np.array([0.0, lean, 0.0]))
    leaning = [
        replace(
            item,
            offset_mm=float((whole @ item.centre_mm - item.centre_mm) @ item.normal) + off,
            axes=np.array([[0.0, 1.0, 0.0], np.cross(item.normal, [0.0, 1.0, 0.0])]),
            tilt_deg=(0.1, 0.0),
            tilt_std_deg=(0.01, 0.01),
        )
        for item, off in ((foot, -0.6), (top, -0.4))
    ]
    (laid,) = face_lengths(tuple(leaning))
    assert laid.change_mm == pytest.approx(-1.0, abs=0.003)
    spread = 0.5 * np.radians(0.01) * 300.0 * 2**0.5
    assert laid.std_mm == pytest.approx(np.hypot(0.01 * 2**0.5, spread), rel=1e-3)
    # A sector of 30 degrees: both faces stand 15 degrees off the chord.
    turn = np.radians(15.0)
    start = face("start", (0, 0, 0), (-np.cos(turn), -np.sin(turn), 0), -0.5)
    end = face("end", (200, 0, 0), (np.cos(turn), -np.sin(turn), 0), -0.5)
    (chord,) = face_lengths((start, end))
    assert chord.nominal_mm == pytest.approx(200.0)
    assert chord.change_mm == pytest.approx(-np.cos(turn))
    aside = 0.005 * 200.0 * np.sin(turn) * 2**0.5
    assert chord.std_mm == pytest.approx(np.hypot(0.01 * np.cos(turn) * 2**0.5, aside))
