"""A print that is off for a reason of its own: what it tells, and what it no longer tells."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from building import Assembled, machine, ring
from dryfit.app.as_built import AsBuiltParts
from dryfit.app.forecast import learn_chain
from dryfit.app.learning_report import suspect_prints
from dryfit.app.looking_ahead import look_ahead
from dryfit.app.own_shape import source_of
from dryfit.app.reading_decisions import OWN_SHAPE, own_shapes_of
from dryfit.base.estimate import Estimate
from dryfit.store.ledger import LedgerRecord
from support.printed_parts import (
    as_built_of,
    chain_as_built,
    forecast_as_built,
    of_itself,
    points_measure,
    print_of,
    reading_of,
    without_readings,
)

PRINTER = machine(repeatability_mm=0.03, skew_xy_deg=Estimate(0.0, 0.05), scale_x=Estimate(0.0, 0.0005))
CORNERS = ((0, 0), (1, 1), (2, 2), (3, 3), (0, 2), (2, 0), (1, 3), (3, 1))


@pytest.fixture(scope="module")
def assembled() -> Assembled:
    return ring(5, PRINTER)


def read(assembled: Assembled, off_mm: dict[str, tuple[float, ...]]) -> AsBuiltParts:
    """Segments with their chords read: by how much each is off what is expected."""
    prints, asked = [], {}
    for number, part in enumerate(off_mm):
        item = print_of(assembled.project, part, 100 + number)
        joints = [j for j in assembled.project.joints if part in j.parts and j.faces is not None]
        faces = [j.faces.points_on_first for j in joints if j.faces is not None]
        thought = [
            reading_of(assembled.project, item, points_measure(faces[0][one], faces[1][other]), 1.0, 0)
            for one, other in CORNERS[: len(off_mm[part])]
        ]
        asked[item.record] = thought
        prints.append((item, thought, True))
    bare = as_built_of([(item, [], True) for item, _, _ in prints])
    shown = iter(look_ahead(chain_as_built(assembled, bare), asked).shown_mm.tolist())
    record, made = 0, []
    for item, thought, is_built in prints:
        readings = []
        for one, off in zip(thought, off_mm[item.part], strict=True):
            record += 1
            value = float(next(shown)) + off
            readings.append(
                dataclasses.replace(
                    one, reading=dataclasses.replace(one.reading, record=record, value_mm=value)
                )
            )
        made.append((item, readings, is_built))
    return as_built_of(made)


TRUE = {
    "r1": (0.01, -0.01, 0.0, 0.01, 0.0, 0.0, 0.01, 0.0),
    "r2": (0.0, 0.01, 0.0, -0.02, 0.0, 0.01, 0.0, 0.0),
    "r4": (0.01, 0.0, 0.0, 0.0, -0.01, 0.0, 0.0, 0.01),
}
ODD = {**TRUE, "r3": (1.3, 1.31, 1.3, 1.29, 1.3, 1.3, 1.31, 1.3)}


def figures(assembled: Assembled, as_built: AsBuiltParts) -> np.ndarray:
    known = learn_chain(chain_as_built(assembled, as_built))
    assert known is not None
    return np.array([*known.after[:8], *known.after_std[:8]])


def test_a_part_that_is_off_draws_its_machine_until_it_is_off_of_itself(assembled: Assembled) -> None:
    others, odd = figures(assembled, read(assembled, TRUE)), read(assembled, ODD)
    drawn, freed = figures(assembled, odd), figures(assembled, of_itself(odd, 20.0, "r3"))
    std = others[8:]
    tells = std > 0
    assert np.abs((drawn - others)[:8][tells] / std[tells]).max() > 2.0
    # A reading of a part that may be off by 20 mm tells next to nothing of its machine.
    assert np.abs((freed - others)[:8][tells] / std[tells]).max() < 0.02
    assert freed[8:] == pytest.approx(others[8:], rel=1e-3)


def test_it_stands_as_measured_and_is_uncertain_where_it_was_not(assembled: Assembled) -> None:
    odd = of_itself(read(assembled, ODD), 2.0, "r3")
    unread = of_itself(without_readings(read(assembled, ODD)), 2.0, "r3")
    report, before = forecast_as_built(assembled, odd), forecast_as_built(assembled, unread)
    gap = next(item for item in report.characteristics if item.std is not None)
    wide = next(item for item in before.characteristics if item.id == gap.id)
    assert gap.std is not None
    assert wide.std is not None
    assert gap.std < 0.75 * wide.std
    # The parts as placed and the straight lines say the same: each side of a contact moved by its own part.
    moved = abs(gap.predicted - gap.nominal)
    assert moved > 1.0
    assert abs(gap.linear_minus_exact) < 0.02 * moved
    assert source_of("r3") in [cause.source for cause in wide.contributions[:1]]


def test_nothing_read_at_all_leaves_the_shape_open(assembled: Assembled) -> None:
    bare = without_readings(read(assembled, {"r3": (0.0,)}))
    plain = forecast_as_built(assembled, bare)
    wide = forecast_as_built(assembled, of_itself(bare, 1.0))
    assert all(
        then.std < now.std for now, then in zip(wide.characteristics, plain.characteristics, strict=True)
    )


def test_a_print_as_a_whole_is_suspect(assembled: Assembled) -> None:
    known = learn_chain(chain_as_built(assembled, read(assembled, ODD)))
    assert known is not None
    (worst,) = suspect_prints(known)
    assert (worst.part, worst.count) == ("r3", 8)
    assert worst.off_mm == pytest.approx(1.3, abs=0.05)
    assert worst.chance < 1e-6
    freed = learn_chain(chain_as_built(assembled, of_itself(read(assembled, ODD), 1.5, "r3")))
    alone = learn_chain(chain_as_built(assembled, read(assembled, {"r3": ODD["r3"]})))
    right = learn_chain(chain_as_built(assembled, read(assembled, TRUE)))
    for other in (freed, alone, right):
        assert other is not None
        assert suspect_prints(other) == ()


def test_two_prints_that_are_off_are_both_named(assembled: Assembled) -> None:
    odd = read(assembled, {**ODD, "r5": (-1.1, -1.11, -1.1, -1.09, -1.1, -1.1, -1.1, -1.11)})
    known = learn_chain(chain_as_built(assembled, odd))
    assert known is not None
    assert {item.part for item in suspect_prints(known)} == {"r3", "r5"}


def test_the_latest_decision_about_a_print_counts() -> None:
    def decided(id: int, made: int, std_mm: float) -> LedgerRecord:
        payload = {"part": "r3", "print": made, "std_mm": std_mm, "because": "warped", "by": "me"}
        return LedgerRecord(id, "2026-11-20T10:00:00Z", OWN_SHAPE, "", payload, "", "", "")

    held = own_shapes_of([decided(5, 2, 0.0), decided(3, 2, 1.0), decided(4, 1, 0.5), decided(6, 1, 0.7)])
    assert {made: (item.record, item.std_mm) for made, item in held.items()} == {1: (6, 0.7)}
