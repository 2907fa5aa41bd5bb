"""The `dryfit` command."""

from __future__ import annotations

import sys
from typing import Annotated

import typer

from dryfit import __version__
from dryfit.cli import assembly, folder
from dryfit.cli.show import REFUSED, abandon_output, prepare_streams, refuse_plainly

# The base of every complaint about arguments; typer does not export it under a name.
_UsageError: type[Exception] = typer.BadParameter.__bases__[0]

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
app.command("orient")(assembly.orient)
app.command("ready")(assembly.ready)
app.command("since")(assembly.since)


def main() -> None:
    """Entry point of the command."""
    as_json = "--json" in sys.argv[1:]
    try:
        prepare_streams()
        sys.exit(app(standalone_mode=False) if as_json else app())
    except _UsageError as error:
        # Reached with --json only: without it, typer prints its own words and leaves.
        do = "`dryfit --help` lists the commands, `dryfit VERB --help` the options of one"
        what = getattr(error, "format_message", error.__str__)()
        refuse_plainly(what, "the command line", do, as_json)
        sys.exit(REFUSED)
    except OSError as error:
        what = f"reading or writing failed: {error.strerror or error}"
        where = str(error.filename or "standard output")
        refuse_plainly(what, where, "see that it is there, open and has room, then try again", False)
        abandon_output()
        sys.exit(REFUSED)
