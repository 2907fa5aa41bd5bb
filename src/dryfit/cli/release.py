"""Commands that freeze parts for printing, and say what a change costs."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from dryfit.cli.options import JsonFlag, ProjectOption, ProjectPath
from dryfit.cli.show import finish, progress, refusing, show, show_json


def release(
    project: ProjectPath = Path(),
    parts: Annotated[
        list[str] | None,
        typer.Option("--parts", metavar="A,B", help="Parts to issue for printing; default: all. Repeatable."),
    ] = None,
    letter: Annotated[
        str, typer.Option(metavar="LETTER", help="Revision letter; default: the next one.")
    ] = "",
    because: Annotated[str, typer.Option(metavar="TEXT", help="Why it is released.")] = "",
    by: Annotated[str, typer.Option(metavar="NAME", help="Who releases it.")] = "",
    despite: Annotated[
        str,
        typer.Option(metavar="REASON", help="Release although the hold point has a stop, and record why."),
    ] = "",
    list_: Annotated[bool, typer.Option("--list", help="List every release; freeze nothing.")] = False,
    verify: Annotated[
        bool, typer.Option("--verify", help="Are the frozen copies still what was released? Freezes nothing.")
    ] = False,
    json: JsonFlag = False,
) -> None:
    """Freeze parts for printing under a revision letter."""
    with refusing(json):
        if list_ or verify:
            from dryfit.app.releases import list_releases
            from dryfit.view.releases import release_list_blocks, release_list_plain

            listed = list_releases(project, verify)
            if json:
                show_json(release_list_plain(listed))
            else:
                show(release_list_blocks(listed))
            is_clear = not listed.faults
        else:
            from dryfit.app.releasing import ReleaseOrder, release_parts
            from dryfit.view.releases import release_blocks, release_plain

            named = tuple(name.strip() for text in parts or () for name in text.split(",") if name.strip())
            order = ReleaseOrder(named, letter, by, because, despite)
            report = release_parts(project, order, progress("reading meshes"))
            if json:
                show_json(release_plain(report))
            else:
                show(release_blocks(report))
            is_clear = True
    finish(is_clear)


def changes(
    since: Annotated[
        str | None, typer.Argument(metavar="[FROM]", help="Release, or working; default: the last release.")
    ] = None,
    until: Annotated[
        str | None, typer.Argument(metavar="[TO]", help="Release, or working; default: the working state.")
    ] = None,
    project: ProjectOption = Path(),
    sand: Annotated[
        float | None,
        typer.Option(metavar="MM", min=0.0, help="Depth that can be sanded off a printed part; default 0.5."),
    ] = None,
    fill: Annotated[
        float | None,
        typer.Option(metavar="MM", min=0.0, help="Thickness that shim or filler can add; default 0.3."),
    ] = None,
    reach: Annotated[
        float | None,
        typer.Option(metavar="MM", min=0.0, help="Room that a sanding block needs over a face; default 20."),
    ] = None,
    same: Annotated[
        float | None,
        typer.Option(metavar="MM", min=0.0, help="Deviation that is no change of shape; default 0.02."),
    ] = None,
    json: JsonFlag = False,
) -> None:
    """What has changed since a release, and which printed parts are lost by it?"""
    with refusing(json):
        from dryfit.app.changes import bench_with, compare_states
        from dryfit.view.changes import changes_blocks
        from dryfit.view.changes_plain import changes_plain

        report = compare_states(project, since, until, bench_with(same, sand, fill, reach))
        if json:
            show_json(changes_plain(report))
        else:
            show(changes_blocks(report))
    finish(report.is_clear)
