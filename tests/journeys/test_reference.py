"""The reference pages against what the program accepts and prints: every key, every option."""

from __future__ import annotations

import json
import re
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
import typer

from dryfit.cli.main import app
from dryfit.model.material_table import FAMILIES
from dryfit.store.row import Row
from dryfit.store.rows_characteristic import CharacteristicRow
from dryfit.store.rows_joint import FacesRow, JointRow
from dryfit.store.rows_machine import ErrorRow, MachineRow, MaterialRow
from dryfit.store.rows_part import AssemblyRow, PartRow, ProjectRow, SearchRow
from dryfit.store.tables import TABLES

REFERENCE = Path(__file__).resolve().parents[2] / "docs" / "reference"
ROWS: dict[str, type[Row]] = {
    "[project]": ProjectRow,
    "[search]": SearchRow,
    "[[material]]": MaterialRow,
    "[[machine]]": MachineRow,
    "[machine.error]": ErrorRow,
    "[[part]]": PartRow,
    "[[joint]]": JointRow,
    "[joint.faces]": FacesRow,
    "[[characteristic]]": CharacteristicRow,
    "[assembly]": AssemblyRow,
}
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
    """Every command with its options, from the program itself."""
    group: Any = typer.main.get_command(app)
    return {
        name: [option for parameter in command.params for option in parameter.opts if option.startswith("--")]
        for name, command in group.commands.items()
    }


def test_the_page_of_commands_shows_every_command_and_option() -> None:
    text = (REFERENCE / "commands.md").read_text(encoding="utf-8")
    shown = dict(re.findall(r"^## (\w+)$(.*?)(?=^## |\Z)", text, re.MULTILINE | re.DOTALL))
    assert set(shown) == set(commands())
    for name, options in commands().items():
        for option in options:
            if option != "--help":
                assert option in shown[name], f"{name} {option}"


def run(*words: str | Path) -> Any:
    """What a command prints as JSON."""
    program = "from dryfit.cli.main import main; main()"
    done = subprocess.run(
        [sys.executable, "-c", program, *map(str, words), "--json"],
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode in (0, 1, 2), done.stderr
    return json.loads(done.stdout)


def keys_of(value: Any, above: str = "") -> Iterator[str]:
    """Paths of all keys; hashes by part count as one key."""
    if isinstance(value, list):
        for item in value:
            yield from keys_of(item, f"{above}[]")
    elif isinstance(value, dict):
        for key, item in value.items():
            path = f"{above}.{'*' if above == 'mesh_sha256' else key}".lstrip(".")
            yield path
            yield from keys_of(item, path)


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
    answers["joints"] = run("joints", demo, "--look")
    answers["forecast"] = run("forecast", demo)
    answers["ready"] = run("ready", demo)
    answers["since"] = run("since", "--project", demo)
    answers["since --list"] = run("since", "--project", demo, "--list")
    answers["orient"] = run("orient", demo, "--grid", "90", "--coarse", "--locators")
    lighter = folder / "lighter"
    run("demo", lighter, "--lighter")
    text = (lighter / "project.toml").read_text(encoding="utf-8")
    (lighter / "project.toml").write_text(
        text.replace('role = "locating"', "proposed = true", 1), encoding="utf-8"
    )
    answers["joints --accept, --refuse"] = run("joints", lighter, "--accept", "all")
    document.write_text("schema = 2\n", encoding="utf-8")
    answers["refusals"] = run("forecast", mine)
    return answers


def test_every_command_has_its_keys_listed(printed: dict[str, Any]) -> None:
    assert set(keys_under("json.md")) == set(printed)


@pytest.mark.parametrize(
    "command",
    [
        "refusals",
        "new",
        "demo",
        "import",
        "joints",
        "joints --accept, --refuse",
        "forecast",
        "orient",
        "ready",
        "since",
        "since --list",
    ],
)
def test_json_has_the_keys_that_the_page_lists(printed: dict[str, Any], command: str) -> None:
    answer = dict(printed[command])
    if command == "ready":
        assert set(keys_of(answer["forecast"])) == set(keys_under("json.md")["forecast"])
        answer["forecast"] = None
    assert sorted(set(keys_of(answer))) == sorted(keys_under("json.md")[command])
