"""The commands that enter dry fits and bonds."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from dryfit.cli.options import JsonFlag, ProjectOption
from dryfit.cli.show import progress, refusing, show, show_json

Joint = Annotated[str | None, typer.Argument(metavar="[JOINT]", help="Joint; none: list what was entered.")]
Gaps = Annotated[
    list[str] | None,
    typer.Option(metavar="[CONTACT=]MM", help="Measured gap, 2=0.15, or the mean of the face. Repeatable."),
]
GapStd = Annotated[float, typer.Option(metavar="MM", help="How uncertain each gap is.")]
Withdraw = Annotated[int | None, typer.Option(metavar="RECORD", help="Take this record back.")]
By = Annotated[str, typer.Option(metavar="NAME", help="Who enters it.")]


def dry_fit(
    joint: Joint = None,
    project: ProjectOption = Path(),
    result: Annotated[
        str | None, typer.Option(metavar="WORDS", help='"goes" or "does not go"; none: look only.')
    ] = None,
    gap: Gaps = None,
    gap_std: GapStd = 0.02,
    note: Annotated[str, typer.Option(metavar="TEXT", help="Anything else.")] = "",
    withdraw: Withdraw = None,
    by: By = "",
    json: JsonFlag = False,
) -> None:
    """Enter that two parts were put together without adhesive."""
    with refusing(json):
        from dryfit.app.bond_records import DRY_FIT
        from dryfit.app.bonding import BondRefused, enter_dry_fit

        if _withdrawn(project, DRY_FIT, withdraw, by, json) or _listed(project, joint, json):
            return
        if result is None and (gap or note):
            raise BondRefused(
                "whether it goes is not said", "--result", 'say it: --result goes, or "does not go"'
            )
        if result is None:
            _looked(project, joint or "", json)
            return
        report = enter_dry_fit(
            project, joint or "", result, gap or (), gap_std, note, by, progress("reading meshes")
        )
        _show(report, json)


BondLine = Annotated[
    list[str] | None,
    typer.Option(
        "--gap",
        "--bond-line",
        metavar="[CONTACT=]MM",
        help="Gap measured on the bond, 2=0.15, or the mean of the face. Repeatable.",
    ),
]
BondStd = Annotated[
    float, typer.Option("--gap-std", "--std", metavar="MM", help="How uncertain each gap is.")
]


def bond(
    joint: Joint = None,
    project: ProjectOption = Path(),
    at: Annotated[
        str | None, typer.Option(metavar="TIME", help="When: 2026-11-18 or 2026-11-18T14:30.")
    ] = None,
    adhesive: Annotated[
        str | None, typer.Option(metavar="NAME", help="Adhesive, instead of the document's.")
    ] = None,
    gap: BondLine = None,
    gap_std: BondStd = 0.02,
    as_dry_fitted: Annotated[
        bool, typer.Option("--as-dry-fitted", help="It has the gaps of the dry fit.")
    ] = False,
    despite: Annotated[
        str, typer.Option(metavar="REASON", help="Why, although its hold point has a stop.")
    ] = "",
    because: Annotated[str, typer.Option(metavar="TEXT", help="Anything worth keeping.")] = "",
    temp: Annotated[float | None, typer.Option(metavar="C", help="Temperature of parts and room.")] = None,
    withdraw: Withdraw = None,
    look: Annotated[bool, typer.Option("--look", help="Show the joint, enter nothing.")] = False,
    by: By = "",
    json: JsonFlag = False,
) -> None:
    """Enter that a joint was bonded."""
    with refusing(json):
        from dryfit.app.bond_records import BOND
        from dryfit.app.bonding import enter_bond

        if _withdrawn(project, BOND, withdraw, by, json) or _listed(project, joint, json):
            return
        if look:
            _looked(project, joint or "", json)
            return
        report = enter_bond(
            project,
            joint or "",
            at,
            adhesive,
            gap or (),
            gap_std,
            as_dry_fitted,
            despite,
            because,
            temp,
            by,
            progress("reading meshes"),
        )
        _show(report, json)


def _withdrawn(project: Path, kind: str, record: int | None, by: str, json: bool) -> bool:
    if record is None:
        return False
    from dryfit.app.bonding import withdraw_by_hand
    from dryfit.view.blocks import Sentence

    number = withdraw_by_hand(project, kind, record, by)
    if json:
        show_json({"withdrawn": record, "record": number})
    else:
        show([Sentence(f"Taken back: {kind}, record {record}.", mark=True)])
    return True


def _listed(project: Path, joint: str | None, json: bool) -> bool:
    if joint is not None:
        return False
    from dryfit.app.bonding import list_by_hand
    from dryfit.view.bonding import list_blocks, list_plain

    held = list_by_hand(project)
    if json:
        show_json(list_plain(*held))
    else:
        show(list_blocks(*held))
    return True


def _looked(project: Path, joint: str, json: bool) -> None:
    from dryfit.app.bonding import look_at_joint

    _show(look_at_joint(project, joint, progress("reading meshes")), json)


def _show(report: object, json: bool) -> None:
    from dryfit.view.bonding import joint_blocks, joint_plain

    if json:
        show_json(joint_plain(report))  # type: ignore[arg-type]
    else:
        show(joint_blocks(report))  # type: ignore[arg-type]
