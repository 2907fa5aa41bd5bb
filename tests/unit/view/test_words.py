"""States, causes and sentences of a forecast, and its form as JSON."""

import dataclasses
import json

import pytest

from dryfit.app.ready import Check, HoldPoint
from dryfit.base.errors import ReferenceUnknown
from dryfit.model.forecast import CharacteristicForecast, Contribution, ForecastReport, PartForecast
from dryfit.view.blocks import COLOURS, SHAPES, Heading, Sentence, Table
from dryfit.view.contributions import contribution_blocks
from dryfit.view.forecast import forecast_blocks, forecast_state, is_clear, main_causes, state_of
from dryfit.view.plain import forecast_plain, hold_point_plain, to_plain
from dryfit.view.sources import describe_source

GAP = CharacteristicForecast(
    id="gap", kind="gap", unit="mm", nominal=0.0, predicted=3.0, std=0.4, low=2.2, high=3.8, lower_limit=-0.5,
    upper_limit=0.5, p_out=0.9999, worst_low=1.0, worst_high=5.0, linear_minus_exact=0.01,
    contributions=(
        Contribution("tall.skew_xy_deg", 0.2, 2.7), Contribution("ring-1.scatter", 0.5, 0.0),
        Contribution("pla.shrinkage", 0.3, 0.3),
    ),
)  # fmt: skip


def changed(**fields):
    return dataclasses.replace(GAP, **fields)


def report(*items, risk=0.05, placing=()):
    return ForecastReport(
        project="ring", risk=risk, characteristics=items, placing=placing, assumptions=("nothing moves",),
        datum="r1", order=("r1",), closing=(), what_if=(), program_version="0", input_hash="",
    )  # fmt: skip


def sentence(item):
    return next(
        block.text for block in forecast_blocks(report(item), brief=True) if isinstance(block, Sentence)
    )


HOLDS = changed(p_out=0.01)
DOUBTFUL = changed(p_out=0.01, linear_minus_exact=0.2)
UNKNOWN = changed(p_out=None, free_parts=("r2",))


class TestStates:
    @pytest.mark.parametrize(
        ("item", "state"), [(GAP, "stop"), (HOLDS, "pass"), (DOUBTFUL, "caution"), (UNKNOWN, "not checked")]
    )
    def test_of_a_characteristic(self, item, state):
        assert state_of(item, 0.05) == state

    def test_the_risk_itself_is_still_allowed(self):
        assert state_of(changed(p_out=0.05), 0.05) == "pass"

    @pytest.mark.parametrize(
        ("items", "state", "clear"),
        [
            ((HOLDS, DOUBTFUL, UNKNOWN, GAP), "stop", False),
            ((HOLDS, DOUBTFUL, UNKNOWN), "not checked", False),
            ((HOLDS, DOUBTFUL), "caution", True),
            ((HOLDS,), "pass", True),
            ((), "not checked", False),
        ],
    )
    def test_the_gravest_counts(self, items, state, clear):
        assert forecast_state(report(*items)) == state
        assert is_clear(report(*items)) is clear

    def test_every_state_has_a_shape_of_its_own_and_a_colour(self):
        assert len(set(SHAPES.values())) == len(SHAPES) == 4
        assert set(COLOURS) == set(SHAPES)


class TestVerdict:
    @pytest.mark.parametrize(
        ("items", "words"),
        [
            ((GAP, HOLDS), "1 of 2 characteristics will be out of limits"),
            ((GAP, changed(p_out=0.2)), "2 of 2 characteristics may be out of limits"),
            ((UNKNOWN, HOLDS), "1 of 2 are undetermined"),
            ((HOLDS,), "all 1 characteristics hold at a risk of 5 % each"),
            ((), "nothing to forecast"),
        ],
    )
    def test_words(self, items, words):
        heading = forecast_blocks(report(*items))[0]
        assert isinstance(heading, Heading)
        assert words in heading.text


