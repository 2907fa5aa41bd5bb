"""Remedies by an amount: faces sanded or shimmed, other bond lines, parts to come that are longer or shorter."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from dryfit.app.as_built_changes import AsBuiltChange, changed_chain
from dryfit.app.forecast import Chain
from dryfit.app.remedy_costs import Cost, Work
from dryfit.app.remedy_lines import (
    Lever,
    bond_lever,
    face_lever,
    length_lever,
    wedge_levers,
    work_of,
)
from dryfit.app.remedy_report import (
    BEST_OF_A_SORT,
    LEAST_GAIN,
    Case,
    Remedy,
    RemedyKind,
    RemedyOptions,
    Step,
    make_remedy,
    quick_forecast,
)
from dryfit.base.arrays import Array
from dryfit.base.estimate import Estimate
from dryfit.calc.remedies import best_amounts, risk_outside
from dryfit.model.adhesive import EPOXY_FILLS_MM
from dryfit.model.handwork import FaceWork
from dryfit.model.joint import GROUND

_WORTH_TWO = (
    0.8  # two things together are listed where they leave less than this share of the best single one
)


def gather_levers(case: Case, notes: list[str]) -> list[Lever]:
    """Everything whose amount can be chosen, at joints that are not bonded yet."""
    chain, options = case.chain, case.options
    part = chain.project.part(case.part)
    sand = options.sand_most_mm
    if part.shell_mm is not None and 0.5 * part.shell_mm < sand:
        sand = 0.5 * part.shell_mm
        notes.append(f"sanded no deeper than {sand:g} mm: half of the shell of {case.part}")
    grid = _grid(-options.shim_most_mm, sand, options.step_mm)
    found: list[Lever] = []
    for rows, locates in zip(chain.structure.joint_rows, chain.structure.sequence.is_locating, strict=True):
        joint = rows.joint
        if joint.id in case.bonded:
            if case.part in joint.parts:
                notes.append(f"joint {joint.id} is bonded: nothing is sanded, shimmed or filled there")
            continue
        own = case.part if case.part in joint.parts else None
        if own is None and not locates:
            own = next((name for name in joint.parts if name in case.printed), None)
        if own is not None:
            found.append(face_lever(chain, case.aims, joint.id, own, grid, options.hand_std_mm))
            found += wedge_levers(chain, case.aims, joint.id, own, grid, options.hand_std_mm)
        lever = bond_lever(
            chain, case.aims, joint.id, fills_of(chain, joint.id), options.step_mm, options.bond_std_mm
        )
        if lever is not None:
            found.append(lever)
        # Either part of a joint serves as well as the other: the first that is still to come.
        to_come = next((name for name in joint.parts if name != GROUND and name not in case.printed), None)
        if to_come is not None:
            lengths = _grid(-options.length_most_mm, options.length_most_mm, options.step_mm)
            found.append(length_lever(chain, case.aims, joint.id, to_come, lengths))
    risky = np.isin(case.aims.characteristic, case.at_risk)
    return [item for item in found if np.abs(item.columns[risky]).max(initial=0.0) > 1e-6]


def fills_of(chain: Chain, joint: str) -> tuple[float, float]:
    """Gap that the adhesive of a joint fills; of an epoxy where none is stated."""
    adhesive = chain.project.adhesive_of(joint)
    return EPOXY_FILLS_MM if adhesive is None else adhesive.fills_mm


def _grid(low: float, high: float, step: float) -> Array:
    steps = np.arange(np.ceil(low / step - 1e-9), np.floor(high / step + 1e-9) + 1)
    grid: Array = np.round(steps * step, 9) + 0.0
    return grid


def _choices(case: Case, levers: Sequence[Lever]) -> tuple[Array, float]:
    """The best amounts of some levers together, and the sum of risks that they leave."""
    groups = [number for number, lever in enumerate(levers) for _ in lever.grids]
    grids = [grid for lever in levers for grid in lever.grids]
    if len(grids) > 2:
        # A slope and something else: the slope first, then the other with the slope done.
        results, found, risk = case.aims.results, [], 0.0
        for lever in levers:
            one = best_amounts(
                results, lever.columns, lever.spread[:, None], [0] * len(lever.grids), lever.grids
            )
            found.append(one.amounts)
            added = lever.spread if one.amounts.any() else 0.0 * lever.spread
            results = replace(
                results, mean=results.mean + lever.columns @ one.amounts, std=np.sqrt(results.std**2 + added)
            )
            risk = one.risk
        return np.concatenate(found), risk
    choice = best_amounts(
        case.aims.results,
        np.hstack([lever.columns for lever in levers]),
        np.stack([lever.spread for lever in levers], axis=1),
        groups,
        grids,
    )
    return choice.amounts, choice.risk


def by_levers(case: Case, sets: Sequence[Sequence[Lever]]) -> list[Remedy]:
    """The best of each sort, worked out exactly."""
    results = case.aims.results
    now = float(risk_outside(results.mean, results.std, results.lower, results.upper) @ results.weight)
    by_sort: dict[tuple[str, ...], list[tuple[float, Sequence[Lever], Array]]] = {}
    even: dict[tuple[str, str], float] = {}
    for levers in sets:
        amounts, risk = _choices(case, levers)
        if not amounts.any() or now - risk < LEAST_GAIN:
            continue
        first = levers[0]
        if len(levers) == 1 and first.move == "face":
            even[first.joint, first.part] = risk
        if len(levers) == 1 and first.move == "wedge":
            # A slope is only worth its work where an even amount leaves clearly more at risk.
            is_flat = amounts[0] == amounts[1]
            if is_flat or even.get((first.joint, first.part), now) - risk < 0.1 * (now - risk):
                continue
        by_sort.setdefault(tuple(lever.move for lever in levers), []).append((risk, levers, amounts))
    found = []
    for rows in by_sort.values():
        rows.sort(key=lambda row: row[0])
        keep = (
            len(rows) if rows[0][1][0].move in ("face", "wedge") and len(rows[0][1]) == 1 else BEST_OF_A_SORT
        )
        found += [_lever_remedy(case, levers, amounts) for _, levers, amounts in rows[:keep]]
    return found


def best_levers(case: Case, levers: Sequence[Lever], count: int) -> list[Lever]:
    """Those that leave least at risk alone, the best first."""
    return sorted(levers, key=lambda lever: _choices(case, [lever])[1])[:count]


def pairs_of(case: Case, levers: Sequence[Lever]) -> list[list[Lever]]:
    """Two even amounts at different places, where one alone does not suffice."""
    single = sorted(levers, key=lambda lever: _choices(case, [lever])[1])
    best = [lever for lever in single if lever.move == "wedge"][:2]
    best += [lever for lever in single if lever.move != "wedge"][:7]
    least = _choices(case, [single[0]])[1] if single else 0.0
    pairs = [
        [one, other]
        for place, one in enumerate(best)
        for other in best[place + 1 :]
        if one.joint != other.joint
    ]
    return [pair for pair in pairs if _choices(case, pair)[1] < _WORTH_TWO * least]


def _lever_remedy(case: Case, levers: Sequence[Lever], amounts: Array) -> Remedy:
    works: list[FaceWork] = []
    bonds: dict[str, Estimate] = {}
    steps: list[Step] = []
    start, minutes = 0, 0.0
    for lever in levers:
        mine = amounts[start : start + len(lever.grids)]
        start += len(lever.grids)
        if not mine.any():
            continue
        step = describe_lever(case.chain, lever, mine, case.options)
        steps.append(step)
        minutes += case.options.minutes_of(_work_name(lever, mine))
        if lever.move == "bond line":
            joint = case.chain.project.joint(lever.joint)
            std = case.options.bond_std_mm if joint.bond_line_mm is None else joint.bond_line_mm.std
            bonds[lever.joint] = replace(
                joint.bond_line_mm or Estimate(0.0), value=lever.at_mm + float(mine[0]), std=std
            )
        else:
            works.append(work_of(lever, mine, None, case.options.hand_std_mm))
    changed = changed_chain(case.chain, AsBuiltChange(bond_lines=bonds)) if bonds else case.chain
    after = quick_forecast(_with_works(changed, works))
    kind: RemedyKind = steps[0].kind if len(steps) == 1 else "two together"
    cautions = tuple(
        f"the model of {step.part} has to follow: move its face, import it again"
        for step in steps
        if step.kind == "change another"
    )
    return make_remedy(case, kind, tuple(steps), after, Cost(minutes), cautions)


def _work_name(lever: Lever, amounts: Array) -> Work:
    if lever.move == "face":
        return "sand" if amounts[0] > 0 else "shim"
    names: dict[str, Work] = {"wedge": "wedge", "bond line": "bond line", "length": "length"}
    return names[lever.move]


def _with_works(chain: Chain, works: Sequence[FaceWork]) -> Chain:
    as_built = chain.as_built
    if as_built is None or not works:
        return chain
    return replace(chain, as_built=replace(as_built, works=(*as_built.works, *works)))


def describe_lever(chain: Chain, lever: Lever, amounts: Array, options: RemedyOptions) -> Step:
    """What is done, in words with places and amounts."""
    at = amounts @ lever.shapes
    points = tuple((float(x), float(y), float(z)) for x, y, z in lever.points)
    held = {
        "joint": lever.joint,
        "part": lever.part,
        "points_mm": points,
        "amounts_mm": tuple(map(float, at)),
    }
    middle = _place(lever.points.mean(axis=0))
    if lever.move == "bond line":
        now, new = lever.at_mm, lever.at_mm + float(amounts[0])
        words = f"bond joint {lever.joint} with a line of {new:.2f} mm instead of {now:.2f} mm"
        return Step("bond line", words, lever.joint, change=f"{lever.joint}.bond_line_mm={new:.10g}")
    if lever.move == "length":
        verb = "longer" if amounts[0] < 0 else "shorter"
        words = (
            f"print {lever.part}, which is still to come, {abs(float(amounts[0])):.2f} mm {verb} at its face at joint "
            f"{lever.joint}, {middle}"
        )
        return Step("change another", words, **held)  # type: ignore[arg-type]
    is_sanding = float(at.sum()) > 0
    other = next(name for name in chain.project.joint(lever.joint).parts if name != lever.part)
    verb = "sand" if is_sanding else "shim"
    face = (
        f"off the face of {lever.part} toward {other}"
        if is_sanding
        else f"between {lever.part} and {other}, on the face of {lever.part}"
    )
    if lever.move == "face":
        size = f"{abs(float(amounts[0])):.2f} mm evenly"
        words = f"{verb} {size} {face} (joint {lever.joint}), {middle}"
    else:
        edges = lever.edges if lever.edges is not None else np.zeros((2, 3))
        ends = " and ".join(
            f"{abs(float(amount)):.2f} mm at the edge {_place(edge)}"
            for amount, edge in zip(amounts, edges, strict=True)
        )
        words = f"{verb} a wedge {face} (joint {lever.joint}): {ends}, even between them"
    return Step("sand" if is_sanding else "shim", words, std_mm=options.hand_std_mm, **held)  # type: ignore[arg-type]


def _place(point: Array) -> str:
    x, y, z = (f"{value + 0.0:.0f}" for value in np.round(point))
    return f"at ({x}, {y}, {z})"
