"""From the first release to the price of a change, at the command line; and kill -9 in between."""

from __future__ import annotations

import random
import signal
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import pytest

from dryfit.app.releases import read_releases
from dryfit.store.released import find_faults, list_copies
from support.command import refusal, run, run_json
from support.mesh_files import box, stl_binary
from support.projects import PORTAL, document, part_row, write_project


def stl(name: str, taller_mm: float = 0.0) -> bytes:
    size, origin = PORTAL[name]
    vertices, faces = box(size, origin)
    points = np.array(vertices, dtype=float)
    points[points[:, 2] > points[:, 2].max() - 1e-6, 2] += taller_mm
    return stl_binary(points, faces)


@pytest.fixture
def project(tmp_path: Path) -> Path:
    rows = "".join(part_row(name, reference=f"meshes/{name}.stl", unit='"mm"') for name in PORTAL)
    meshes = {f"meshes/{name}.stl": stl(name) for name in PORTAL}
    return write_project(tmp_path / "portal", document(parts=rows), meshes)


@pytest.mark.slow
def test_the_story_of_a_change(project: Path) -> None:
    """Released, printed, changed: what is lost and what it costs; then released again."""
    status, listed = run_json("release", project, "--list")
    assert (status, listed["releases"]) == (0, [])
    assert "nothing was released yet" in refusal("changes", "--project", project)["what"]
    assert "--despite" in refusal("release", project)["do"]
    status, made = run_json(
        "release", project, "--despite", "a trial", "--by", "Ann", "--because", "first prints"
    )
    assert (status, made["new"], made["release"]["letter"]) == (0, True, "A")
    assert "nothing has changed since release A" in run("release", project, "--despite", "again").stdout

    for name in ("base", "lintel"):
        assert run("printed", name, "--project", project, "--result", "good", "--release", "A", "--hours", 7,
                   "--grams", 90).exit_code == 0  # fmt: skip
    text = (project / "project.toml").read_text(encoding="utf-8")
    (project / "project.toml").write_text(text.replace("limits_mm = [139, 141]", "limits_mm = [139, 142]"))
    harmless = run("changes", "--project", project)
    assert harmless.exit_code == 0
    first = harmless.stdout.splitlines()[0]
    assert "nothing printed is touched: all 2 printed parts stay good" in first
    assert "limits (139, 141) -> (139, 142) mm" in harmless.stdout

    (project / "meshes" / "lintel.stl").write_bytes(stl("lintel", 4.0))
    costly = run("changes", "--project", project)
    assert costly.exit_code == 1
    assert "of 2 printed parts, 1 lost, 1 stays good" in costly.stdout.splitlines()[0]
    assert "Lost: 7 h, 90 g." in costly.stdout
    status, plain = run_json("changes", "--project", project)
    assert (status, plain["state"]) == (1, "stop")
    (lost,) = [piece for piece in plain["printed"] if piece["state"] == "lost"]
    assert lost["part"] == "lintel"
    assert plain["to_come"][0]["grams"]["value"] == pytest.approx(108.0, rel=1e-3)

    assert run_json("release", project, "--despite", "taller")[1]["release"]["letter"] == "B"
    status, between = run_json("changes", "A", "B", "--project", project)
    assert (status, between["before"]["letter"], between["after"]["letter"]) == (1, "A", "B")
    (changed,) = [part for part in between["parts"] if part["kind"] == "changed"]
    assert changed["deviation"]["largest_mm"] == pytest.approx(4.0, abs=1e-4)
    assert run("changes", "b", "b", "--project", project).stdout.splitlines()[0].endswith("nothing differs")
    assert run("changes", "--fill", 5, "--project", project, "A").exit_code == 0

    listed = run("release", project, "--list").stdout
    assert "first prints" in listed
    assert "Ann" in listed


def test_a_copy_that_was_tampered_with_is_told(project: Path) -> None:
    run("release", project, "--despite", "a trial")
    assert "Every frozen copy is what was released" in run("release", project, "--verify").stdout
    victim = next(path for path in (project / "released").iterdir() if path.read_bytes() == stl("base"))
    victim.chmod(0o644)
    victim.write_bytes(stl("base", 1.0))
    status, plain = run_json("release", project, "--verify")
    assert status == 1
    assert [fault["name"] for fault in plain["damaged_copies"]] == ["meshes/base.stl"]
    assert run("changes", "--project", project).exit_code == 1


def test_refusals_of_a_release(project: Path) -> None:
    assert refusal("release", project, "--parts", "base,roof")["what"] == 'there is no part "roof"'
    assert "Q" in refusal("release", project, "--letter", "Q", "--despite", "x")["do"]
    run("release", project, "--despite", "a trial")
    assert refusal("changes", "C", "--project", project)["what"] == 'there is no release "C"'


RELEASER = """
import sys
from pathlib import Path
sys.path[:0] = sys.argv[2:]
from journeys.test_release_journey import stl
from dryfit.app.releasing import ReleaseOrder, release_parts
project = Path(sys.argv[1])
for number in range(1, 1000):
    (project / "meshes" / "lintel.stl").write_bytes(stl("lintel", 0.0001 * number))
    report = release_parts(project, ReleaseOrder(despite="a trial"))
    print(report.release.letter, flush=True)
"""


@pytest.mark.slow
@pytest.mark.skipif(not hasattr(signal, "SIGKILL"), reason="needs kill -9")
def test_a_release_that_is_killed_is_whole_or_not_there(project: Path) -> None:
    """Whatever was said to be released is there; what the ledger has, has all its copies; the next run succeeds."""
    draw = random.Random(time.time_ns())
    tests = str(Path(__file__).resolve().parents[1])
    for _ in range(2):
        command = [sys.executable, "-c", RELEASER, str(project), tests]
        with subprocess.Popen(command, stdout=subprocess.PIPE, encoding="utf-8") as process:
            assert process.stdout is not None
            said = [process.stdout.readline().strip() for _ in range(3)]
            time.sleep(draw.uniform(0.0, 0.4))
            process.send_signal(signal.SIGKILL)
            said += process.stdout.read().split()
        releases = read_releases(project)
        assert set(said) <= {release.letter for release in releases}
        assert all(find_faults(project, release.copies) == () for release in releases)
        assert find_faults(project, [(name, name) for name in list_copies(project)]) == ()
    (project / "meshes" / "lintel.stl").write_bytes(stl("lintel", 0.5))
    assert run("release", project, "--despite", "a trial").exit_code == 0
    assert run("release", project, "--verify").exit_code == 0
