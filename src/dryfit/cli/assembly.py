"""Commands about how the parts go together."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from dryfit.cli.options import JsonFlag, ProjectPath, Unrecorded, WhatIf
from dryfit.cli.show import finish, progress, refusing, show, show_json


def joints(
    project: ProjectPath = Path(),
    look: Annotated[bool, typer.Option("--look", help="Only show; write no proposals.")] = False,
    accept: Annotated[
        list[str] | None, typer.Option(help="Accept a proposal by its id, or all. Repeatable.")
    ] = None,
    refuse: Annotated[
        list[str] | None, typer.Option(help="Remove a proposal by its id, or all. Repeatable.")
    ] = None,
    json: JsonFlag = False,
) -> None:
    """Find mating faces between parts and propose joints."""
    with refusing(json):
        from dryfit.app.joints import decide_joints, propose_joints
        from dryfit.view.blocks import Sentence
        from dryfit.view.plain import to_plain
        from dryfit.view.reports import joint_blocks

        if accept or refuse:
            done = decide_joints(project, accept or [], refuse or [])
            if json:
                show_json({"done": list(done)})
            else:
                show([Sentence(text, mark=True) for text in done])
            return
        report = propose_joints(project, not look, progress("looking for mating faces"))
    if json:
        show_json(to_plain(report))
    else:
        show(joint_blocks(report))


def forecast(
    project: ProjectPath = Path(),
    what_if: WhatIf = None,
    why: Annotated[
        list[str] | None, typer.Option(help="Show every cause of one characteristic. Repeatable.")
    ] = None,
    samples: Annotated[
        int, typer.Option(min=100, max=1_000_000, help="Monte Carlo draws where one is needed.")
    ] = 100_000,
    seed: Annotated[int, typer.Option(min=0, help="Seed of the draws.")] = 1,
    brief: Annotated[bool, typer.Option("--brief", help="Only what is not clear, on one screen.")] = False,
    sheet: Annotated[Path | None, typer.Option(metavar="FILE.svg", help="Draw the forecast as well.")] = None,
    exaggerate: Annotated[
        float | None, typer.Option(min=1.0, help="With --sheet: how many times larger deviations are drawn.")
    ] = None,
    without_readings: Annotated[
        bool,
        typer.Option("--without-readings", help="Leave printed parts aside: by the document alone."),
    ] = False,
    unrecorded: Unrecorded = False,
    json: JsonFlag = False,
) -> None:
    """Will it go together, and what spoils it?"""
    with refusing(json):
        from dryfit.app.prediction import predict
        from dryfit.view.contributions import contribution_blocks
        from dryfit.view.forecast import forecast_blocks, is_clear
        from dryfit.view.plain import forecast_plain

        reading = progress("reading meshes")
        if sheet is None:
            report = predict(
                project, what_if or (), samples, seed, not unrecorded, reading, not without_readings
            )
        else:
            from dryfit.app.picture import predict_and_draw, save_picture
            from dryfit.view.sheet import sheet_svg

            drawn = predict_and_draw(
                project,
                what_if or (),
                samples,
                seed,
                not unrecorded,
                exaggerate,
                reading,
                not without_readings,
            )
            report = drawn.report
            save_picture(sheet, sheet_svg(drawn.drawing, report, drawn.drawn_on))
        causes = [contribution_blocks(report, name) for name in why or ()]
        if json:
            show_json(forecast_plain(report))
        elif why:
            for blocks in causes:
                show(blocks)
        else:
            show(forecast_blocks(report, brief))
    finish(is_clear(report))


def orient(
    project: ProjectPath = Path(),
    what_if: WhatIf = None,
    locators: Annotated[
        bool, typer.Option("--locators", help="Also move pins and slots to the other axis of their face.")
    ] = False,
    stated_points: Annotated[
        bool, typer.Option("--stated-points", help="With --locators: also where their points are stated.")
    ] = False,
    grid: Annotated[
        float, typer.Option(min=1.0, max=360.0, help="Spacing of the turns that are tried, in degrees.")
    ] = 15.0,
    coarse: Annotated[bool, typer.Option("--coarse", help="Keep to the grid; do not refine.")] = False,
    keep: Annotated[list[str] | None, typer.Option(help="Part whose pose stays. Repeatable.")] = None,
    write: Annotated[bool, typer.Option("--write", help="Put the poses into project.toml.")] = False,
    brief: Annotated[bool, typer.Option("--brief", help="Leave out reasons and assumptions.")] = False,
    json: JsonFlag = False,
) -> None:
    """Turn parts on the bed so that errors cancel."""
    with refusing(json):
        from dryfit.app.turning import turn_parts
        from dryfit.model.orientation import OrientOptions
        from dryfit.view.orientation import orient_blocks
        from dryfit.view.plain import turned_plain

        options = OrientOptions(
            grid_deg=grid,
            is_refined=not coarse,
            with_locators=locators,
            with_stated_points=stated_points,
            keep_parts=tuple(keep or ()),
        )
        turned = turn_parts(project, options, what_if or (), write, progress("searching poses"))
        if json:
            show_json(turned_plain(turned))
        else:
            show(orient_blocks(turned, brief))


def since(
    when: Annotated[
        str | None, typer.Argument(metavar="[WHEN]", help="Record number or date; default: the one before.")
    ] = None,
    project: Annotated[Path, typer.Option("--project", "-p", help="Project folder.")] = Path(),
    list_: Annotated[bool, typer.Option("--list", help="List every recorded forecast.")] = False,
    json: JsonFlag = False,
) -> None:
    """What changed since an earlier forecast."""
    with refusing(json):
        from dryfit.app.history import compare_since, list_forecasts
        from dryfit.view.plain import to_plain
        from dryfit.view.reports import record_blocks, since_blocks

        if list_:
            records = list_forecasts(project)
            if json:
                show_json({"forecasts": to_plain(records)})
            else:
                show(record_blocks(records))
            return
        report = compare_since(project, when)
    if json:
        show_json(to_plain(report))
    else:
        show(since_blocks(report))


def ready(
    words: Annotated[
        list[str] | None,
        typer.Argument(
            metavar="[JOINT] [PROJECT]", help="Before bonding the joint; then the project folder."
        ),
    ] = None,
    before: Annotated[str, typer.Option(help="Hold point: printing, or bonding a JOINT.")] = "printing",
    temp: Annotated[
        float | None, typer.Option(metavar="C", help="Before bonding: temperature of parts and room.")
    ] = None,
    unrecorded: Unrecorded = False,
    json: JsonFlag = False,
) -> None:
    """Is everything clear before the next stage?"""
    with refusing(json):
        from dryfit.app.ready_stages import check_stage
        from dryfit.view.plain import hold_point_plain
        from dryfit.view.reports import hold_point_blocks

        report = check_stage(words or (), before, not unrecorded, temp, progress("reading meshes"))
    if json:
        show_json(hold_point_plain(report))
    else:
        show(hold_point_blocks(report))
    finish(report.state != "stop")
