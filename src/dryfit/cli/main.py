"""The `dryfit` command."""

from __future__ import annotations

import sys
from typing import Annotated

import typer

from dryfit import __version__
from dryfit.cli import (
    artefact,
    assembly,
    bond,
    compensate,
    features,
    folder,
    gauge,
    inspect,
    mend,
    observation,
    parts,
    photo,
    preflight,
    prints,
    qualify,
    read,
    release,
    remedy,
    scan,
    schedule,
    workbench,
)
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


feature = typer.Typer(help="Sizes of the drawing, measured on the meshes.", no_args_is_help=True)
feature.command("add")(features.add)

photos = typer.Typer(help="Photographs of the prototype, and what is marked on them.", no_args_is_help=True)
photos.command("add")(photo.add)
photos.command("list")(photo.list_)
photos.command("mark")(photo.mark)
photos.command("check")(photo.check)
photos.command("sizes")(photo.sizes)
photos.command("lens")(photo.lens)

observations = typer.Typer(help="Measured and quoted values.", no_args_is_help=True)
observations.command("add")(observation.add)
observations.command("take")(observation.take)


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
app.command("schedule")(schedule.schedule)
app.command("parts")(parts.parts)
app.add_typer(feature, name="feature")
app.add_typer(photos, name="photo")
app.add_typer(observations, name="observation")
app.command("mend")(mend.mend)
app.command("compensate")(compensate.compensate)
app.command("artefact")(artefact.artefact)
app.command("gauge")(gauge.gauge)
app.command("read")(read.read)
app.command("qualify")(qualify.qualify)
app.command("preflight")(preflight.preflight)
app.command("printed")(prints.printed)
app.command("inspect")(inspect.inspect)
app.command("remedy")(remedy.remedy)
app.command("dry-fit")(bond.dry_fit)
app.command("bond")(bond.bond)
app.command("scan")(scan.scan)
app.command("joints")(assembly.joints)
app.command("forecast")(assembly.forecast)
app.command("orient")(assembly.orient)
app.command("ready")(assembly.ready)
app.command("serve")(workbench.serve)
app.command("since")(assembly.since)
app.command("release")(release.release)
app.command("changes")(release.changes)


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
