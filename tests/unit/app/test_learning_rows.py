"""How a reading follows from the scatter of printed points: alike in every direction."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from building import machine, ring
from dryfit.app.looking_ahead import look_ahead
from dryfit.base.estimate import Estimate
from dryfit.model.machine import FIGURES
from support.printed_parts import FINE, as_built_of, chain_as_built, points_measure, print_of, reading_of

SCATTER_MM = 0.05
# Every figure exact, so that scatter is all that is left.
EXACT = {name: Estimate(0.0) for name in FIGURES}


@pytest.mark.parametrize("other", range(4))
def test_a_length_scatters_as_two_points_whatever_its_direction(other: int) -> None:
    """std^2 = 2 sigma^2 of the length itself: closed form for two points that scatter alike in all directions."""
    made = ring(4, machine(repeatability_mm=SCATTER_MM, **EXACT))
    table = made.chain.structure.table
    part = 1  # r2: from a contact of its first joint to each corner of its second
    first = next(row for row in range(len(table)) if table.is_face[row] and table.second[row] == part)
    second = [row for row in range(len(table)) if table.is_face[row] and table.first[row] == part][other]
    measure = points_measure(
        table.p_second[first], table.p_first[second], table.n_second[first], table.n_first[second]
    )
    item = print_of(made.project, "r2", 1)
    reading = reading_of(made.project, item, measure, 500.0, 1, FINE)
    asked = dataclasses.replace(reading, reading=dataclasses.replace(reading.reading, record=0))
    ahead = look_ahead(chain_as_built(made, as_built_of([(item, [], True)])), {1: [asked]})
    assert ahead.true_std_mm[0] == pytest.approx(np.sqrt(2.0) * SCATTER_MM, rel=1e-6)
