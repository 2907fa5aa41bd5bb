"""Commands that take typed values into the document."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from dryfit.cli.options import JsonFlag, ProjectOption
from dryfit.cli.show import refusing, show, show_json

AddDimensions = Annotated[
    bool, typer.Option("--add-dimensions", help="Dimensions that are not there yet are added.")
]
Look = Annotated[bool, typer.Option("--look", help="Only check and show; write nothing.")]
Text = str | None


def take(
    file: Annotated[
        Path, typer.Argument(metavar="FILE.csv", help="A table with the columns id, of, value ...")
    ],
    project: ProjectOption = Path(),
    add_dimensions: AddDimensions = False,
    look: Look = False,
    json: JsonFlag = False,
) -> None:
    """Take a table of measured or quoted values into the document, all rows or none."""
    with refusing(json):
        from dryfit.app.observation_csv import ObservationsTaken, plan_observations, write_observations
        from dryfit.view.observations import taken_blocks, taken_plain

        plan = plan_observations(file, project, add_dimensions)
        taken = ObservationsTaken(plan, False) if look else write_observations(plan)
    if json:
        show_json(taken_plain(taken))
    else:
        show(taken_blocks(taken))


def add(
    id: Annotated[str, typer.Argument(metavar="ID", help="Its name, such as survey.drum.")],
    of: Annotated[str, typer.Option(metavar="DIMENSION", help="What was measured: one, or 'a + b'.")],
    project: ProjectOption = Path(),
    over: Annotated[Text, typer.Option(metavar="DIMENSION", help="The one below, of a ratio.")] = None,
    value: Annotated[
        Text, typer.Option(metavar="LENGTH", help="Such as '3.66 m' or '12 ft 3 1/2 in'.")
    ] = None,
    std: Annotated[
        Text, typer.Option(metavar="LENGTH", help="Its standard uncertainty; 0 says exact.")
    ] = None,
    within: Annotated[Text, typer.Option(metavar="LENGTH", help="Half width of its limits.")] = None,
    low: Annotated[Text, typer.Option(metavar="LENGTH", help="Lower limit, in place of a value.")] = None,
    high: Annotated[Text, typer.Option(metavar="LENGTH", help="Upper limit.")] = None,
    distribution: Annotated[
        Text, typer.Option(help="Between the limits: uniform, triangular, or normal (at 95 %).")
    ] = None,
    given_at: Annotated[Text, typer.Option(help="prototype (default) or model.")] = None,
    source: Annotated[Text, typer.Option(help="Where it comes from.")] = None,
    date: Annotated[Text, typer.Option(help="Such as 1987 or 1987-06-12.")] = None,
    reliability: Annotated[
        Text, typer.Option(help="How far you trust the source, in your own classes.")
    ] = None,
    add_dimensions: AddDimensions = False,
    look: Look = False,
    json: JsonFlag = False,
) -> None:
    """Take one measured or quoted value into the document."""
    with refusing(json):
        from dryfit.app.observation_csv import ObservationsTaken, plan_observation, write_observations
        from dryfit.view.observations import taken_blocks, taken_plain

        cells = {"id": id, "of": of, "over": over, "value": value, "std": std, "within": within, "low": low}
        cells |= {"high": high, "distribution": distribution, "given_at": given_at, "source": source}
        cells |= {"date": date, "reliability": reliability}
        held = {key: text for key, text in cells.items() if text is not None}
        plan = plan_observation(held, project, add_dimensions)
        taken = ObservationsTaken(plan, False) if look else write_observations(plan)
    if json:
        show_json(taken_plain(taken))
    else:
        show(taken_blocks(taken))
