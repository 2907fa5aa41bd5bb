"""What a careless or hostile user hands to the command: a clear refusal or an honest answer, never a traceback."""

import os
import shutil
from pathlib import Path

import pytest

from support.command import refusal, run, run_json
from support.projects import (
    ASSEMBLY,
    CHARACTERISTICS,
    HEAD,
    JOINTS,
    MACHINE,
    MATERIAL,
    PORTAL,
    contents,
    document,
    glb_bytes,
    joint_row,
    part_row,
    stl_bytes,
    write_project,
)

VERBS = ("forecast", "ready", "joints", "orient")
HEIGHT = CHARACTERISTICS.split("\n\n")[0]
STANDING = [part_row(name) for name in ("base", "post-1", "post-2")]
GROUND_FACE = "[joint.faces]\npoints_mm = [[0, 0, 0], [200, 0, 0], [200, 60, 0]]\nnormal = [0, 0, 1]\n"


def characteristic(kind: str, **keys: str) -> str:
    rows = "\n".join(f"{key} = {value}" for key, value in keys.items())
    return f'{CHARACTERISTICS}\n[[characteristic]]\nid = "odd"\nkind = "{kind}"\n{rows}\n'


def scaled(factor: float, shift: float = 0.0):
    return {
        name: (tuple(factor * x for x in size), tuple(factor * x + shift for x in origin))
        for name, (size, origin) in PORTAL.items()
    }


def machine(old: str, new: str) -> str:
    assert old in MACHINE
    return document(machine=MACHINE.replace(old, new, 1))


# name: (document, bodies or None for the portal, exit status of the forecast, words of it)
ANSWERED = {
    "no parts": (
        document(parts="", joints="", characteristics="", assembly=""),
        {},
        1,
        "nothing to forecast",
    ),
    "one part": (
        document(parts=STANDING[0], joints="", characteristics="", assembly=""),
        None,
        1,
        "nothing to",
    ),
    "parts without joints": (document(joints="", characteristics=HEIGHT), None, 1, "undetermined"),
    "two joints between the same parts": (
        document(joints=JOINTS + joint_row("base", "post-1", id="again")),
        None,
        1,
        "lintel-height",
    ),
    "ground joints only": (
        document(joints=joint_row("ground", "base") + GROUND_FACE, characteristics=HEIGHT),
        None,
        1,
        "undetermined",
    ),
    "closing joints only": (
        document(joints=joint_row("base", "post-1", role='"closing"'), characteristics=HEIGHT),
        None,
        1,
        "undetermined",
    ),
    "a hundred kilometres": (None, scaled(1e5), 1, "lintel-height"),
    "far from the origin": (None, scaled(1.0, 1e7), 1, "lintel-height"),
    "a thousandth of a millimetre": (
        document(head=HEAD + "[search]\nmin_area_mm2 = 1e-12\nmax_gap_mm = 1e-6\n"),
        scaled(1e-5),
        1,
        "lintel-height",
    ),
    "a lean of 44.9 degrees along X": (machine("skew_xz_deg = 0.4", "skew_xz_deg = 44.9"), None, 1, "plumb"),
    "a lean of -44.9 degrees along X": (
        machine("skew_xz_deg = 0.4", "skew_xz_deg = -44.9"),
        None,
        1,
        "plumb",
    ),
    "a lean of 44.9 degrees along Y": (machine("skew_yz_deg = 0.0", "skew_yz_deg = 44.9"), None, 1, "plumb"),
    "a shear of 44.9 degrees": (machine("skew_xy_deg = 0.0", "skew_xy_deg = 44.9"), None, 1, "plumb"),
    "a shrinkage of 0.4": (
        document(material=MATERIAL.replace("shrinkage = 0.0", "shrinkage = 0.4")),
        None,
        1,
        "88.00(",
    ),
    "a huge uncertainty": (machine("skew_xz_deg = 0.02", "skew_xz_deg = 1e8"), None, 1, "plumb"),
    "no play": (
        document(
            joints=JOINTS.replace("play_mm = 0.03", "play_mm = 0.0").replace(
                "play_mm = 0.05", "play_mm = 0.0"
            )
        ),
        None,
        1,
        "plumb",
    ),
    "no risk": (document(head=f"{HEAD}risk = 0.0\n"), None, 1, "3 of 3"),
    "every risk": (document(head=f"{HEAD}risk = 1.0\n"), None, 0, "all 3"),
}


@pytest.mark.parametrize("name", ANSWERED)
def test_it_answers(tmp_path, name):
    text, bodies, status, words = ANSWERED[name]
    meshes = None if bodies is None else {"meshes/portal.glb": glb_bytes(bodies)} if bodies else {}
    folder = write_project(tmp_path, text, meshes)
    result = run("forecast", folder, "--unrecorded")
    assert result.exit_code == status
    assert words in result.stdout
    assert "nan" not in result.stdout
    for verb in VERBS:
        assert "refused" not in run_json(verb, folder)[1] or verb == "orient"


