"""The tool that looks at meshes of other people: every file ends in a row, whatever becomes of its process."""

import importlib
import sys
from pathlib import Path

import numpy as np
import pytest

from support.mesh_files import box, stl_binary

TOOLS = Path(__file__).resolve().parents[2] / "tools"


@pytest.fixture(scope="module")
def tool():
    sys.path.insert(0, str(TOOLS))  # where the processes that it starts find it as well
    try:
        yield importlib.import_module("real_meshes")
    finally:
        sys.path.remove(str(TOOLS))


def test_a_file_is_sound_has_faults_or_is_refused_with_the_reason(tool, tmp_path):
    vertices, faces = box((10.0, 20.0, 30.0))
    contents = {
        "sound": stl_binary(vertices, faces),
        "open": stl_binary(vertices, np.delete(faces, 0, axis=0)),
        "cut": stl_binary(vertices, faces)[:-7],
    }
    for name, content in contents.items():
        (tmp_path / f"{name}.stl").write_bytes(content)
    assert tool.say(tmp_path / "sound.stl") == ("answer", 12, ())
    assert tool.say(tmp_path / "open.stl") == ("answer", 11, (("hole", 1),))
    ending, _, ((reason, _),) = tool.say(tmp_path / "cut.stl")
    assert ending == "refusal"
    assert reason
    assert str(tmp_path) not in reason


def test_a_content_is_looked_at_once(tool, tmp_path):
    for name in ("a.stl", "b.STL", "notes.txt"):
        (tmp_path / name).write_bytes(stl_binary(*box()))
    assert [path.name for path in tool.mesh_files(tmp_path)] == ["a.stl"]


def test_files_of_numbered_folders_that_say_the_same_are_one_row(tool):
    rows = [
        tool.Row("p 1", f"many/{n}/{n}.obj", "answer", 10 + n, (("hole", n),), 0.1 * n) for n in (1, 2, 3)
    ]
    rows += [tool.Row("p 1", "one.obj", "refusal", 0, (("cut short", 0),), 0.0)]
    page = tool.page(rows, ["p 1"])
    assert "| 3 files in many/*/ | 11 to 13 | hole 1 to 3 | 0.30 |" in page
    assert "| one.obj | 0 | refused: cut short | 0.00 |" in page
    assert "4 files, 36 triangles: 0 sound, 3 with faults named, 1 refused with the reason, 0 without" in page


@pytest.mark.slow
def test_a_process_that_ends_or_hangs_is_a_row_and_the_next_file_is_answered(tool, tmp_path, monkeypatch):
    good = tmp_path / "good.stl"
    good.write_bytes(stl_binary(*box()))
    desk = tool.Desk()
    assert desk.ask("p", "good", good).ending == "answer"
    desk._process.kill()
    desk._process.join()
    assert desk.ask("p", "killed", good).ending == "failure"
    monkeypatch.setattr(tool, "MOST_S", -5.0)  # no time at all
    late = desk.ask("p", "late", good)
    assert (late.ending, late.says[0][0][:9]) == ("failure", "no answer")
    monkeypatch.setattr(tool, "MOST_S", 60.0)
    assert desk.ask("p", "good", good).ending == "answer"
    desk.close()
