"""Arguments and options that several commands share."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

ProjectPath = Annotated[Path, typer.Argument(metavar="[PROJECT]", help="Project folder or its project.toml.")]
ProjectOption = Annotated[Path, typer.Option("--project", "-p", help="Project folder or its project.toml.")]
JsonFlag = Annotated[bool, typer.Option("--json", help="Print JSON and nothing else.")]
WhatIf = Annotated[
    list[str] | None,
    typer.Option(
        "--what-if", help="Vary one value, e.g. tall.skew_xz_deg=0 or ring-1.bed=0,0,90. Repeatable."
    ),
]
Unrecorded = Annotated[bool, typer.Option("--unrecorded", help="Keep no record of this run in the ledger.")]