PARALLEL = "[[0, 0, 1], [0, 0, 1]]"
# name: (document, bodies or None, words of the refusal)
REFUSED = {
    "an order that does not start with the datum": (
        document(assembly='[assembly]\ndatum = "base"\norder = ["post-1", "base", "post-2", "lintel"]\n'),
        None,
        "not with the datum",
    ),
    "a part that is not in the file": (
        document(parts="".join(STANDING) + part_row("lintel", reference="meshes/portal.glb#lintle")),
        None,
        "did you mean 'lintel'",
    ),
    "a file that is not there": (
        document(parts="".join(STANDING) + part_row("lintel", reference="meshes/nope.glb#lintel")),
        None,
        "no such",
    ),
    "a folder as mesh": (
        document(parts="".join(STANDING) + part_row("lintel", reference="meshes")),
        None,
        "folder",
    ),
    "a mesh outside the project": (
        document(parts="".join(STANDING) + part_row("lintel", reference="../../portal.glb#lintel")),
        None,
        "leaves the project folder",
    ),
    "a mesh by absolute path": (
        document(parts="".join(STANDING) + part_row("lintel", reference="/etc/hostname")),
        None,
        "not relative",
    ),
    "joints whose parts do not touch": (
        None,
        {**PORTAL, "lintel": ((200.0, 60.0, 20.0), (0.0, 0.0, 500.0))},
        "no mating faces",
    ),
    "all parts in one place": (
        None,
        {name: (size, (0.0, 0.0, 0.0)) for name, (size, _) in PORTAL.items()},
        "no mating faces",
    ),
    "parallel axes of an angle": (
        document(
            characteristics=characteristic(
                "angle", parts='["base", "post-1"]', axes=PARALLEL, limits_deg="[-1, 1]"
            )
        ),
        None,
        "parallel",
    ),
    "a step out of the plane": (
        document(characteristics=CHARACTERISTICS.replace("direction = [1, 0, 0]", "direction = [0, 0, 1]")),
        None,
        "out of the plane",
    ),
    "a distance from a point to itself": (
        document(
            characteristics=characteristic(
                "distance",
                parts='["base", "post-1"]',
                points_mm="[[0, 0, 0], [0, 0, 0]]",
                limits_mm="[-1, 1]",
            )
        ),
        None,
        "coincide",
    ),
    "a circle through points in line": (
        document(
            characteristics=characteristic(
                "diameter",
                parts='["base", "base", "base"]',
                points_mm="[[0, 0, 0], [1, 0, 0], [2, 0, 0]]",
                limits_mm="[-1, 1]",
            )
        ),
        None,
        "on one line",
    ),
    "a number beyond all bounds": (
        machine("repeatability_mm = 0.03", "repeatability_mm = 1e200"),
        None,
        "too large",
    ),
    "an uncertainty beyond all bounds": (
        machine("skew_xz_deg = 0.02", "skew_xz_deg = 1e300"),
        None,
        "too large",
    ),
    "a lean beyond 45 degrees": (machine("skew_xz_deg = 0.4", "skew_xz_deg = 89.9"), None, "less than 45"),
    "a temperature that no printed part stands": (
        document(assembly=f"{ASSEMBLY}temp_c = 1e9\ntemp_std_c = 1.0\n"),
        None,
        "more than 300",
    ),
}


@pytest.mark.parametrize("name", REFUSED)
def test_it_refuses(tmp_path, name):
    text, bodies, words = REFUSED[name]
    folder = write_project(
        tmp_path, text, None if bodies is None else {"meshes/portal.glb": glb_bytes(bodies)}
    )
    before = contents(folder)
    for verb in ("forecast", "ready", "orient"):
        refused = refusal(verb, folder)
        everything = str(refused)
        assert words in everything
    assert contents(folder) == before


WHAT_IFS = [
    "", "=", "tall.skew_xz_deg", "tall.skew_xz_deg=", "tall.skew_xz_deg=nan", "tall.skew_xz_deg=1e999",
    "tall.skew_xz_deg=x", "tall.skew_xz_deg=45", "tall.skew_xz_deg=-90", "tall.scale_x=-1", "tall.scale_z=0.5",
    "tall.skew_xz_deg=0+--1", "tall.skew_xz_deg=0+-", "tall.skew_xz_deg=0+-1e300", "tall.repeatability_mm=-1",
    "tall.repeatability_mm=1e300", "pla.shrinkage=1", "pla.expansion_per_k=1", "assembly.temp_c=-300",
    "assembly.temp_c=1e300", "post-1.bed=0,0", "post-1.bed=a,b,c", "post-1.bed=1e300,0,0", "post-1.machine=nope",
    "post-1.material=nope", "base:post-1.locators=nope", "base:post-1.locator_axis=x", "base:post-1.role=x",
    "base:post-1.bond_line_mm=-1", "base:post-1.contact_play_mm=-1", "base:post-1.locator_play_mm=nan", "\udcff.x=1",
]  # fmt: skip


@pytest.fixture(scope="module")
def stated(tmp_path_factory):
    return write_project(tmp_path_factory.mktemp("portal"))


@pytest.mark.parametrize("change", WHAT_IFS)
def test_a_what_if_that_cannot_be(stated, change):
    refusal("forecast", stated, "--what-if", change)


