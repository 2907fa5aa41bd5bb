"""The `dryfit` command."""

from __future__ import annotations

from typing import Annotated

import typer

from dryfit import __version__
from dryfit.cli import assembly, folder

app = typer.Typer(
    name="dryfit",
    help="Will a large replica on a printed frame go together? Ask before it is printed.",
    epilog="Exit status: 0 clear, 1 a check failed, 2 input refused.",
    add_completion=False,
    rich_markup_mode=None,
    no_args_is_help=True,
    pretty_exceptions_enable=False,
)


def _print_version(asked: bool) -> None:
    if asked:
        print(f"dryfit {__version__}")
        raise typer.Exit


@app.callback()
def _top(
    version: Annotated[
        bool, typer.Option("--version", callback=_print_version, is_eager=True, help="Print the version.")
    ] = False,
) -> None:
    pass


app.command("new")(folder.new)
app.command("demo")(folder.demo)
app.command("import")(folder.import_)
app.command("joints")(assembly.joints)
app.command("forecast")(assembly.forecast)
app.command("ready")(assembly.ready)
app.command("since")(assembly.since)


def main() -> None:
    """Entry point of the command."""
    app()
