"""Remedies by a print: the part again, as before or corrected, or another pose of a part that is still to come."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from dryfit.app.as_built_changes import AsBuiltChange, changed_chain
from dryfit.app.bond_records import bonded_with
from dryfit.app.forecast import Chain, learn_chain
from dryfit.app.live_chain import chain_for
from dryfit.app.orient_poses import STATED, grid_poses, pose_spaces
from dryfit.app.remedy_costs import Cost, printing_cost
from dryfit.app.remedy_lines import aim, focused
from dryfit.app.remedy_report import (
    BEST_OF_A_SORT,
    LEAST_GAIN,
    Case,
    Remedy,
    Step,
    make_remedy,
    quick_forecast,
)
from dryfit.calc.remedies import risk_outside
from dryfit.model.machine import FIGURES
from dryfit.model.part import Bed, Compensation

MOST_POSES = 60  # poses of parts to come that are tried; the nearest parts first


def reprints(case: Case, notes: list[str]) -> list[Remedy]:
    """The part again: as before, and with the machine as it is known now."""
    chain, options = case.chain, case.options
    lost = bonded_with(case.built.bonds, case.part)
    cautions = (
        (f"it is bonded to {', '.join(lost)}: lost with it, and not in these hours and grams",)
        if lost
        else ()
    )
    if lost:
        notes.append(f"{case.part} is bonded to {', '.join(lost)}")
    again = changed_chain(chain, AsBuiltChange(reprint=frozenset({case.part})))
    cost = printing_cost(chain, case.prints, case.part, options.minutes_of("reprint"))
    step = Step("reprint", f"print {case.part} again as before", part=case.part)
    found = [make_remedy(case, "reprint", (step,), quick_forecast(again), cost, cautions)]
    made = _corrected(again, case.part)
    if made is None:
        return found
    cost = printing_cost(chain, case.prints, case.part, options.minutes_of("copy"))
    machine = again.project.part(case.part).machine
    words = f"print {case.part} again from a corrected copy, made for machine {machine} as it is known now"
    step = Step("reprint corrected", words, part=case.part)
    return [*found, make_remedy(case, "reprint corrected", (step,), quick_forecast(made), cost, cautions)]


def _corrected(chain: Chain, part: str) -> Chain | None:
    """The chain with a copy of the part that makes up for what its machine and material are expected to do.

    None where nothing is known that it could make up for.
    """
    known = learn_chain(chain)
    project = chain.project if known is None else known.project
    wanted = project.part(part)
    machine = project.machine(wanted.machine)
    shrinkage = project.material(wanted.material).shrinkage.value
    figures = tuple(machine.error.figures[name].value for name in FIGURES)
    if not any(figures) and shrinkage == 0.0:
        return None
    copy = Compensation(
        "", "", "", machine.id, wanted.bed, figures, shrinkage, machine.error.first_layer_height_mm
    )
    own = chain.project
    parts = tuple(replace(item, compensation=copy) if item.id == part else item for item in own.parts)
    return chain_for(chain, replace(own, parts=parts))


def turned_parts(case: Case, notes: list[str]) -> list[Remedy]:
    """Other bed poses of parts that are still to be printed, one at a time."""
    chain = case.chain
    poses = _poses_to_try(case, notes)
    results = case.aims.results
    now = float(risk_outside(results.mean, results.std, results.lower, results.upper) @ results.weight)
    tried: list[tuple[float, str, Bed]] = []
    for name, bed in poses:
        seen = focused(aim(changed_chain(chain, AsBuiltChange(beds={name: bed}))), case.others).results
        risk = float(risk_outside(seen.mean, seen.std, seen.lower, seen.upper) @ seen.weight)
        if now - risk > LEAST_GAIN:
            tried.append((risk, name, bed))
    tried.sort(key=lambda row: row[0])
    found = []
    for _, name, bed in tried[:BEST_OF_A_SORT]:
        after = quick_forecast(changed_chain(chain, AsBuiltChange(beds={name: bed})))
        angles = ", ".join(f"{angle:g}" for angle in bed.euler_xyz_deg)
        step = Step(
            "turn another",
            f"turn {name}, which is still to come, on the bed: pose {angles} degrees",
            part=name,
            change=f"{name}.bed={','.join(f'{angle:g}' for angle in bed.euler_xyz_deg)}",
        )
        found.append(make_remedy(case, "turn another", (step,), after, Cost(case.options.minutes_of("turn"))))
    return found


def _poses_to_try(case: Case, notes: list[str]) -> list[tuple[str, Bed]]:
    chain = case.chain
    kept = [part.id for part in chain.project.parts if part.id in case.printed]
    copies = [part.id for part in chain.project.parts if part.compensation and part.id not in case.printed]
    if copies:
        notes.append(f"not turned, as corrected copies were made for their poses: {', '.join(copies)}")
    spaces = pose_spaces(chain.project, chain.shapes, [*kept, *copies])
    table = chain.structure.table
    lines = np.abs(chain.structure.sensitivity[case.aims.line])
    reach = [
        float(lines[:, (table.first == number) | (table.second == number)].sum())
        for number in range(len(spaces))
    ]
    found = [
        (spaces[number].part.id, spaces[number].bed(pose))
        for number in np.argsort(-np.array(reach), kind="stable")
        if not spaces[number].is_kept
        for pose in grid_poses(spaces[number], 90.0)
        if pose != STATED
    ]
    if len(found) > MOST_POSES:
        notes.append(
            f"of {len(found)} poses of parts to come, the {MOST_POSES} of those that move most were tried"
        )
    return found[:MOST_POSES]
