"""The command that compares a scan with its part: what it prints, records and refuses."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from typer.testing import CliRunner

from dryfit.app.ledger_reading import read_records
from dryfit.base.rotation import rotation_from_vector
from dryfit.calc.scans import NominalSurface
from dryfit.cli.main import app
from dryfit.files.mesh import read_meshes
from support.scans import bracket

DOCUMENT = """schema = 1
[project]
name = "Invented"
scale = "1:20"
[[material]]
id = "pla"
family = "PLA"
[[machine]]
id = "tall"
build_volume_mm = [500, 500, 600]
[[part]]
id = "bracket"
mesh = "bracket.stl"
unit = "mm"
machine = "tall"
material = "pla"
"""


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    place = tmp_path_factory.mktemp("scan")
    (place / "project.toml").write_text(DOCUMENT, encoding="utf-8")
    mesh = bracket()
    rows = np.zeros(len(mesh.faces), dtype=[("n", "<f4", 3), ("c", "<f4", (3, 3)), ("a", "<u2")])
    rows["c"] = mesh.vertices[mesh.faces]
    head = b"invented".ljust(80) + len(rows).to_bytes(4, "little")
    (place / "bracket.stl").write_bytes(head + rows.tobytes())
    points, _, _ = NominalSurface(mesh).sample(6000, 5)
    scan = points + 0.03 * np.random.default_rng(2).normal(size=points.shape)
    scan = scan @ rotation_from_vector(np.array([0.4, 2.0, -0.5])).T + [30.0, 10.0, 400.0]
    np.savetxt(place / "scan.txt", scan, fmt="%.4f", header="invented")
    return place


def run(*words: object) -> Any:
    return CliRunner().invoke(app, ["scan", *map(str, words)])


@pytest.mark.slow
def test_a_scan_is_laid_compared_mapped_and_recorded(folder: Path) -> None:
    files = ("--map", folder / "map.ply", "--map", folder / "map.svg")
    done = run("bracket", folder / "scan.txt", "-p", folder, "--unit", "mm", *files, "--json")
    assert done.exit_code == 0, done.output
    plain = json.loads(done.stdout)
    assert plain["state"] == "pass"
    assert not plain["is_ambiguous"]
    assert plain["share_on_part"] > 0.98
    assert plain["within_95_mm"] < 0.04
    assert [record.id for record in read_records(folder, "scan")] == [plain["record"]]
    coloured = read_meshes(folder / "map.ply", "mm").objects[0]
    np.testing.assert_allclose(
        np.ptp(coloured.vertices, axis=0), np.ptp(bracket().vertices, axis=0), atol=1e-3
    )
    assert "<svg" in (folder / "map.svg").read_text(encoding="utf-8")


REFUSED = {
    "no unit": (("scan.txt",), "Likeliest first: as millimetres"),
    "wrong unit": (("scan.txt", "--unit", "m"), "as millimetres it would have its size"),
    "no unit known": (("scan.txt", "--unit", "ell"), "no unit known here"),
    "no file": (("gone.xyz", "--unit", "mm"), "no such mesh file"),
    "a map of another kind": (("scan.txt", "--unit", "mm", "--map", "map.png"), "not written as .png"),
    "a mark of two numbers": (("scan.txt", "--unit", "mm", "--mark", "1,2=3,4"), "no mark"),
    "a negative reach": (("scan.txt", "--unit", "mm", "--reach", "-1"), "cannot be"),
}


@pytest.mark.parametrize("case", REFUSED)
def test_what_cannot_be_is_refused_and_nothing_recorded(folder: Path, case: str) -> None:
    (file, *options), words = REFUSED[case]
    before = len(read_records(folder, "scan"))
    done = run("bracket", folder / file, "-p", folder, *options, "--json")
    assert done.exit_code == 2
    assert words in json.loads(done.stdout)["refused"]["what"]
    assert len(read_records(folder, "scan")) == before
