"""Commands about photographs of the prototype."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from dryfit.cli.options import JsonFlag, NamedProject, ProjectOption, ProjectPath, one_project
from dryfit.cli.show import finish, progress, refusing, show, show_json

PhotoId = Annotated[str, typer.Argument(metavar="PHOTO", help="Id of the photograph.")]


def add(
    files: Annotated[list[Path], typer.Argument(metavar="FILE...", help="JPEG, PNG or TIFF.")],
    project: ProjectOption = Path(),
    id: Annotated[
        str | None, typer.Option("--id", help="Its name, for a single file; else the file's.")
    ] = None,
    again: Annotated[bool, typer.Option("--again", help="Take a changed picture once more.")] = False,
    json: JsonFlag = False,
) -> None:
    """Take photographs into the project, checked to their last byte."""
    with refusing(json):
        from dryfit.app.photo_adding import add_photos
        from dryfit.view.photographs import added_blocks
        from dryfit.view.plain import to_plain

        report = add_photos(project, files, id, again, progress("reading"))
    if json:
        show_json(to_plain(report))
    else:
        show(added_blocks(report))


def list_(project: ProjectPath = Path(), named: NamedProject = None, json: JsonFlag = False) -> None:
    """Every photograph: its size, how it is turned, its focal length, its marks."""
    with refusing(json):
        project = one_project(project, named)
        from dryfit.app.photographs import list_photos
        from dryfit.view.photographs import list_blocks
        from dryfit.view.plain import to_plain

        report = list_photos(project)
    if json:
        show_json(to_plain(report))
    else:
        show(list_blocks(report))
    finish(report.state != "stop")


def mark(
    photo: PhotoId,
    project: ProjectOption = Path(),
    point: Annotated[
        list[str] | None,
        typer.Option(metavar="NAME=X,Y", help="A point, in upright pixels. Repeatable, as all below."),
    ] = None,
    known: Annotated[
        list[str] | None,
        typer.Option(metavar="NAME=X,Y,Z,STD", help="Where a point lies on the prototype, in mm."),
    ] = None,
    line: Annotated[
        list[str] | None,
        typer.Option(metavar="NAME=X,Y:X,Y", help="A line by its pixels, or by points: NAME=POINT:POINT."),
    ] = None,
    length: Annotated[
        list[str] | None,
        typer.Option(metavar="P:P=LENGTH,STD", help="A known length: foot:top=2040 mm,3 mm."),
    ] = None,
    plane: Annotated[
        list[str] | None,
        typer.Option(metavar="NAME=AXES", help="A plane: front=xz, or parallel: cornice=front,350,20."),
    ] = None,
    size: Annotated[
        list[str] | None,
        typer.Option(metavar="ID=P:P,DIMENSION", help="A size to be measured between two points."),
    ] = None,
    along: Annotated[
        str | None, typer.Option(metavar="<x|y|z>", help="Axis that these lines, lengths and sizes follow.")
    ] = None,
    straight: Annotated[
        bool, typer.Option("--straight", help="These lines are straight in reality.")
    ] = False,
    in_plane: Annotated[
        str | None, typer.Option("--in", metavar="PLANE", help="Plane of these points and lines.")
    ] = None,
    std: Annotated[
        float | None, typer.Option(metavar="PX", help="Standard uncertainty of these marks.")
    ] = None,
    std_all: Annotated[
        float | None, typer.Option(metavar="PX", help="That of every mark that states none of its own.")
    ] = None,
    remove: Annotated[
        list[str] | None,
        typer.Option(metavar="NAME", help="Remove a point, line, plane, size, or length (P:P)."),
    ] = None,
    same_picture: Annotated[
        bool, typer.Option("--same-picture", help="The marks fit the changed picture as well.")
    ] = False,
    json: JsonFlag = False,
) -> None:
    """Set, move or remove marks on a photograph."""
    with refusing(json):
        from dryfit.app.photo_marking import mark_photo
        from dryfit.app.photo_words import read_changes
        from dryfit.view.photographs import marked_blocks
        from dryfit.view.plain import to_plain

        changes = read_changes(
            point or (),
            known or (),
            line or (),
            length or (),
            plane or (),
            size or (),
            along,
            straight,
            in_plane,
            std_all,
            std,
            remove or (),
            same_picture,
        )
        report = mark_photo(project, photo, changes)
    if json:
        show_json(to_plain(report))
    else:
        show(marked_blocks(report))


def check(
    project: ProjectPath = Path(),
    named: NamedProject = None,
    photo: Annotated[
        str | None, typer.Option("--photo", metavar="ID", help="Only this one; default: all.")
    ] = None,
    json: JsonFlag = False,
) -> None:
    """Are the marks sound, and which camera methods do they allow?"""
    with refusing(json):
        from dryfit.app.photo_checking import check_photos
        from dryfit.view.photographs import check_blocks, check_plain

        project = one_project(project, named)
        report = check_photos(project, photo)
    if json:
        show_json(check_plain(report))
    else:
        show(check_blocks(report))
    finish(report.state != "stop")


def sizes(
    photos: Annotated[
        list[str] | None, typer.Argument(metavar="PHOTO", help="Only these; default: all.")
    ] = None,
    project: ProjectOption = Path(),
    json: JsonFlag = False,
) -> None:
    """How large is what is marked to be measured, how sure, and by which camera?"""
    with refusing(json):
        from dryfit.app.photo_sizes import size_photos
        from dryfit.view.photo_sizes import sizes_blocks, sizes_plain

        report = size_photos(project, tuple(photos or ()))
    if json:
        show_json(sizes_plain(report))
    else:
        show(sizes_blocks(report))
    finish(report.state != "stop")


def lens(
    files: Annotated[list[Path], typer.Argument(metavar="FILE...", help="Photographs of a chessboard.")],
    columns: Annotated[int, typer.Option(help="Inner corners along one side, where four squares meet.")],
    rows: Annotated[int, typer.Option(help="Inner corners along the other.")],
    square: Annotated[str, typer.Option(metavar="LENGTH", help="Side of a square, such as 25mm.")],
    name: Annotated[str, typer.Option(metavar="LENS", help="What the lens at this setting is called.")],
    project: ProjectOption = Path(),
    without: Annotated[
        list[str] | None, typer.Option(metavar="FILE", help="Leave a photograph out. Repeatable.")
    ] = None,
    keep: Annotated[
        list[str] | None, typer.Option(metavar="FILE", help="Keep one that fits badly. Repeatable.")
    ] = None,
    because: Annotated[str, typer.Option(metavar="TEXT", help="Why; it stands with the lens.")] = "",
    used_by: Annotated[
        list[str] | None,
        typer.Option(metavar="PHOTO", help="A photograph that was taken with it. Repeatable."),
    ] = None,
    window: Annotated[
        int | None,
        typer.Option(metavar="PX", help="Half the window around a corner; 0 fits it. Default: 11 or more."),
    ] = None,
    k3: Annotated[
        bool | None, typer.Option("--k3/--no-k3", help="Find k3 or not. Default: where it shows.")
    ] = None,
    again: Annotated[bool, typer.Option("--again", help="Find a lens that is there anew.")] = False,
    look: Annotated[bool, typer.Option("--look", help="Only find and show; write nothing.")] = False,
    json: JsonFlag = False,
) -> None:
    """The lens of your own camera from photographs of a chessboard."""
    with refusing(json):
        from dryfit.app.lens_calibrating import find_lens
        from dryfit.app.lens_request import read_lens_request
        from dryfit.view.photo_lens import lens_blocks, lens_plain

        asked = read_lens_request(
            columns, rows, square, name, without, keep, because, used_by, window, k3, again, look
        )
        report = find_lens(project, files, asked, progress("finding boards"))
    if json:
        show_json(lens_plain(report))
    else:
        show(lens_blocks(report))
    finish(report.state != "stop")
