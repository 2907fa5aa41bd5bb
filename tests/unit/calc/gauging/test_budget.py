"""The uncertainty of one reading, component by component."""

import math
from dataclasses import replace

import numpy as np
import pytest

from dryfit.base.estimate import Estimate
from dryfit.calc.gauging import reading_budget
from dryfit.model.instrument import Instrument
from dryfit.model.instrument_table import COMMON_INSTRUMENTS

PLA = Estimate(70e-6, 8e-6)
CALIPER = Instrument("c", "caliper", 300.0, 0.01, 0.02, 0.1, repeatability_mm=0.03, repeatability_dof=10.0)
SQUARE = Instrument("s", "square", 300.0, 0.05, 0.05, repeatability_mm=0.03)


def parts(budget):
    return {item.name: item for item in budget.components}


def test_the_components_of_a_caliper():
    """By hand: limits over the root of 3, steps over the root of 12; JCGM 100:2008, 4.3.7 and F.2.2.1."""
    budget = reading_budget(CALIPER, 200.0)
    found = {name: item.contribution_mm for name, item in parts(budget).items()}
    assert found == pytest.approx(
        {
            "resolution": 0.01 / math.sqrt(12.0),
            "repeatability": 0.03,
            "zero of the instrument": 0.02 / math.sqrt(3.0),
            "scale of the instrument": 0.1 * 0.2 / math.sqrt(3.0),
        }
    )
    assert budget.std_mm == pytest.approx(math.hypot(*found.values()))
    # only the repeatability has finite degrees of freedom: G.4.1 by hand
    assert budget.dof == pytest.approx(10.0 * (budget.std_mm / 0.03) ** 4)


def test_repeats_average_out_only_what_is_each_readings_own():
    budget = reading_budget(CALIPER, 200.0)
    assert budget.own_std_mm == pytest.approx(math.hypot(0.03, 0.01 / math.sqrt(12.0)))
    assert {item.name for item in budget.components if item.is_shared} == {
        "zero of the instrument",
        "scale of the instrument",
    }


def test_the_departure_of_a_square_grows_with_the_height_read():
    low, tip = reading_budget(SQUARE, 100.0), reading_budget(SQUARE, 300.0)
    assert parts(tip)["departure of the square"].contribution_mm == pytest.approx(0.05 / math.sqrt(3.0))
    assert parts(low)["departure of the square"].contribution_mm == pytest.approx(0.05 / math.sqrt(3.0) / 3.0)


def test_the_temperature_acts_through_the_difference_of_the_expansions():
    """Against a derivative by differences of value (1 + (a_i - a_m)(T - 20))."""

    def corrected(temp_c, expansion):
        return 200.0 * (1.0 + (CALIPER.expansion_per_k - expansion) * (temp_c - 20.0))

    found = parts(reading_budget(CALIPER, 200.0, PLA, 24.0))
    by_temperature = corrected(24.5, PLA.value) - corrected(23.5, PLA.value)
    by_expansion = (corrected(24.0, PLA.value + 1e-6) - corrected(24.0, PLA.value - 1e-6)) / 2e-6
    assert found["temperature"].sensitivity == pytest.approx(by_temperature)
    assert found["temperature"].std == 1.0
    assert found["expansion of the body"].sensitivity == pytest.approx(by_expansion)
    assert found["expansion of the body"].contribution_mm == pytest.approx(200.0 * 4.0 * 8e-6)


def test_an_angle_does_not_hang_on_the_temperature():
    assert "temperature" not in parts(reading_budget(SQUARE, 200.0, PLA, 24.0))


def test_without_a_temperature_its_components_are_left_out():
    assert set(parts(reading_budget(CALIPER, 200.0, PLA))) == set(parts(reading_budget(CALIPER, 200.0)))


def test_a_perfect_instrument_has_no_uncertainty_and_no_degrees_of_freedom_to_speak_of():
    perfect = replace(CALIPER, resolution_mm=1e-300, mpe_mm=0.0, mpe_per_m_mm=0.0, repeatability_mm=0.0)
    budget = reading_budget(perfect, 100.0)
    assert budget.std_mm < 1e-290
    assert budget.share(budget.components[0]) in (0.0, 1.0)


def test_a_length_of_nothing_is_no_reading():
    with pytest.raises(ValueError, match="above zero"):
        reading_budget(CALIPER, 0.0)


def test_the_sum_at_full_range_is_the_limit_of_the_source():
    """DIN 862 0.03 mm at 300 mm; 2014/32/EU class II with an end: 0.3 + 0.2 L + 0.2 mm, L in m."""
    for id, limit in (
        ("caliper-150", 0.03),
        ("caliper-300", 0.03),
        ("steel-rule-1000", 0.7),
        ("tape-3m", 1.1),
    ):
        row = COMMON_INSTRUMENTS[id]
        assert row.mpe_mm + row.mpe_per_m_mm * row.range_mm / 1000.0 == pytest.approx(limit)
    # DIN 875-1 class 2 at the tip: 20 um + L / 10
    for blade in (100, 150, 300):
        assert COMMON_INSTRUMENTS[f"square-{blade}"].mpe_mm == pytest.approx(0.020 + blade / 10_000)


def test_a_longer_reading_is_never_better_known():
    for row in COMMON_INSTRUMENTS.values():
        lengths = np.linspace(max(row.least_mm, 1.0), row.range_mm, 7)
        stds = [reading_budget(row, length, PLA, 25.0).std_mm for length in lengths]
        assert (np.diff(stds) >= 0).all()
