"""Commands that make and fill a project folder."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from dryfit.cli.options import JsonFlag, ProjectOption
from dryfit.cli.show import progress, refusing, show, show_json


def new(
    directory: Annotated[Path, typer.Argument(metavar="DIR", help="Folder to make.")],
    name: Annotated[str | None, typer.Option(help="Name of the project; default: the folder's.")] = None,
    scale: Annotated[str, typer.Option(help="Model : prototype, such as 1:20.")] = "1:1",
    json: JsonFlag = False,
) -> None:
    """Make a project folder."""
    with refusing(json):
        from dryfit.app.creation import create_project
        from dryfit.view.creation import created_blocks
        from dryfit.view.plain import to_plain

        report = create_project(directory, name, scale)
    if json:
        show_json(to_plain(report))
    else:
        show(created_blocks(report))


def demo(
    directory: Annotated[Path, typer.Argument(metavar="[DIR]", help="Folder to make.")] = Path("demo"),
    lighter: Annotated[
        bool, typer.Option("--lighter", help="The long hull instead of the observatory.")
    ] = False,
    unqualified: Annotated[
        bool, typer.Option("--unqualified", help="The observatory with a machine that nobody measured yet.")
    ] = False,
    as_built: Annotated[
        bool,
        typer.Option(
            "--as-built", help="The observatory weeks later: released, five of twelve ribs printed."
        ),
    ] = False,
    readings: Annotated[
        str | None,
        typer.Option(
            metavar="HOW",
            help="In a demonstration that is there: a table of invented readings of its artefact, printed as-found "
            "or as-trued.",
        ),
    ] = None,
    json: JsonFlag = False,
) -> None:
    """Write an invented project to try everything on."""
    with refusing(json):
        from dryfit.app.demo import choose_demo, write_demo
        from dryfit.app.demo_machine import choose_print, write_invented_readings
        from dryfit.view.demonstration import demo_blocks, invented_blocks
        from dryfit.view.plain import to_plain

        which = choose_demo(lighter, unqualified, readings is not None, as_built)
        if readings is not None:
            invented = write_invented_readings(directory, choose_print(readings))
            plain, blocks = to_plain(invented), invented_blocks(invented)
        else:
            report = write_demo(directory, which)
            plain, blocks = to_plain(report), demo_blocks(report, which)
    if json:
        show_json(plain)
    else:
        show(blocks)


def import_(
    files: Annotated[list[Path], typer.Argument(metavar="FILE...", help="STL, 3MF, OBJ, PLY, glTF or GLB.")],
    project: ProjectOption = Path(),
    machine: Annotated[str | None, typer.Option(help="Machine that prints these parts.")] = None,
    material: Annotated[str | None, typer.Option(help="Material that they are printed in.")] = None,
    unit: Annotated[
        str | None, typer.Option(help="um, mm, cm, m, in or ft, where the format states none.")
    ] = None,
    again: Annotated[bool, typer.Option("--again", help="Take changed files once more.")] = False,
    json: JsonFlag = False,
) -> None:
    """Read mesh files and add their objects as parts."""
    with refusing(json):
        from dryfit.app.importing import check_unit, import_meshes
        from dryfit.view.plain import to_plain
        from dryfit.view.reports import import_blocks

        report = import_meshes(
            project, files, machine, material, check_unit(unit), again, progress("reading")
        )
    if json:
        show_json(to_plain(report))
    else:
        show(import_blocks(report))
