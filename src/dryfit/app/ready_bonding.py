"""The hold point before bonding a joint: what cannot be taken apart again must be right before it is glued."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from dryfit.app.bonding_joint_lines import (
    adhesive_lines,
    closing_lines,
    dry_fit_lines,
    gap_lines,
    jig_lines,
    temperature_lines,
)
from dryfit.app.bonding_part_lines import accepted_lines, bonded_lines, order_lines, printed_lines
from dryfit.app.joint_case import JointCase, joint_case
from dryfit.app.loading import open_project
from dryfit.app.prediction import record_forecast
from dryfit.app.ready import HoldPoint

Progress = Callable[[int, int], None]


def check_before_bonding(
    path: Path,
    joint: str,
    record: bool = True,
    temp_c: float | None = None,
    progress: Progress | None = None,
) -> HoldPoint:
    """The hold point before bonding a joint of a project folder.

    temp_c : of parts and room; None: not measured
    Raises ReferenceUnknown for an unknown joint, and what opening and forecasting raise.
    """
    opened = open_project(path, progress)
    case = joint_case(opened, joint)
    if record:
        record_forecast(opened, case.report)
    return check_joint(case, temp_c)


def check_joint(case: JointCase, temp_c: float | None = None) -> HoldPoint:
    """All lines, in the order of the work."""
    checks = (
        *bonded_lines(case),
        *printed_lines(case),
        *accepted_lines(case),
        *order_lines(case),
        *dry_fit_lines(case),
        *gap_lines(case),
        *closing_lines(case),
        *jig_lines(case),
        *adhesive_lines(case),
        *temperature_lines(case, temp_c),
    )
    return HoldPoint(case.chain.project.name, f"bonding {case.joint.id}", checks, case.report)