@pytest.mark.parametrize("verb", VERBS)
class TestFolders:
    def test_missing(self, tmp_path, verb):
        assert "dryfit new" in refusal(verb, tmp_path / "nowhere")["do"]

    def test_a_file(self, tmp_path, verb):
        (tmp_path / "file").write_text("x")
        refusal(verb, tmp_path / "file")

    def test_a_document_that_is_a_folder(self, tmp_path, verb):
        (tmp_path / "project.toml").mkdir()
        assert "directory" in str(refusal(verb, tmp_path))

    def test_links_in_a_circle(self, tmp_path, verb):
        (tmp_path / "project.toml").symlink_to("project.toml")
        (tmp_path / "loop").symlink_to("loop")
        refusal(verb, tmp_path)
        refusal(verb, tmp_path / "loop")

    def test_no_text(self, tmp_path, verb):
        (tmp_path / "project.toml").write_bytes(b"\xff\xfe\x00")
        assert "UTF-8" in str(refusal(verb, tmp_path))


def test_folders_that_cannot_be_made(tmp_path):
    (tmp_path / "file").write_text("x")
    (tmp_path / "loop").symlink_to("loop")
    for bad in ("file", "file/x", "a/b/c", "loop", "x" * 300, os.fsdecode(b"n\xff")):
        refusal("new", tmp_path / bad)
    assert {path.name for path in tmp_path.iterdir()} == {"file", "loop"}


def test_a_folder_with_an_odd_name(tmp_path):
    folder = tmp_path / 'a "b" ü \\ #c'
    assert run("new", folder).exit_code == 0
    assert run_json("forecast", folder)[1]["project"] == 'a "b" ü \\ #c'


def test_a_mesh_that_links_to_itself(tmp_path):
    folder = write_project(tmp_path)
    (folder / "meshes/portal.glb").unlink()
    (folder / "meshes/portal.glb").symlink_to("portal.glb")
    refusal("forecast", folder)
    refusal("import", folder / "meshes/portal.glb", "-p", folder, "--again")


def test_a_file_where_meshes_should_be(tmp_path):
    folder = write_project(tmp_path / "p", document(parts="", joints="", characteristics="", assembly=""), {})
    shutil.rmtree(folder / "meshes")
    (folder / "meshes").write_text("x")
    (tmp_path / "shim.stl").write_bytes(stl_bytes())
    before = contents(folder)
    refusal("import", tmp_path / "shim.stl", "-p", folder, "--unit", "mm")
    assert contents(folder) == before


@pytest.mark.parametrize("damage", ["folder", "junk", "cut"])
def test_a_ledger_that_is_none(tmp_path, damage):
    folder = write_project(tmp_path)
    ledger = folder / "ledger.db"
    if damage == "folder":
        ledger.mkdir()
    elif damage == "junk":
        ledger.write_bytes(b"x" * 5000)
    else:
        run("forecast", folder)
        run("forecast", folder)
        ledger.write_bytes(ledger.read_bytes()[:3000])
    assert "ledger" in refusal("forecast", folder)["where"]
    assert "ledger" in refusal("ready", folder)["where"]
    assert "ledger" in refusal("since", "-p", folder)["where"]
    assert run("forecast", folder, "--unrecorded", "--without-readings").exit_code == 1


NAMES = {
    "with space.stl": "with space", "Träger 1.stl": "Tr-ger 1", 'quote".stl': "quote", "a&b;c.stl": "a-b-c",
    "x.STL": "x", "模型.stl": None, "hash#1.stl": None, "new\nline.stl": None, "esc\x1b[31m.stl": None,
    "ground.stl": None, "-.stl": None, os.fsdecode(b"m\xff1.stl"): None, "back\\slash.stl": None,
}  # fmt: skip


@pytest.mark.parametrize("name", NAMES)
def test_odd_file_names(tmp_path, name):
    """Imported under a name that the document can hold, or refused; either way the project stays readable."""
    folder = write_project(tmp_path / "p", document(parts="", joints="", characteristics="", assembly=""), {})
    before = contents(folder)
    file = tmp_path / name
    file.write_bytes(stl_bytes())
    wanted = NAMES[name]
    if wanted is None:
        refusal("import", file, "-p", folder, "--unit", "mm")
        assert contents(folder) == before
    else:
        _, report = run_json("import", file, "-p", folder, "--unit", "mm")
        assert report["parts"][0]["id"] == wanted
        assert run("ready", folder).exit_code == 0


@pytest.mark.parametrize("path", ["nope.stl", ".", "/dev/null"])
def test_files_that_are_no_meshes(tmp_path, path):
    folder = write_project(tmp_path / "p")
    refusal("import", Path(path) if path.startswith("/") else tmp_path / path, "-p", folder)


def test_a_document_that_cannot_be_written_says_so(tmp_path, monkeypatch):
    folder = write_project(tmp_path)
    before = contents(folder)

    def refuse(*paths):
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr("os.replace", refuse)
    refused = refusal("orient", folder, "--write")
    assert "Permission denied" in refused["what"]
    assert contents(folder) == before
