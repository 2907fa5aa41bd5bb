"""The command that makes mended copies of meshes."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from dryfit.cli.options import JsonFlag, ProjectPath
from dryfit.cli.show import finish, progress, refusing, show, show_json


def mend(
    part: Annotated[str, typer.Argument(metavar="PART", help="Part whose mesh is mended.")],
    project: ProjectPath = Path(),
    weld: Annotated[
        float | None, typer.Option(metavar="MM", help="Join corners on open edges this near to one another.")
    ] = None,
    fill_holes_up_to: Annotated[
        float | None, typer.Option(metavar="MM", help="Fill holes whose rim is no longer than this.")
    ] = None,
    drop_shells_below: Annotated[
        float | None, typer.Option(metavar="SHARE", help="Leave out bodies below this share of the area.")
    ] = None,
    unite: Annotated[bool, typer.Option("--unite", help="Unite bodies that overlap.")] = False,
    look: Annotated[bool, typer.Option("--look", help="Only show what would be done.")] = False,
    json: JsonFlag = False,
) -> None:
    """Make a mended copy of a part's mesh; the original stays."""
    with refusing(json):
        from dryfit.app.mending import mend_part, options_for_mending
        from dryfit.view.mending import mend_blocks, mend_plain, mend_state

        options = options_for_mending(weld, fill_holes_up_to, drop_shells_below, unite)
        report = mend_part(project, part, options, not look, progress("examining the surface"))
        if json:
            show_json(mend_plain(report))
        else:
            show(mend_blocks(report))
        is_clear = mend_state(report) != "stop"
    finish(is_clear)
