"""The reference pages against what the program accepts and prints: every key, every option."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
import typer

from building.artefact import record_artefact
from dryfit.cli.main import app
from dryfit.model.material_table import FAMILIES
from dryfit.store.row import Row
from dryfit.store.rows_adhesive import AdhesiveRow
from dryfit.store.rows_characteristic import CharacteristicRow
from dryfit.store.rows_evidence import ObservationRow, RelationRow
from dryfit.store.rows_feature import DimensionRow, FeatureRow, PickRow
from dryfit.store.rows_instrument import InstrumentRow
from dryfit.store.rows_joint import FacesRow, JointRow
from dryfit.store.rows_lens import LensRow
from dryfit.store.rows_machine import ErrorRow, MachineRow, MaterialRow
from dryfit.store.rows_part import AssemblyRow, CompensatedRow, PartRow, ProjectRow, SearchRow
from dryfit.store.rows_photo import PhotoRow
from dryfit.store.tables import TABLES
from dryfit.view.scan import scan_plain
from support.boards import STANDS, write_bad_board, write_boards
from support.command import run as run_command
from support.pictures import pixels, write_picture
from support.projects import document, write_project
from support.scan_reports import full_report

REFERENCE = Path(__file__).resolve().parents[2] / "docs" / "reference"
ROWS: dict[str, type[Row]] = {
    "[project]": ProjectRow,
    "[search]": SearchRow,
    "[[material]]": MaterialRow,
    "[[machine]]": MachineRow,
    "[machine.error]": ErrorRow,
    "[[adhesive]]": AdhesiveRow,
    "[[instrument]]": InstrumentRow,
    "[[lens]]": LensRow,
    "[[photo]]": PhotoRow,
    "[[dimension]]": DimensionRow,
    "[[observation]]": ObservationRow,
    "[[relation]]": RelationRow,
    "[[part]]": PartRow,
    "[part.compensated]": CompensatedRow,
    "[[joint]]": JointRow,
    "[joint.faces]": FacesRow,
    "[[characteristic]]": CharacteristicRow,
    "[[feature]]": FeatureRow,
    "[[feature.faces]]": PickRow,
    "[assembly]": AssemblyRow,
}
# Tables whose keys are names of the project.
BY_NAME = ("mesh_sha256", "as_built.readings_by_part", "minutes_per_reading")
KEY = re.compile(r"^\| `([^`]+)` \|", re.MULTILINE)
MACHINE_AND_MATERIAL = """
[[material]]
id = "pla"
family = "PLA"

