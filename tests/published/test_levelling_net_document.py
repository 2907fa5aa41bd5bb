"""The levelling net of Siki (Budapest University of Technology, open tutorial, seen), through rows of a document.

Heights of four points as dimensions, six differences as observations, the known height as an exact one.
"""

import numpy as np
import pytest

from dryfit.app.schedule import look_for_doubts
from dryfit.app.schedule_solving import solve
from dryfit.store.document import parse_document
from published.registry import check
from published.test_levelling_net import KNOWN_M, NET, SOURCE

HEAD = 'schema = 1\n[project]\nname = "Net"\nscale = "1:1"\n'


def document() -> str:
    rows = [HEAD, *(f'[[dimension]]\nid = "H{point}"\n' for point in range(1, 5))]
    rows.append(f'[[observation]]\nid = "known"\nof = "H4"\nvalue = "{KNOWN_M} m"\nstd = 0\n')
    rows += [
        f'[[observation]]\nid = "{start}-{end}"\nof = {{ H{end} = 1, H{start} = -1 }}\n'
        f'value = {height}\nunit = "m"\nstd = {0.0007 * length!r}\n'
        for start, end, height, length in NET
    ]
    return "\n".join(rows)


def test_the_net_as_a_document() -> None:
    solved = solve(parse_document(document(), "project.toml").project)
    adjustment = solved.adjustment
    for name, theirs in (("H1", 104.2350), ("H2", 103.4868), ("H3", 102.9588)):
        check(
            SOURCE,
            f"{name}, as a document",
            theirs,
            solved.prototype(name).value / 1e3,
            6e-5,
            seen=True,
            unit="m",
        )
    check(SOURCE, "vPv, as a document", 8.217, adjustment.vpv, 6e-4, seen=True)
    lines = [f"{row[0]}-{row[1]}" for row in NET]
    for name, theirs, ours in zip(
        lines, (1.9, 2.1, 0.0, 2.6, 0.7, 0.6), adjustment.normalised[:6], strict=True
    ):
        check(SOURCE, f"test value {name}, as a document", theirs, abs(ours), 0.05, seen=True)
    for name, theirs, ours in zip(lines, (0.3, 0.7, 0.5, 0.5, 0.7, 0.2), adjustment.redundancy, strict=True):
        check(SOURCE, f"redundancy {name}, as a document", theirs, ours, 0.05, seen=True)
    # The known height is controlled by nothing: it only says where the net lies.
    assert np.isnan(adjustment.normalised[6])
    # At 5 % for the family of six the limit is 2.64; but the global test refuses, so that 2.58 suffices.
    doubts, robust = look_for_doubts(solved)
    assert doubts.critical == pytest.approx(2.638, abs=1e-3)
    assert [solved.problem.labels[doubt.row].id for doubt in doubts.found] == ["2-3"]
    assert doubts.found[0].limit == pytest.approx(2.576, abs=1e-3)
    check(SOURCE, "vPv without 2-3, by update", 1.500, doubts.found[0].without.vpv, 6e-4, seen=True)
    assert robust is not None
    others = [row for row in range(6) if row != 3]
    assert robust.weight[3] <= robust.weight[others].min()


def test_the_net_without_the_line_that_is_wrong() -> None:
    solved = solve(parse_document(document(), "project.toml").project, (), frozenset({"2-3"}))
    check(SOURCE, "vPv without 2-3, as a document", 1.500, solved.adjustment.vpv, 6e-4, seen=True)
