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
    """Find mating faces between parts and propose joints; accept or refuse them."""
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
    samples: Annotated[int, typer.Option(min=100, help="Monte Carlo draws where one is needed.")] = 100_000,
    seed: Annotated[int, typer.Option(min=0, help="Seed of the draws.")] = 1,
    brief: Annotated[bool, typer.Option("--brief", help="Leave out what was assumed.")] = False,
    unrecorded: Unrecorded = False,
    json: JsonFlag = False,
) -> None:
    """Will it go together? Predicts every characteristic of the assembly."""
    with refusing(json):
        from dryfit.app.prediction import predict
        from dryfit.view.contributions import contribution_blocks
        from dryfit.view.forecast import forecast_blocks, is_clear
        from dryfit.view.plain import forecast_plain

        report = predict(project, what_if or (), samples, seed, not unrecorded, progress("reading meshes"))
        if json:
            show_json(forecast_plain(report))
        elif why:
            for name in why:
                show(contribution_blocks(report, name))
        else:
            show(forecast_blocks(report, brief))
    finish(is_clear(report))


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
    project: ProjectPath = Path(),
    before: Annotated[str, typer.Option(help="Hold point: printing.")] = "printing",
    unrecorded: Unrecorded = False,
    json: JsonFlag = False,
) -> None:
    """The hold point: is everything clear before the next stage?"""
    with refusing(json):
        from dryfit.app.ready import check_before
        from dryfit.view.plain import hold_point_plain
        from dryfit.view.reports import hold_point_blocks

        report = check_before(project, before, not unrecorded, progress("reading meshes"))
    if json:
        show_json(hold_point_plain(report))
    else:
        show(hold_point_blocks(report))
    finish(report.state != "stop")