[[machine]]
id = "tall"
build_volume_mm = [500, 500, 600]
"""


def keys_under(page: str) -> dict[str, list[str]]:
    """Keys in the tables of a page, by the heading above them."""
    text = (REFERENCE / page).read_text(encoding="utf-8")
    sections = re.split(r"^## +(.+?) *$", text, flags=re.MULTILINE)
    return {head: KEY.findall(body) for head, body in zip(sections[1::2], sections[2::2], strict=True)}


def test_the_page_knows_every_table_of_the_document() -> None:
    stated = {head.strip("[]").partition(".")[0] for head in keys_under("document.md")}
    assert stated == {"schema", *TABLES}
    assert set(ROWS) == set(keys_under("document.md")) - {"schema"}


@pytest.mark.parametrize("table", ROWS)
def test_the_page_lists_the_keys_that_the_document_takes(table: str) -> None:
    assert sorted(keys_under("document.md")[table]) == sorted(ROWS[table].model_fields)


def test_the_page_lists_the_defaults_of_the_search() -> None:
    text = (REFERENCE / "document.md").read_text(encoding="utf-8")
    for name, value in SearchRow().model_dump().items():
        assert re.search(rf"^\| `{name}` \|.*\| {value} \|", text, flags=re.MULTILINE), name


def test_the_page_of_sources_holds_the_material_table() -> None:
    text = (REFERENCE / "sources.md").read_text(encoding="utf-8")
    for row in FAMILIES.values():
        expansion, density, glass = row.expansion_per_k, row.density_g_per_cm3, row.glass_transition_c
        line = (
            f"| {row.family} | {expansion.value * 1e6:g} ({expansion.std * 1e6:g}) "
            f"| {density.value:.2f} ({density.std:g}) | {glass.value:g} ({glass.std:g}) |"
        )
        assert line in text


def commands() -> dict[str, list[str]]:
    """Every command with its options, from the program itself; a group has those of all its commands."""
    group: Any = typer.main.get_command(app)
    return {name: list(options_of(command)) for name, command in group.commands.items()}


def options_of(command: Any) -> Iterator[str]:
    for parameter in command.params:
        yield from (option for option in parameter.opts if option.startswith("--"))
    for inner in getattr(command, "commands", {}).values():
        yield from options_of(inner)


def commands_of_groups() -> list[str]:
    """Such as "feature add"."""
    group: Any = typer.main.get_command(app)
    return [
        f"{name} {inner}"
        for name, command in group.commands.items()
        for inner in getattr(command, "commands", {})
    ]


def test_the_page_of_commands_shows_every_command_and_option() -> None:
    text = (REFERENCE / "commands.md").read_text(encoding="utf-8")
    shown = dict(re.findall(r"^## ([\w-]+)$(.*?)(?=^## |\Z)", text, re.MULTILINE | re.DOTALL))
    assert set(shown) == set(commands())
    for name, options in commands().items():
        for option in options:
            if option != "--help":
                assert option in shown[name], f"{name} {option}"


@pytest.mark.parametrize("words", commands_of_groups())
def test_the_page_of_commands_shows_the_help_of_every_command_in_a_group(words: str) -> None:
    text = (REFERENCE / "commands.md").read_text(encoding="utf-8")
    assert f"$ dryfit {words} --help" in text
    assert f"Usage: dryfit {words} [OPTIONS]" in text


def run(*words: str | Path) -> Any:
    """What a command prints as JSON."""
    return json.loads(run_command(*words, "--json").stdout)


def lose_triangles(path: Path, count: int = 2) -> None:
    """Take the last triangles out of a binary STL file: its surface has a hole then."""
    data = bytearray(path.read_bytes())
    data[80:84] = (int.from_bytes(data[80:84], "little") - count).to_bytes(4, "little")
    path.write_bytes(data[: len(data) - 50 * count])


def keys_of(value: Any, above: str = "") -> Iterator[str]:
    """Paths of all keys; hashes by part count as one key."""
    if isinstance(value, list):
        for item in value:
            yield from keys_of(item, f"{above}[]")
    elif isinstance(value, dict):
        for key, item in value.items():
            path = f"{above}.{'*' if above in BY_NAME else key}".lstrip(".")
            yield path
            yield from keys_of(item, path)


def qualify_twice(folder: Path) -> tuple[Any, Any]:
    """The invented machine qualified from two prints; the second with a blunder and a reading left out."""
    run("demo", folder, "--unqualified")
    for how in ("as-found", "as-trued"):
        run("artefact", "tall", folder, "--readings", "60")
        table = run("demo", folder, "--readings", how)
        run("read", "tall", folder, "--csv", table["file"])
        answer = run("qualify", "tall", folder)
    record = answer["readings"][0]["record"]
    wrong = answer["readings"][-1]
    run(
        "read", "tall", folder, "--correct", wrong["record"], "--value", str(wrong["value_mm"] + 3), "--meant"
    )
    left_out = ("--without", str(record), "--because", "the jaws were tilted")
    return table, run("qualify", "tall", folder, *left_out)


def run_photos(project: Path) -> dict[str, Any]:
    """Answers about a photograph whose sides let a crop be suspected, and whose marks contradict another's."""
    first = write_picture(project.parent / "front.jpg", array=pixels(200, 90))
    second = write_picture(project.parent / "side.jpg", array=pixels(240, 160))
    answers = {"photo add": run("photo", "add", first, second, "--project", project)}
    for number, id in enumerate(("front", "side")):
        words = ("--point", "a=10,20", "--known", f"a={900 * number},0,0,5")
        answers["photo mark"] = run("photo", "mark", id, "--project", project, *words)
    answers["photo sizes"] = measure_wrongly(project)
    return answers | {
        "photo list": run("photo", "list", project),
        "photo check": run("photo", "check", project),
    }


def measure_wrongly(project: Path) -> Any:
    """A size in a plane with one known length too many: measured, suspect, and not used."""
    document = project / "project.toml"
    text = document.read_text(encoding="utf-8") + '\n[[dimension]]\nid = "edge"\n'
    document.write_text(text, encoding="utf-8")
    picture = write_picture(project.parent / "wall.png", array=pixels(320, 240))
    run("photo", "add", picture, "--project", project)
    mark = ("photo", "mark", "wall", "--project", project)
    corners = {"a": (20, 220), "b": (300, 210), "c": (290, 40), "d": (30, 20)}
    places = [word for name, (x, y) in corners.items() for word in ("--point", f"{name}={x},{y}")]
    run(*mark, *places, "--plane", "front=xz", "--in", "front", "--size", "edge=a:c,edge")
    run(*mark, "--line", "l=a:d", "--line", "r=b:c", "--length", "a:d=5 m,9 mm", "--along", "z")
    run(*mark, "--line", "s=a:b", "--line", "t=d:c", "--length", "a:b=8 m,9 mm", "--along", "x")
    run(*mark, "--length", "d:c=9 m,9 mm", "--along", "x")
    return run("photo", "sizes", "--project", project)