class TestSentences:
    def test_share_of_the_shift(self):
        # 2.7 of the 3.0 mm by which the gap departs from the model
        assert "90 % of the shift is the lean of X against Y (tall)." in sentence(GAP)
        assert sentence(GAP).startswith("gap will not hold: 3.00(40) mm against -0.5 to 0.5.")

    def test_the_departure_counts_from_the_model_not_from_zero(self):
        assert "90 % of the shift" in sentence(changed(nominal=10.0, predicted=13.0))

    def test_a_cause_that_others_take_back(self):
        causes = (Contribution("tall.skew_xy_deg", 0.5, 4.0), Contribution("pla.shrinkage", 0.5, -1.0))
        assert "alone moves it by +4.00 mm; others take some back." in sentence(changed(contributions=causes))

    def test_a_cause_against_the_shift_is_not_given_as_its_share(self):
        causes = (Contribution("tall.skew_xy_deg", 0.1, -4.0), Contribution("pla.shrinkage", 0.9, 7.0))
        assert "of the shift" not in sentence(changed(contributions=causes))

    def test_a_spread_without_shift(self):
        item = changed(predicted=0.1, p_out=0.3)
        assert "gap may not hold" in sentence(item)
        assert (
            "It spreads too far: 50 % of its variance is the scatter of printed points (ring-1)."
            in sentence(item)
        )

    def test_the_model_itself(self):
        assert "The model itself is out of limits." in sentence(changed(contributions=(), std=0.0))

    def test_undetermined_names_the_free_parts(self):
        assert "nothing holds r2 in every direction" in sentence(UNKNOWN)

    def test_doubtful_first_order(self):
        assert "0.2 mm, more than a tenth of its limits" in sentence(DOUBTFUL)

    def test_free_motions_and_assumptions_follow_unless_brief(self):
        free = PartForecast("r2", ("slides along x",), 0.0, (0.0, 0.0, 0.0), 0.0, ())
        full = [
            block.text
            for block in forecast_blocks(report(HOLDS, placing=(free,)))
            if isinstance(block, Sentence)
        ]
        assert full == ["r2 is under-located: it slides along x.", "assumed: nothing moves"]
        brief = [
            b.text
            for b in forecast_blocks(report(HOLDS, placing=(free,)), brief=True)
            if isinstance(b, Sentence)
        ]
        assert "1 part is under-located: r2." in brief
        assert not [text for text in brief if "slides" in text or "nothing moves" in text]
        assert brief[-1].startswith("1 assumption:")

    def test_what_readings_have_cleared_is_shown_in_brief_as_well(self):
        other = changed(id="step", p_out=0.001)
        told = dataclasses.replace(report(HOLDS, other), prior=(GAP, other))
        (table,) = [block for block in forecast_blocks(told, brief=True) if isinstance(block, Table)]
        assert [row[0] for row in table.rows] == ["gap"]


class TestCauses:
    def test_shifts_and_shares(self):
        # 0.3 mm is more than half of the std of 0.4 mm; 0.1 mm is not, and its share is given instead
        assert main_causes(GAP)[:2] == ["tall.skew_xy_deg +2.70", "ring-1.scatter 50 % of variance"]
        assert main_causes(GAP)[2] == "pla.shrinkage +0.30"
        small = (Contribution("pla.shrinkage", 0.3, 0.1),)
        assert main_causes(changed(contributions=small)) == ["pla.shrinkage 30 % of variance"]

    def test_small_ones_are_left_out(self):
        assert main_causes(changed(contributions=(Contribution("a.scatter", 0.04, 0.1),))) == []

    def test_all_of_them_on_demand(self):
        blocks = contribution_blocks(report(GAP), "gap")
        tables = [block for block in blocks if isinstance(block, Table)]
        assert [row[2] for row in tables[1].rows] == ["20 %", "50 %", "30 %"]
        with pytest.raises(ReferenceUnknown, match="known: gap"):
            contribution_blocks(report(GAP), "gpa")

    @pytest.mark.parametrize(
        ("source", "words"),
        [
            ("tall.skew_xz_deg", "lean of the upright toward X (tall)"),
            ("ring-1.scatter", "scatter of printed points (ring-1)"),
            ("a.b:c.d.play", "seating play (a.b:c.d)"),
            ("base:post.bond_line_mm", "bond line thickness (base:post)"),
            ("assembly.temp_c", "temperature (assembly)"),
            ("pla.expansion_per_k", "thermal expansion (pla)"),
            ("something.else", "something.else"),
            ("play", "play"),
        ],
    )
    def test_sources_in_words(self, source, words):
        assert describe_source(source) == words


class TestPlain:
    def test_it_is_json_and_says_what_is_not_known(self):
        plain = json.loads(json.dumps(forecast_plain(report(GAP, UNKNOWN)), allow_nan=False))
        assert plain["characteristics"][1]["p_out"] is None
        assert plain["p_any_out_at_most"] is None
        assert plain["state"] == "stop"

    def test_bounds_on_anything_out(self):
        # Boole and Frechet: at least the largest, at most the sum
        plain = forecast_plain(report(changed(p_out=0.2), changed(p_out=0.3)))
        assert (plain["p_any_out_at_least"], plain["p_any_out_at_most"]) == (0.3, pytest.approx(0.5))
        assert forecast_plain(report(changed(p_out=0.7), changed(p_out=0.8)))["p_any_out_at_most"] == 1.0

    def test_a_hold_point_carries_its_forecast(self):
        check = Check("mesh", "ring-1", "caution", "open", "mend it")
        plain = hold_point_plain(HoldPoint("ring", "printing", (check,), report(GAP)))
        assert plain["state"] == "caution"
        assert plain["checks"][0] == {
            "topic": "mesh", "subject": "ring-1", "state": "caution", "reason": "open", "do": "mend it",
        }  # fmt: skip
        assert plain["forecast"]["project"] == "ring"

    def test_what_has_no_plain_form_is_an_error(self):
        with pytest.raises(TypeError):
            to_plain(object())
