"""What is queried, and why; and that a true reading hardly ever is."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from building.artefact import MEASURES, artefact, printed
from dryfit.app.reading_queries import expect_readings, query_reading
from dryfit.model.instrument_table import COMMON_INSTRUMENTS
from dryfit.model.reading import Reading

ARTEFACT = artefact()
CALIPER = COMMON_INSTRUMENTS["caliper-300"]
SQUARE = COMMON_INSTRUMENTS["square-300"]
LENGTHS = [measure.id for measure in MEASURES if measure.kind != "square"]


def reading(measure, value, record=1, instrument=CALIPER):
    return Reading(record, "", "tall", 1, measure, value, instrument.id)


def kinds(measure, value, earlier=(), instrument=CALIPER):
    return [reason.kind for reason in query_reading(ARTEFACT, measure, value, earlier, instrument)]


@pytest.mark.parametrize("value", [278.5, 279.9, 280.0, 281.2])
def test_what_an_unknown_machine_may_well_be_is_not_queried(value):
    assert kinds("outside-x-280", value) == []


@pytest.mark.parametrize(
    ("value", "kind", "would_be"),
    [
        (2800.4, "decimal", 280.04),
        (28.004, "decimal", 280.04),
        (0.28004, "decimal", 280.04),
        (11.0252, "inch", 280.04),
        (208.04, "digits", 280.04),
    ],
)
def test_a_slip_is_named_with_the_value_that_was_meant(value, kind, would_be):
    (reason, *rest) = [
        item for item in query_reading(ARTEFACT, "outside-x-280", value, (), CALIPER) if item.kind != "range"
    ]
    assert rest == []
    assert (reason.kind, reason.would_be) == (kind, pytest.approx(would_be, abs=1e-3))
    assert reason.what


def test_two_swapped_rows_are_named_both_ways():
    earlier = [reading("outside-x-280", 140.03)]
    (reason,) = query_reading(ARTEFACT, "outside-x-140", 280.05, earlier, CALIPER)
    assert reason.kind == "swapped"
    assert "measure 1" in reason.what
    assert "140.03" in reason.what


def test_a_mistaken_row_names_the_row_that_would_fit():
    (reason,) = query_reading(ARTEFACT, "outside-x-280", 140.02, (), CALIPER)
    assert reason.kind == "other measure"
    assert "measure 2" in reason.what


def test_what_no_slip_explains_is_said_in_multiples_of_what_is_possible():
    (reason,) = query_reading(ARTEFACT, "outside-x-280", 262.7, (), CALIPER)
    assert reason.kind == "machine"
    assert "-17.30 mm" in reason.what


def test_a_repeat_far_from_its_fellows():
    earlier = [reading("outside-x-280", value, k) for k, value in enumerate((280.03, 280.05, 280.04), 1)]
    assert kinds("outside-x-280", 280.06, earlier) == []
    # 280.40 with two digits exchanged is 280.04: that is likelier than a bad reading, and said
    assert kinds("outside-x-280", 280.40, earlier) == ["digits"]
    assert kinds("outside-x-280", 281.12, earlier) == ["repeat"]


def test_two_digits_exchanged_show_against_the_fellows():
    earlier = [reading("outside-x-280", value, k) for k, value in enumerate((279.84, 279.86), 1)]
    (reason,) = query_reading(ARTEFACT, "outside-x-280", 278.94, earlier, CALIPER)
    assert (reason.kind, reason.would_be) == ("digits", pytest.approx(279.84))


def test_a_machine_beyond_expectation_is_asked_about_once():
    confirmed = dataclasses.replace(reading("outside-x-280", 262.70), is_confirmed=True)
    assert kinds("outside-x-280", 262.72, [confirmed]) == []
    assert kinds("outside-x-280", 263.72, [confirmed]) != []


def test_a_good_repeat_of_a_bad_reading_is_not_queried():
    assert kinds("outside-x-280", 280.03, [reading("outside-x-280", 28.004)]) == []


def test_repeats_with_another_instrument_are_no_fellows():
    rule = COMMON_INSTRUMENTS["steel-rule-300"]
    assert kinds("outside-x-280", 280.6, [reading("outside-x-280", 280.0, instrument=rule)]) == []


def test_the_gap_of_a_square_may_be_negative_and_its_sign_is_watched():
    earlier = [reading("square-xz", -1.75, instrument=SQUARE)]
    assert kinds("square-xz", -1.70, earlier, SQUARE) == []
    (reason,) = query_reading(ARTEFACT, "square-xz", 1.75, earlier, SQUARE)
    assert (reason.kind, reason.would_be) == ("sign", -1.75)


def test_beyond_the_instrument():
    assert kinds("diagonal-xy", 282.9, instrument=COMMON_INSTRUMENTS["caliper-150"]) == ["range"]
    assert kinds("outside-x-140", 140.1, instrument=COMMON_INSTRUMENTS["micrometer-50"]) == ["range"]
    # a caliper of 300 mm opens to a little more
    assert kinds("outside-x-280", 280.1, instrument=dataclasses.replace(CALIPER, range_mm=280.0)) == []


def test_the_expected_spread_of_a_length_by_hand():
    """Outside length along X: scale and shrinkage 0.3 % each, offset twice, two printed points, the caliper."""
    expected = expect_readings(ARTEFACT, CALIPER)
    points = 2.0 * 0.1**2
    caliper = 0.01**2 / 12 + 0.03**2 + (0.02**2 + (0.28 * 0.1 / 3.0) ** 2) / 3.0
    by_hand = np.sqrt(2 * (280 * 0.003) ** 2 + (2 * 0.1) ** 2 + points + caliper)
    assert expected.values_mm[0] == pytest.approx(280.0)
    assert expected.std_mm[0] == pytest.approx(by_hand, rel=1e-3)


plausible = st.floats(-2.0, 2.0)


@settings(max_examples=80, deadline=None)
@given(
    st.sampled_from(LENGTHS),
    st.fixed_dictionaries(
        {
            **{name: st.floats(-0.006, 0.006) for name in ("scale_x", "scale_y", "scale_z")},
            **{name: st.floats(-0.6, 0.6) for name in ("skew_xy_deg", "skew_xz_deg", "skew_yz_deg")},
            "boundary_offset_mm": st.floats(-0.2, 0.2),
        }
    ),
)
def test_no_machine_within_two_stds_is_ever_queried(measure: str, figures: dict[str, float]) -> None:
    value = printed(figures)[measure]
    assert query_reading(ARTEFACT, measure, round(value, 2), (), CALIPER) == ()


@settings(max_examples=80, deadline=None)
@given(st.sampled_from(LENGTHS), plausible, st.sampled_from([10.0, 0.1]))
def test_every_slip_of_the_decimal_point_is_queried(measure: str, off: float, factor: float) -> None:
    value = round((printed({})[measure] + off * 0.3) * factor, 4)
    assert query_reading(ARTEFACT, measure, value, (), CALIPER)


def test_far_is_five_standard_deviations():
    expected = expect_readings(ARTEFACT, CALIPER)
    edge = 5.0 * float(expected.std_mm[0])
    assert kinds("outside-x-280", 280.0 - edge + 0.01) == []
    assert kinds("outside-x-280", 280.0 - edge - 0.01) != []