def release_and_change(project: Path) -> dict[str, Any]:
    """A release of which a copy is lost; then another scale, a part with another mesh, and one that is turned."""
    run("demo", project)
    released = run("release", project, "--despite", "the walls wait")
    good = ("--result", "good", "--release", "A", "--hours", "30", "--grams", "900")
    run("printed", "wall-1", "--project", project, *good)
    lost = next(item for item in released["release"]["files"] if item["name"].startswith("photos/"))
    (project / "released" / lost["sha256"]).unlink()
    verified = run("release", project, "--verify")
    document = project / "project.toml"
    text = document.read_text(encoding="utf-8").replace('scale = "1:20"', 'scale = "1:21"')
    head, mark, rib = text.partition('id = "rib-2"')
    rib = rib.replace(
        "placement = { euler_xyz_deg = [0, 0, 45] }", "placement = { euler_xyz_deg = [0, 0, 46] }", 1
    )
    text = (head + mark + rib).replace('frame.glb#wall"', 'frame.glb#rib"', 1)
    document.write_text(text, encoding="utf-8")
    return {
        "release": released,
        "release --list": verified,
        "changes": run("changes", "--project", project),
    }


def read_and_inspect(demo: Path) -> dict[str, Any]:
    """Readings of two printed parts, one of which contradicts, and what to read besides; the other is off of itself."""
    wanted = run("inspect", demo)["parts"][0]["readings"][0]
    for off in (0.0, 0.01, 2.0):
        value = str(round(wanted["expected_mm"] + off, 2))
        run(
            "read",
            "wall-1",
            demo,
            "--measure",
            str(wanted["number"]),
            "--value",
            value,
            "--meant",
            "--temp",
            "20",
        )
    run("printed", "rib-1", "-p", demo, "--result", "good")
    other = next(item for item in run("inspect", demo)["parts"] if item["part"] == "rib-1")["readings"][0]
    value = str(round(other["expected_mm"], 2))
    run("read", "rib-1", demo, "--measure", str(other["number"]), "--value", value, "--temp", "20")
    own = run("read", "rib-1", demo, "--own-shape", "0.5", "--because", "warped")
    return {"inspect": run("inspect", demo), "read --own-shape": own}


def mend_and_bond(folder: Path) -> dict[str, Any]:
    """A post that is too short for narrow limits: a remedy is taken; then its joint is dry-fitted and bonded."""
    text = document().replace("limits_mm = [139, 141]", "limits_mm = [140.3, 140.9]")
    project = write_project(folder, text)
    for name in ("base", "post-1"):
        run("printed", name, "-p", project, "--result", "good")
    remedies = run("remedy", "post-1", project)
    taken = run("remedy", "post-1", project, "--take", "1", "--because", "it is hidden")
    joint = ("base:post-1", "-p", project)
    fitted = run("dry-fit", *joint, "--result", "goes", "--gap", "1=0.1")
    bonded = run("bond", *joint, "--as-dry-fitted", "--despite", "a trial")
    return {"remedy": remedies, "remedy --take, --done": taken, "dry-fit": fitted, "bond": bonded}


