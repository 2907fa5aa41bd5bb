"""The command that designs a test artefact for a machine."""

from __future__ import annotations

from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer

from dryfit.cli.options import JsonFlag, ProjectPath
from dryfit.cli.show import progress, refusing, show, show_json


class Aim(StrEnum):
    """What the readings are chosen for."""

    D = "D"
    A = "A"
    PROJECT = "project"


def artefact(
    machine: Annotated[str, typer.Argument(metavar="MACHINE", help="Machine to be measured.")],
    project: ProjectPath = Path(),
    mass: Annotated[float, typer.Option(metavar="G", help="Most plastic to use.")] = 400.0,
    hours: Annotated[float, typer.Option(metavar="H", help="Most printing time.")] = 24.0,
    flow: Annotated[
        float | None,
        typer.Option(metavar="MM3/S", help="Plastic laid down per second, to estimate the time."),
    ] = None,
    material: Annotated[str | None, typer.Option(metavar="ID", help="Material to print it in.")] = None,
    instrument: Annotated[
        list[str] | None,
        typer.Option(metavar="ID", help="Instrument at hand, by id or kind; may be repeated."),
    ] = None,
    readings: Annotated[int, typer.Option(metavar="N", help="Readings to take in all.")] = 48,
    aim: Annotated[
        Aim, typer.Option(help="Choose readings for all figures (D, A) or for this project's limits.")
    ] = Aim.D,
    out: Annotated[
        Path | None,
        typer.Option(metavar="DIR", help="Folder to write to; default: artefacts in the project."),
    ] = None,
    look: Annotated[bool, typer.Option("--look", help="Only show it; write and record nothing.")] = False,
    json: JsonFlag = False,
) -> None:
    """Design a body to print and measure, and say what its readings will tell."""
    with refusing(json):
        from dryfit.app.artefact import ArtefactOptions, design_artefact, issue_artefact
        from dryfit.view.artefact import artefact_blocks, artefact_plain
        from dryfit.view.artefact_sheet import artefact_sheet

        options = ArtefactOptions(mass, hours, flow, material, tuple(instrument or ()), readings, aim.value)
        reading = progress("reading the project")
        if look:
            report = design_artefact(project, machine, options, reading)
        else:
            report = issue_artefact(project, machine, artefact_sheet, options, out, reading)
        if json:
            show_json(artefact_plain(report))
        else:
            show(artefact_blocks(report))
