"""The command that opens the workbench."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from dryfit.cli.options import ProjectPath
from dryfit.cli.show import refusing


def serve(
    project: ProjectPath = Path(),
    port: Annotated[
        int | None, typer.Option(min=1, max=65535, help="Port to listen on; default: the first free one.")
    ] = None,
    share: Annotated[
        str | None,
        typer.Option(metavar="ADDRESS", help="Address of this machine to share on, by one-time links."),
    ] = None,
) -> None:
    """Open the workbench: the project on a local web page."""
    with refusing():
        try:
            from dryfit.web.server import serve as serve_project

            serve_project(project, port, share, lambda words: print(words, flush=True))
        except KeyboardInterrupt:
            print("workbench closed", flush=True)