@pytest.fixture(scope="module")
def printed(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Any]:
    """One answer of every command, by the heading under which its keys are listed."""
    folder = tmp_path_factory.mktemp("json")
    demo, mine = folder / "demo", folder / "mine"
    answers = {"demo": run("demo", demo), "new": run("new", mine, "--scale", "1:20")}
    mesh = demo / "meshes" / "frame.glb"
    document = mine / "project.toml"
    document.write_text(document.read_text(encoding="utf-8") + MACHINE_AND_MATERIAL, encoding="utf-8")
    answers["import"] = run("import", mesh, "--project", mine)
    leave = ("--without", "guide.overall", "--because", "it counts the weather vane", "--what-next")
    suspected = run("schedule", demo)["suspects"]  # with the guide left out there is none
    answers["schedule"] = {**run("schedule", demo, *leave), "suspects": suspected}
    run("schedule", demo, "--restore", "guide.overall")
    answers["parts"] = run("parts", demo)
    height = ("extent", "-p", demo, "--part", "crown", "--along", "0,0,1", "--nominal", "30", "--std", "0.1")
    answers["feature add"] = run("feature", "add", *height, "--look")
    answers |= run_photos(mine)
    boards = write_boards(folder / "boards", STANDS[:4])
    board = ("--columns", "9", "--rows", "6", "--square", "25mm", "--name", "bench", "--look")
    bent = write_bad_board(folder / "bent.png")
    answers["photo lens"] = run("photo", "lens", *boards, bent, *board, "--project", mine)
    table = folder / "survey.csv"
    table.write_text("id,of,value,std\nsurvey,edge,5 m,9 mm\n")
    answers["observation take"] = run("observation", "take", table, "--project", mine, "--look")
    answers["schedule"]["photographs_not_used"] = run("schedule", mine)["photographs_not_used"]
    answers["joints"] = run("joints", demo, "--look")
    answers["printed"] = run("printed", "wall-1", "-p", demo, "--result", "good")
    answers |= read_and_inspect(demo)
    answers |= mend_and_bond(folder / "portal")
    answers["forecast"] = run("forecast", demo)
    answers["ready"] = run("ready", demo)
    answers["since"] = run("since", "--project", demo)
    answers["since --list"] = run("since", "--project", demo, "--list")
    answers["scan"] = scan_plain(full_report(), ["map.ply"])
    answers["compensate"] = run("compensate", "tall", demo)
    answers["orient"] = run("orient", demo, "--grid", "90", "--coarse", "--locators")
    lighter = folder / "lighter"
    run("demo", lighter, "--lighter")
    text = (lighter / "project.toml").read_text(encoding="utf-8")
    (lighter / "project.toml").write_text(
        text.replace('role = "locating"', "proposed = true", 1), encoding="utf-8"
    )
    answers["joints --accept, --refuse"] = run("joints", lighter, "--accept", "all")
    lose_triangles(lighter / "meshes" / "frame-2.stl")
    run("import", lighter / "meshes" / "frame-2.stl", "--project", lighter, "--unit", "mm", "--again")
    answers["mend"] = run("mend", "frame-2", lighter, "--fill-holes-up-to", "1000")
    study = folder / "study.csv"
    study.write_text(
        "person,part,value_mm\n" + "".join(f"{p},{k},{40 * k}.0{k}\n" for p in "ab" for k in (1, 2, 1, 2))
    )
    answers["gauge"] = run("gauge", "caliper-300", demo, "--csv", study)
    answers["artefact"] = run("artefact", "desk", demo, "--out", folder / "out")
    record_artefact(demo)
    answers["read"] = run("read", "tall", demo, "--measure", "1", "--value", "280.3")
    checks = folder / "checks.csv"
    checks.write_text("at,hours,height_mm,xz_gap_mm,bed\n2026-06-01,0,300,-3,ok\n2026-06-09,40,300,-3.1,ok\n")
    answers["preflight"] = run("preflight", "tall", demo, "--file", checks)
    answers["demo --readings"], answers["qualify"] = qualify_twice(folder / "unqualified")
    answers |= release_and_change(folder / "frozen")
    document.write_text("schema = 2\n", encoding="utf-8")
    answers["refusals"] = run("forecast", mine)
    return answers


@pytest.mark.slow
def test_every_command_has_its_keys_listed(printed: dict[str, Any]) -> None:
    assert set(keys_under("json.md")) == set(printed)


@pytest.mark.slow
@pytest.mark.parametrize(
    "command",
    [
        "refusals",
        "new",
        "demo",
        "demo --readings",
        "import",
        "parts",
        "schedule",
        "feature add",
        "photo add",
        "photo list",
        "photo mark",
        "photo check",
        "photo sizes",
        "photo lens",
        "observation take",
        "scan",
        "mend",
        "compensate",
        "artefact",
        "gauge",
        "read",
        "read --own-shape",
        "qualify",
        "preflight",
        "printed",
        "inspect",
        "remedy",
        "remedy --take, --done",
        "dry-fit",
        "bond",
        "joints",
        "joints --accept, --refuse",
        "forecast",
        "orient",
        "ready",
        "since",
        "since --list",
        "release",
        "release --list",
        "changes",
    ],
)
def test_json_has_the_keys_that_the_page_lists(printed: dict[str, Any], command: str) -> None:
    answer = dict(printed[command])
    if command == "ready":
        assert set(keys_of(answer["forecast"])) == set(keys_under("json.md")["forecast"])
        answer["forecast"] = None
    assert sorted(set(keys_of(answer))) == sorted(keys_under("json.md")[command])
