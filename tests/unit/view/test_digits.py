"""Numbers with their uncertainty, and probabilities, as text."""

import math
from decimal import ROUND_HALF_EVEN, Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dryfit.view.digits import (
    decimals_of,
    write_estimate,
    write_limits,
    write_number,
    write_probability,
    write_share,
    write_signed,
    write_vector,
)


class TestEstimate:
    def test_the_second_form_of_jcgm_100(self):
        # JCGM 100:2008, 7.2.2, form 2: m = 100,02147(35) g, standard uncertainty 0,35 mg
        assert write_estimate(100.02147, 0.00035) == "100.02147(35)"

    @pytest.mark.parametrize(
        ("value", "std", "text"),
        [
            (20.2397, 0.12, "20.24(12)"),
            (20.2397, 0.0996, "20.24(10)"),  # rounds up into the next power of ten
            (20.2397, 9.96, "20(10)"),
            (20.2397, 1.2, "20.2(1.2)"),
            (20.2397, 12.4, "20(12)"),
            (12345.0, 123.0, "12340(120)"),
            (12345.0, 999.0, "12300(1000)"),
            (0.0, 0.05, "0.000(50)"),
            (-0.0004, 0.05, "0.000(50)"),  # no minus before zero
            (-0.04, 1.2, "0.0(1.2)"),
            (-4.0, 123.0, "0(120)"),
            (-0.126, 0.05, "-0.126(50)"),
            (1e7, 1e-3, "10000000.0000(10)"),
            (1.0, 1e-9, "1.0000000000(10)"),
            (3.0, 0.0, "3 exact"),
            (3.0, 1e-17, "3 exact"),  # rounding of the arithmetic
            (-0.0, 0.0, "0 exact"),
            (1.23456, 0.0, "1.235 exact"),
        ],
    )
    def test_edges(self, value, std, text):
        assert write_estimate(value, std) == text

    @pytest.mark.parametrize("exponent", range(-12, 9))
    @pytest.mark.parametrize("lead", ["1", "1.04", "9.94", "9.951", "9.99"])
    def test_two_digits_of_the_uncertainty(self, exponent, lead):
        """Against the decimal arithmetic of the standard library."""
        exact = Decimal(lead).scaleb(exponent)
        places = decimals_of(float(exact))
        rounded = exact.quantize(Decimal(1).scaleb(-places), ROUND_HALF_EVEN)
        assert len(str(int(rounded.scaleb(places)))) == 2

    @given(st.floats(-1e9, 1e9), st.floats(5e-324, 1e9))
    def test_it_never_fails_and_the_value_is_kept_within_the_uncertainty(self, value, std):
        text = write_estimate(value, std)
        shown = float(text.partition("(")[0].removesuffix(" exact"))
        assert abs(shown - value) <= 0.06 * std + 6e-4 * (std < 1e-12) + 1e-12 * abs(value)
        assert not text.startswith("-0(")


class TestOthers:
    @pytest.mark.parametrize(
        ("value", "text"), [(1.0, "1"), (-0.0001, "0"), (0.5, "0.5"), (100.0, "100"), (1e7, "10000000")]
    )
    def test_plain_numbers(self, value, text):
        assert write_number(value) == text

    def test_no_decimals_cut_no_zeros_of_a_whole_number(self):
        assert write_number(100.0, 0) == "100"

    @pytest.mark.parametrize(
        ("value", "std", "text"),
        [
            (3.124, 0.43, "+3.12"), (-3.124, 0.43, "-3.12"), (0.001, 0.43, "0.00"), (-0.001, 0.43, "0.00"),
            (3.1241, 0.0, "+3.124"), (52.0, 340.0, "+52"), (1e-9, 1e-12, "0.000000"),
        ],
    )  # fmt: skip
    def test_shifts_carry_their_sign(self, value, std, text):
        assert write_signed(value, std) == text

    @pytest.mark.parametrize(
        ("lower", "upper", "text"),
        [(-0.1, 0.4, "-0.1 to 0.4"), (None, 5.0, "at most 5"), (3.0, None, "at least 3"), (None, 0.0, "at most 0"),
         (None, None, "-")],
    )  # fmt: skip
    def test_limits(self, lower, upper, text):
        assert write_limits(lower, upper) == text

    @pytest.mark.parametrize(
        ("p", "text"),
        [
            (0.0, "< 0.01 %"), (9.9e-5, "< 0.01 %"), (1e-4, "0.01 %"), (0.00999, "1.00 %"), (0.01, "1.0 %"),
            (0.186, "18.6 %"), (0.99, "99.0 %"), (0.9928, "99.28 %"), (0.9999, "99.99 %"), (0.99995, "> 99.99 %"),
            (1.0, "> 99.99 %"), (None, "not checked"),
        ],
    )  # fmt: skip
    def test_a_probability_is_never_0_or_100(self, p, text):
        assert write_probability(p) == text

    @given(st.floats(0.0, 1.0))
    def test_probabilities_read_back(self, p):
        number = float(write_probability(p).strip("<> %")) / 100
        assert math.isclose(number, p, abs_tol=6e-4)

    @pytest.mark.parametrize(
        ("share", "text"), [(0.0, "0 %"), (0.004, "< 1 %"), (0.006, "1 %"), (1.0, "100 %")]
    )
    def test_shares(self, share, text):
        assert write_share(share) == text

    def test_sizes(self):
        assert write_vector((412.04, 388.0, 51.06)) == "412.0 x 388.0 x 51.1"
