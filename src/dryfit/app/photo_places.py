"""Known places in a joint adjustment: tested against one another by the photographs, the wrong ones named."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from dryfit.app.photo_arrays import JointInput
from dryfit.app.photo_size_records import LEVEL, Suspect
from dryfit.calc.photo import MarkSearch, SpacePoint, Start, adjust_photos
from dryfit.calc.photo.records import chi_square_limit

_DO = "look whether it is stated rightly, and how uncertain it is"


def settle_places(
    given: JointInput, search: MarkSearch, start: Start
) -> tuple[JointInput, MarkSearch, list[Suspect]]:
    """The adjustment with the known places that go together, and those that do not, the worst first.

    search : of the marks by the photographs alone; of points that one photograph shows nothing was found there
    Raises ComputationRefused as adjust_photos does.
    """
    problem = given.problem
    views = np.bincount(problem.point, minlength=problem.point_count)
    is_lone = views[problem.point] == 1
    marks = tuple(item for item in search.suspects if not is_lone[item.mark])
    kept, suspects = problem.known, []
    limit = chi_square_limit(LEVEL / len(kept), 3)
    while True:
        current = replace(problem, known=kept)
        there = {item.point for item in kept}
        used = search.without.is_used | (is_lone & np.isin(problem.point, list(there)))
        found = adjust_photos(current, start, used)
        tests = np.nan_to_num(found.known_normalised)
        worst = int(tests.argmax()) if len(tests) else 0
        if not len(tests) or tests[worst] <= limit:
            break
        away = float(np.linalg.norm(found.known_residual_mm[worst]))
        suspects.append(_suspect(given, kept[worst], away, float(tests[worst])))
        rest = (*kept[:worst], *kept[worst + 1 :])
        if not replace(problem, known=rest).framing(problem.point[used]):
            break
        kept = rest
    return replace(given, problem=current), MarkSearch(marks, found, search.critical), suspects


def _suspect(given: JointInput, known: SpacePoint, away_mm: float, test: float) -> Suspect:
    where = f'point "{given.names[known.point]}"'
    what = f"its known place does not go with the other known places: {away_mm:.4g} mm off"
    return Suspect("", where, what, _DO, test)
