"""The adjustment of a project's evidence, and what it makes of the dimensions."""

from __future__ import annotations

from collections.abc import Mapping, Sequence, Set
from dataclasses import dataclass, replace

import numpy as np

from dryfit.app.schedule_decisions import Decision
from dryfit.app.schedule_problem import ScheduleProblem, write_problem
from dryfit.base.arrays import Array
from dryfit.base.errors import ComputationRefused, DryfitError
from dryfit.base.estimate import Estimate
from dryfit.calc.adjust import Contradiction, ExactAdjustment, adjust_exactly
from dryfit.model.evidence import JointObservations
from dryfit.model.project import Project


@dataclass(frozen=True, slots=True, eq=False)
class Solved:
    """A problem and its adjustment."""

    project: Project
    problem: ScheduleProblem
    adjustment: ExactAdjustment

    def place(self, name: str) -> int:
        """Index of a dimension."""
        return self.problem.names.index(name)

    def is_known(self, name: str) -> bool:
        """Whether the evidence determines a dimension."""
        return bool(self.adjustment.is_determined[self.place(name)])

    def prototype(
        self, name: str, estimate: Array | None = None, covariance: Array | None = None
    ) -> Estimate:
        """[mm] size of the prototype; by the adjustment, or by another estimate of all dimensions."""
        place = self.place(name)
        values = self.adjustment.estimate if estimate is None else estimate
        spread = self.adjustment.covariance if covariance is None else covariance
        return Estimate(float(values[place]), float(np.sqrt(max(spread[place, place], 0.0))))

    def model_row(self, name: str, estimate: Array | None = None) -> Array | None:
        """(n,) how the model size of a dimension moves with all dimensions; None without a scale."""
        values = self.adjustment.estimate if estimate is None else estimate
        row, place = np.zeros(len(values)), self.place(name)
        fixed = self.project.scale_from
        if fixed is not None:
            base = self.place(fixed.dimension)
            factor = fixed.model_mm / float(values[base])
            row[place] += factor
            row[base] -= factor * float(values[place] / values[base])
        elif self.project.scale is not None:
            row[place] = float(self.project.scale)
        else:
            return None
        return row

    def model(
        self, name: str, estimate: Array | None = None, covariance: Array | None = None
    ) -> Estimate | None:
        """[mm] size in the model; None where there is no scale, or the evidence does not determine it."""
        fixed = self.project.scale_from
        values = self.adjustment.estimate if estimate is None else estimate
        spread = self.adjustment.covariance if covariance is None else covariance
        row = self.model_row(name, values)
        if (
            row is None
            or not self.is_known(name)
            or (fixed is not None and not self.is_known(fixed.dimension))
        ):
            return None
        factor = float(self.project.scale) if self.project.scale is not None else 0.0
        if fixed is not None:
            factor = fixed.model_mm / float(values[self.place(fixed.dimension)])
        variance = float(row @ spread @ row)
        return Estimate(float(values[self.place(name)]) * factor, float(np.sqrt(max(variance, 0.0))))

    def scale(self) -> Estimate | None:
        """Model over prototype [-]; None where there is none or it is not determined."""
        fixed = self.project.scale_from
        if fixed is None:
            return None if self.project.scale is None else Estimate(float(self.project.scale))
        if not self.is_known(fixed.dimension):
            return None
        base = self.prototype(fixed.dimension)
        factor = fixed.model_mm / base.value
        return Estimate(factor, factor * base.std / base.value)

    def why_unknown(self, name: str) -> str:
        """Why a dimension is not determined, in words."""
        for item in self.adjustment.free:
            if name in item.unknowns:
                others = [other for other in item.unknowns if other != name]
                if not others:
                    return f"nothing measures {name}"
                return f"nothing measures {name} apart from {', '.join(others)}: one of them must be measured by itself"
        return f"nothing measures {name}"


def has_evidence(project: Project, extras: Sequence[JointObservations] = ()) -> bool:
    """Whether sizes come out of an adjustment rather than out of the dimensions' own rows."""
    return bool(project.observations or project.relations or project.scale_from is not None or extras)


def solve(
    project: Project, extras: Sequence[JointObservations] = (), without: Set[str] = frozenset()
) -> Solved:
    """Adjust the evidence of a project, some of it left out.

    Raises ComputationRefused where exact values contradict one another, or where a dimension comes out at zero or
    less; NotConverged.
    """
    problem = write_problem(project, extras, without)
    try:
        adjustment = adjust_exactly(
            problem.rows,
            problem.observed,
            problem.covariance,
            problem.exact,
            problem.exact_values,
            problem.start,
            problem.names,
        )
    except Contradiction as error:
        raise _contradiction(problem, error.rows) from error
    solved = Solved(project, problem, adjustment)
    _refuse_impossible(solved)
    return solved


def left_out(decisions: Mapping[str, Decision]) -> frozenset[str]:
    """Ids that decisions leave out."""
    return frozenset(id for id, decision in decisions.items() if decision.verb == "without")


def with_schedule(
    project: Project, decisions: Mapping[str, Decision], extras: Sequence[JointObservations] = ()
) -> Project:
    """The project whose dimensions have the sizes of the schedule; where it is refused they have none, and say why."""
    if not has_evidence(project, extras):
        return project
    try:
        solved = solve(project, extras, left_out(decisions))
    except DryfitError as error:
        unknown = f"the schedule is refused: {error.what}"
        dimensions = tuple(replace(item, unknown=unknown) for item in project.dimensions)
        return replace(project, dimensions=dimensions)
    dimensions = tuple(
        replace(item, scheduled_mm=solved.prototype(item.id), model_mm=solved.model(item.id), unknown="")
        if solved.is_known(item.id)
        else replace(item, unknown=solved.why_unknown(item.id))
        for item in project.dimensions
    )
    return replace(project, dimensions=dimensions)


def _contradiction(problem: ScheduleProblem, rows: Sequence[int]) -> ComputationRefused:
    labels = [problem.labels[len(problem.observed) + row] for row in rows]
    named = "; ".join(f'{label.kind} "{label.id}" ({label.words})' for label in labels)
    is_relation = all(label.kind == "relation" for label in labels)
    what = "relations cannot hold together" if is_relation else "exact values contradict one another"
    return ComputationRefused(
        f"{what}: {named}",
        "project.toml: " + ", ".join(dict.fromkeys(label.id for label in labels)),
        "correct one of them, state how uncertain it is (std), or leave it out: dryfit schedule --without ID "
        "--because TEXT",
    )


def _refuse_impossible(solved: Solved) -> None:
    """A size that comes out at zero or below: the relations cannot be meant so."""
    adjustment, problem = solved.adjustment, solved.problem
    rounding = 1e-9 * float(problem.start.max(initial=0.0))
    for place, name in enumerate(problem.names):
        if not adjustment.is_determined[place] or adjustment.estimate[place] > rounding:
            continue
        pulls = np.abs(adjustment.moves[place])
        part = np.flatnonzero(pulls > 1e-9 * pulls.max(initial=0.0))
        named = list(dict.fromkeys(f'"{problem.labels[row].id}"' for row in part))
        raise ComputationRefused(
            f"{name} comes out at {_rounded(float(adjustment.estimate[place]))} mm, and a size is above zero",
            f"what it hangs on: {', '.join(named[:8])}{' ...' if len(named) > 8 else ''}",
            "look at signs and units of these observations and relations",
        )


def _rounded(size: float) -> str:
    return "0" if abs(size) < 1e-6 else f"{size:.6g}"
