"""Arguments and options that several commands share."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

ProjectPath = Annotated[Path, typer.Argument(metavar="[PROJECT]", help="Project folder or its project.toml.")]
ProjectOption = Annotated[Path, typer.Option("--project", "-p", help="Project folder or its project.toml.")]
NamedProject = Annotated[
    Path | None,
    typer.Option("--project", "-p", help="The same, as the other commands of this group have it."),
]
JsonFlag = Annotated[bool, typer.Option("--json", help="Print JSON and nothing else.")]
WhatIf = Annotated[
    list[str] | None,
    typer.Option(
        "--what-if", help="Vary one value, e.g. tall.skew_xz_deg=0 or ring-1.bed=0,0,90. Repeatable."
    ),
]
Unrecorded = Annotated[bool, typer.Option("--unrecorded", help="Keep no record of this run in the ledger.")]


def one_project(positional: Path, named: Path | None) -> Path:
    """The project, named in one way or the other. Raises ReferenceUnknown where both name different ones."""
    from dryfit.base.errors import ReferenceUnknown

    if named is None:
        return positional
    if positional not in (Path(), named):
        what = f"two projects are named: {positional} and {named}"
        raise ReferenceUnknown(what, "the command line", "name one, as PROJECT or with --project")
    return named
