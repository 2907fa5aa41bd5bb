"""What must hold of every forecast that rests on readings of printed parts."""

from __future__ import annotations

import dataclasses
from typing import NamedTuple

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from building import Assembled, machine, ring
from building.project import material
from dryfit.app.as_built import AsBuiltParts, PartReading
from dryfit.app.forecast import Chain, learn_chain
from dryfit.app.looking_ahead import look_ahead
from dryfit.base.arrays import Array
from dryfit.base.estimate import Estimate
from dryfit.model.instrument import Instrument
from support.printed_parts import (
    FINE,
    OFF,
    as_built_of,
    chain_as_built,
    forecast_as_built,
    of_itself,
    points_measure,
    print_of,
    reading_of,
    without_readings,
)

few = settings(max_examples=10, deadline=None)
departures = st.floats(-0.4, 0.4)


class Case(NamedTuple):
    """A ring and what was printed and read of it; shown in few words, since all of it would fill pages."""

    assembled: Assembled
    as_built: AsBuiltParts

    def __repr__(self) -> str:
        figures = self.assembled.project.machines[0].error
        values = [(r.reading.artefact, r.reading.value_mm, r.instrument.id) for r in self.as_built.readings]
        return f"Case({figures.repeatability_mm}, {dict(figures.figures)}, {values})"


@st.composite
def read_rings(draw: st.DrawFn) -> Case:
    """A ring, some of its segments printed, chords of them read with one of two calipers; some off of themselves."""
    printer = machine(
        repeatability_mm=draw(st.floats(0.01, 0.1)),
        skew_xy_deg=Estimate(draw(st.floats(-0.3, 0.3)), draw(st.floats(0.0, 0.1))),
        scale_x=Estimate(0.0, draw(st.floats(0.0, 0.001))),
        boundary_offset_mm=Estimate(0.0, draw(st.floats(0.0, 0.1))),
    )
    assembled = ring(draw(st.integers(3, 5)), printer, play_mm=draw(st.sampled_from([0.0, 0.05])))
    plastic = material(shrinkage=Estimate(0.0, draw(st.floats(0.0, 0.001))))
    assembled = assembled.replaced(materials=(plastic,))
    prints = []
    record = 0
    for place in range(draw(st.integers(1, 3))):
        name = assembled.project.parts[place].id
        item = print_of(assembled.project, name, 100 + place)
        readings = []
        for _ in range(draw(st.integers(1, 4))):
            record += 1
            readings.append(_reading(draw, assembled, item, place, record))
        prints.append((item, readings, draw(st.booleans())))
    as_built = as_built_of(prints)
    odd = [item.print.part for item in as_built.prints if draw(st.integers(0, 3)) == 0]
    return Case(assembled, of_itself(as_built, draw(st.floats(0.1, 3.0)), *odd) if odd else as_built)


def _reading(draw: st.DrawFn, assembled: Assembled, item: object, place: int, record: int) -> PartReading:
    first, second = _corners(assembled, place, draw(st.integers(0, 3)), draw(st.integers(0, 3)))
    measure = points_measure(first, second)
    instrument: Instrument = draw(st.sampled_from([FINE, OFF]))
    value = measure.length_mm + draw(departures)
    return reading_of(assembled.project, item, measure, value, record, instrument)  # type: ignore[arg-type]


def _corners(assembled: Assembled, place: int, one: int, other: int) -> tuple[Array, Array]:
    joints = [joint for joint in assembled.project.joints if assembled.project.parts[place].id in joint.parts]
    faces = [joint.faces.points_on_first for joint in joints if joint.faces is not None]
    return faces[0][one], faces[1][other]


def known_of(assembled: Assembled, as_built: AsBuiltParts):
    return learn_chain(chain_as_built(assembled, as_built))


@few
@given(read_rings())
def test_readings_never_widen_a_forecast(case: Case) -> None:
    assembled, as_built = case
    after = forecast_as_built(assembled, as_built)
    before = forecast_as_built(assembled, without_readings(as_built))
    for now, then in zip(after.characteristics, before.characteristics, strict=True):
        assert now.std <= then.std * (1 + 1e-9) + 1e-12
    if all(item.own_shape is None for item in as_built.prints):
        assert after.prior == before.characteristics


@few
@given(read_rings(), st.randoms())
def test_the_order_of_readings_does_not_matter(case: Case, chance) -> None:
    assembled, as_built = case
    prints = [
        dataclasses.replace(item, readings=tuple(chance.sample(item.readings, len(item.readings))))
        for item in as_built.prints
    ]
    chance.shuffle(prints)
    shuffled = dataclasses.replace(as_built, prints=tuple(prints))
    one, other = (forecast_as_built(assembled, state) for state in (as_built, shuffled))
    for a, b in zip(one.characteristics, other.characteristics, strict=True):
        assert a.predicted == pytest.approx(b.predicted, abs=1e-7)
        assert a.std == pytest.approx(b.std, abs=1e-9)


@few
@given(read_rings())
def test_shares_are_never_negative_and_add_up_to_one(case: Case) -> None:
    for item in forecast_as_built(*case).characteristics:
        shares = [cause.variance_share for cause in item.contributions]
        assert min(shares, default=0.0) >= 0.0
        if item.std > 1e-9:
            assert sum(shares) == pytest.approx(1.0)


@few
@given(read_rings(), departures)
def test_what_is_expected_of_a_reading_beforehand_is_borne_out(case: Case, departure: float) -> None:
    """The spread that a reading is expected to leave is the spread that it leaves, whatever it shows.

    To first order: the lines are redrawn where the reading puts the figures, which moves them by a thousandth.
    """
    assembled, as_built = case
    print_read = as_built.prints[0]
    item = print_read.print
    place = [part.id for part in assembled.project.parts].index(item.part)
    measure = points_measure(*_corners(assembled, place, 0, 2))
    chain = chain_as_built(assembled, as_built)
    thought = reading_of(assembled.project, item, measure, 1.0, 0)
    ahead = look_ahead(chain, {item.record: [thought]})
    value = float(ahead.shown_mm[0]) + departure
    taken = reading_of(assembled.project, item, measure, value, 999)
    more = dataclasses.replace(
        as_built,
        prints=(
            dataclasses.replace(print_read, readings=(*print_read.readings, taken)),
            *as_built.prints[1:],
        ),
    )
    before, after = _lines(chain), _lines(chain_as_built(assembled, more))
    expected = before[1] - ahead.with_lines[:, 0] ** 2 / ahead.std_mm[0] ** 2
    assert after[1] == pytest.approx(np.maximum(expected, 0.0), rel=2e-3, abs=1e-9)
    moved = ahead.with_lines[:, 0] / ahead.std_mm[0] ** 2 * departure
    assert after[0] - before[0] == pytest.approx(moved, rel=2e-2, abs=2e-3)


def _lines(chain: Chain) -> tuple[Array, Array]:
    known = learn_chain(chain)
    assert known is not None
    causes = known.causes
    variance = causes.matrix**2 @ causes.sources.std**2 + causes.spread.sum(axis=1)
    return causes.matrix @ causes.sources.shift, variance
