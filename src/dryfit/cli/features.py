"""Commands about features: measurable things on the meshes."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from dryfit.cli.options import JsonFlag, ProjectOption
from dryfit.cli.show import finish, progress, refusing, show, show_json

_POINT, _WAY, _SPAN = "X,Y,Z", "X,Y,Z", "LO,HI"


def add(
    kind: Annotated[
        str,
        typer.Argument(
            metavar="KIND",
            help="distance, extent, diameter, position, angle, flatness, section, thickness or centres.",
        ),
    ],
    project: ProjectOption = Path(),
    part: Annotated[
        list[str] | None,
        typer.Option(help="Part that is measured: once for all faces, or once for each. Repeatable."),
    ] = None,
    at: Annotated[
        list[str] | None,
        typer.Option(metavar=_POINT, help="Point on a face, or of a section's plane, in mm. Repeatable."),
    ] = None,
    toward: Annotated[
        list[str] | None,
        typer.Option(
            metavar=_WAY, help="A plane by the way it looks; comes after those with --at. Repeatable."
        ),
    ] = None,
    along: Annotated[
        str | None, typer.Option(metavar=_WAY, help="Direction of an extent, section or position.")
    ] = None,
    start: Annotated[
        str | None, typer.Option("--from", metavar=_POINT, help="Datum point of a position, in mm.")
    ] = None,
    across: Annotated[
        str | None, typer.Option(metavar=_WAY, help="Normal of the plane that cuts a section.")
    ] = None,
    nominal: Annotated[
        float | None, typer.Option(help="What it should be, in mm of the model or degrees.")
    ] = None,
    std: Annotated[float | None, typer.Option(help="Standard uncertainty of --nominal.")] = None,
    dimension: Annotated[
        str | None, typer.Option(metavar="ID", help="Dimension that gives the nominal, through the scale.")
    ] = None,
    limits: Annotated[
        str | None, typer.Option(metavar=_SPAN, help="Limits; leave a side out for none.")
    ] = None,
    deviations: Annotated[
        str | None, typer.Option(metavar=_SPAN, help="Limits as deviations from the nominal.")
    ] = None,
    iso_286: Annotated[
        str | None, typer.Option("--iso-286", metavar="CLASS", help="Limits by ISO 286-1: H8, g6, IT9 ...")
    ] = None,
    iso_2768: Annotated[
        str | None, typer.Option("--iso-2768", metavar="CLASS", help="Limits by ISO 2768-1: f, m, c or v.")
    ] = None,
    id: Annotated[str | None, typer.Option("--id", help="Its name; default: made of part and kind.")] = None,
    look: Annotated[bool, typer.Option("--look", help="Only measure and show; write nothing.")] = False,
    json: JsonFlag = False,
) -> None:
    """Measure something on the meshes and write it down."""
    with refusing(json):
        from dryfit.app.feature_adding import add_feature
        from dryfit.app.feature_request import FeatureRequest, read_direction, read_limits, read_triple
        from dryfit.view.feature_adding import added_blocks, added_plain

        request = FeatureRequest(
            kind=kind,
            id=id,
            parts=tuple(part or ()),
            at=tuple(read_triple(text, "--at") for text in at or ()),
            toward=tuple(read_direction(text, "--toward") for text in toward or ()),
            along=None if along is None else read_direction(along, "--along"),
            start=None if start is None else read_triple(start, "--from"),
            across=None if across is None else read_direction(across, "--across"),
            nominal=nominal,
            std=std,
            dimension=dimension,
            limits=None if limits is None else read_limits(limits, "--limits"),
            deviations=None if deviations is None else read_limits(deviations, "--deviations"),
            iso_286=iso_286,
            iso_2768=iso_2768,
        )
        report = add_feature(project, request, not look, progress("reading meshes"))
        if json:
            show_json(added_plain(report))
        else:
            show(added_blocks(report))
    finish(report.measured.state != "stop")
