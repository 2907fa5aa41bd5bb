"""Every kind of problem has words, a state, places, and something to do."""

from __future__ import annotations

from typing import get_args

import numpy as np
import pytest

from dryfit.app.health_words import health_findings
from dryfit.calc.health import HealthOptions, HealthReport, Problem, ProblemKind, examine
from dryfit.model.mesh import TriangleMesh
from support.mesh_files import box

CUBE = TriangleMesh(*box((10, 10, 10)))


def report(*problems, not_checked=()):
    return HealthReport(12, 8, 0, 1, True, problems, not_checked)


@pytest.mark.parametrize("kind", get_args(ProblemKind))
def test_every_kind_is_put_in_words(kind):
    problem = Problem(kind, 3, [0, 1], np.ones((2, 3)), np.array([2.0, 1.0]), 2.0, "mm", 4)
    (finding,) = health_findings("ring 1", report(problem))
    assert finding.topic == "health"
    assert finding.parts == ("ring 1",)
    assert finding.what
    assert "{" not in finding.do
    assert bool(finding.do) == (finding.state != "pass")
    assert (finding.state == "pass") == (kind == "unused vertices")
    assert (finding.count, finding.amount, finding.unit) == (3, 2.0, "mm")
    assert finding.places_mm.tolist() == [[1, 1, 1], [1, 1, 1]]
    assert finding.triangles.tolist() == [0, 1]


def test_one_is_not_spoken_of_as_several():
    (finding,) = health_findings("a", report(Problem("hole", 1, amount=3.4142135, unit="mm", members=3)))
    assert finding.what == "1 hole in the surface (3 open edges; the longest rim is 3.414 mm)"
    assert finding.do == "close it in the modeller, or: dryfit mend a --fill-holes-up-to 3.43"


def test_what_is_advised_is_enough():
    """The length in the advice, typed back, holds the rim that it was made of."""
    for rim in np.random.default_rng(1).uniform(1e-6, 1e6, 500):
        (finding,) = health_findings("a", report(Problem("hole", 1, amount=float(rim), unit="mm", members=3)))
        assert float(finding.do.rsplit(" ", 1)[1]) >= rim


def test_a_shallow_crossing_is_a_caution_and_a_deep_one_a_stop():
    states = [
        health_findings("a", report(Problem("self-intersection", 1, amount=depth, members=1)))[0].state
        for depth in (0.0, 0.009, 0.011)
    ]
    assert states == ["caution", "caution", "stop"]


def test_a_sound_mesh_passes_and_says_why():
    (finding,) = health_findings("a", examine(CUBE))
    assert finding.state == "pass"
    assert finding.what == "closed, one body, faces outwards, nothing passes through itself: 12 triangles"


def test_what_was_not_checked_is_never_a_pass():
    found = health_findings("a", examine(CUBE, options=HealthOptions(most_triangles=3)))
    assert [item.state for item in found] == ["not checked"]
    assert "12 faces are more than the 3" in found[0].what
