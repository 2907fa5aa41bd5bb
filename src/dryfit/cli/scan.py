"""The command that lays a scan on its part and compares them."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from dryfit.cli.options import JsonFlag, ProjectOption, Unrecorded
from dryfit.cli.show import finish, progress, refusing, show, show_json


def scan(
    part: Annotated[str, typer.Argument(metavar="PART", help="Part that was scanned.")],
    file: Annotated[
        Path, typer.Argument(metavar="FILE", help="Scan: PLY, OBJ, STL, 3MF, glTF, or text with x y z.")
    ],
    project: ProjectOption = Path(),
    unit: Annotated[
        str | None, typer.Option(metavar="UNIT", help="Unit of the file's numbers: mm, cm, m or in.")
    ] = None,
    scanner_std: Annotated[
        float, typer.Option(metavar="MM", help="Standard uncertainty of the scanner, mm.")
    ] = 0.0,
    reach: Annotated[
        float | None, typer.Option(metavar="MM", help="Points farther off the part are outliers.")
    ] = None,
    datum: Annotated[
        str | None,
        typer.Option(metavar="A,B,C", help="Lay it on these features, in this order of precedence."),
    ] = None,
    mark: Annotated[
        list[str] | None,
        typer.Option(metavar="X,Y,Z=X,Y,Z", help="A spot on the scan and the same on the part. Repeatable."),
    ] = None,
    patch: Annotated[bool, typer.Option("--patch", help="The scan shows a small piece of the part.")] = False,
    map_: Annotated[
        list[Path] | None,
        typer.Option("--map", metavar="FILE", help="Write the deviation map: .ply or .svg. Repeatable."),
    ] = None,
    unrecorded: Unrecorded = False,
    json: JsonFlag = False,
) -> None:
    """How far is a printed part from its model? A scan laid on it, compared and measured."""
    with refusing(json):
        from dryfit.app.scan_files import check_map_path
        from dryfit.app.scan_request import read_request
        from dryfit.app.scanning import scan_folder
        from dryfit.view.blocks import Sentence
        from dryfit.view.scan import scan_blocks, scan_plain
        from dryfit.view.scan_map import save_map, written_line

        request = read_request(part, file, unit, scanner_std, reach, datum, mark or (), patch)
        for path in map_ or ():
            check_map_path(path)
        report = scan_folder(project, request, not unrecorded, progress("laying the scan on the part"))
        for path in map_ or ():
            save_map(path, report)
        if json:
            show_json(scan_plain(report, [str(path) for path in map_ or ()]))
        else:
            show([*scan_blocks(report), *(Sentence(written_line(path), mark=True) for path in map_ or ())])
    finish(report.state != "stop")
