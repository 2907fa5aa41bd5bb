"""Checks before long prints: bands, series, charts, drift, interval, and the lines of the hold point."""

from __future__ import annotations

import dataclasses
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from dryfit.app.loading import open_project
from dryfit.app.prediction import chain_of, predict
from dryfit.app.preflight import look_preflight, part_mass, take_preflight, withdraw_preflight
from dryfit.app.preflight_band import FARTHEST_DEG, bearable_bands
from dryfit.app.preflight_input import Entry, read_entry
from dryfit.app.preflight_judge import qualification_age
from dryfit.app.preflight_lines import preflight_lines
from dryfit.app.preflight_records import (
    PREFLIGHT,
    Preflight,
    PreflightRefused,
    preflight_from,
    preflight_payload,
    preflights_of,
)
from dryfit.app.preflight_watch import (
    FIRST_INTERVAL_H,
    Point,
    Watching,
    gap_stds,
    reference_point,
    usual_hours_per_day,
)
from dryfit.base.errors import ComputationRefused, LedgerRefused, ReferenceUnknown
from dryfit.model.instrument_table import COMMON_INSTRUMENTS
from dryfit.store.ledger import LEDGER_NAME, open_ledger
from support.projects import CHARACTERISTICS, MACHINE, document, write_project

BEGIN = datetime(2026, 6, 1, 12, tzinfo=UTC)
FIT = {"fasteners": "ok", "belts": "ok", "bed": "ok", "nozzle": "ok", "dry": "ok", "filament_g": "5000"}


@pytest.fixture
def project(tmp_path: Path) -> Path:
    """A portal whose posts may lean by 0.6 degrees, on a machine that leans by 0.02."""
    machine = MACHINE.replace("skew_xz_deg = 0.4 ", "skew_xz_deg = 0.02 ")
    wide = CHARACTERISTICS.replace("[-0.2, 0.2]", "[-0.6, 0.6]")
    return write_project(tmp_path, document(machine=machine, characteristics=wide))


def entry(hours: float, gap_xz: float = 0.0, gap_yz: float = 0.0, day: float = 0.0, **cells: str) -> Entry:
    at = (BEGIN + timedelta(days=day)).isoformat()
    squares = {"height_mm": "300", "xz_gap_mm": str(gap_xz), "yz_gap_mm": str(gap_yz)}
    return read_entry({"hours": str(hours), "at": at, **squares, **FIT, **cells}, "test")


def records_of(project: Path):
    with open_ledger(project / LEDGER_NAME) as ledger:
        return ledger.records()


def lines_of(project: Path, day: float = 0.0):
    opened = open_project(project)
    return preflight_lines(chain_of(opened), records_of(project), BEGIN + timedelta(days=day))


class TestBand:
    def test_at_its_end_the_probability_out_of_limits_is_the_risk(self, project: Path) -> None:
        bands = bearable_bands(chain_of(open_project(project)), "tall")
        band = bands.of("xz")
        assert band is not None
        assert band.high_deg is not None
        assert band.high_by == "plumb"
        for shift, is_beyond in ((0.0, False), (0.005, True)):
            report = predict(project, [f"tall.skew_xz_deg={band.high_deg + shift!r}"], record=False)
            plumb = next(item for item in report.characteristics if item.id == "plumb")
            assert plumb.p_out is not None
            assert (plumb.p_out > report.risk) is is_beyond

    def test_the_band_lies_round_the_present_figure(self, project: Path) -> None:
        band = bearable_bands(chain_of(open_project(project)), "tall").of("xz")
        assert band is not None
        assert band.low_deg is not None
        assert band.high_deg is not None
        assert band.low_deg < band.present_deg == 0.02 < band.high_deg
        # The limits are +-0.6 degrees about 0: one-sided, 5 % lie beyond 1.645 standard uncertainties.
        plumb = next(item for item in predict(project, record=False).characteristics if item.id == "plumb")
        assert band.high_deg == pytest.approx(0.6 - 1.645 * plumb.std, abs=0.004)
        assert band.low_deg == pytest.approx(-band.high_deg, abs=0.004)

    def test_a_figure_that_no_characteristic_minds_has_no_end(self, project: Path) -> None:
        band = bearable_bands(chain_of(open_project(project)), "tall").of("xy")
        assert band is not None
        assert band.low_deg is None
        assert band.high_deg is None
        assert FARTHEST_DEG == 2.0

    def test_a_characteristic_out_of_limits_already_sets_no_band_and_is_named(self, tmp_path: Path) -> None:
        chain = chain_of(open_project(write_project(tmp_path)))  # its machine leans by 0.4 degrees
        bands = bearable_bands(chain, "tall")
        assert "plumb" in bands.left_out
        assert all("plumb" not in (band.low_by, band.high_by) for band in bands.bands)

    def test_a_figure_that_is_less_well_known_has_a_narrower_band(self, project: Path) -> None:
        chain = chain_of(open_project(project))
        owner = chain.project.machine("tall")
        figures = dict(owner.error.figures)
        figures["skew_xz_deg"] = dataclasses.replace(figures["skew_xz_deg"], std=0.1)
        loose = dataclasses.replace(owner, error=dataclasses.replace(owner.error, figures=figures))
        wide = dataclasses.replace(chain, project=dataclasses.replace(chain.project, machines=(loose,)))
        known, unknown = (bearable_bands(item, "tall").of("xz") for item in (chain, wide))
        assert known is not None
        assert unknown is not None
        assert known.high_deg is not None
        assert unknown.high_deg is not None
        assert unknown.high_deg < known.high_deg - 0.02

    def test_without_characteristics_or_a_forecast_the_square_is_not_checked_but_recorded(
        self, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        bare = write_project(tmp_path / "bare", document(characteristics=""))
        report = take_preflight(bare, "tall", [entry(10.0)])
        (line,) = [item for item in report.checks if item.subject == "XZ"]
        assert line.state == "not checked"
        assert "no characteristic is stated" in line.reason

        def refuse(*_: object, **__: object) -> None:
            raise ComputationRefused("a part does not settle", "part", "look")

        monkeypatch.setattr("dryfit.app.preflight_band.run_forecast", refuse)
        report = take_preflight(bare, "tall", [entry(12.0, day=1.0)])
        (line,) = [item for item in report.checks if item.subject == "XZ"]
        assert line.state == "not checked"
        assert "a part does not settle" in line.reason
        assert len(report.recorded) == 1


class TestHoldPoint:
    def test_never_checked_is_not_checked(self, project: Path) -> None:
        opened = open_project(project)
        (line,) = preflight_lines(chain_of(opened), (), BEGIN)
        assert (line.topic, line.subject, line.state) == (PREFLIGHT, "tall", "not checked")
        assert "dryfit preflight tall" in line.do

    def test_a_good_check_of_a_machine_of_unknown_age_leaves_its_qualification_not_checked(
        self, project: Path
    ) -> None:
        take_preflight(project, "tall", [entry(100.0)])
        (line,) = lines_of(project, 0.1)
        assert line.state == "not checked"
        assert "qualification" in line.reason

    def test_a_square_out_of_the_band_is_a_stop(self, project: Path) -> None:
        take_preflight(project, "tall", [entry(100.0, day=0.0), entry(140.0, gap_xz=-2.1, day=3.0)])
        stops = [line for line in lines_of(project, 3.1) if line.state == "stop"]
        # 2.1 mm at 300 mm are 0.4 degrees: more than the posts bear.
        assert any("square in XZ" in line.reason and "+0.401" in line.reason for line in stops)
        assert all(line.do for line in stops)

    def test_a_check_is_overdue_after_the_interval_at_the_usual_hours_a_day(self, project: Path) -> None:
        take_preflight(project, "tall", [entry(0.0, day=0.0), entry(40.0, day=10.0)])
        assert not [line for line in lines_of(project, 12.0) if "overdue" in line.reason]
        (late,) = [line for line in lines_of(project, 13.0) if "overdue" in line.reason]
        assert late.state == "stop"
        assert "4.0 hours a day" in late.reason

    def test_without_a_usual_day_the_machine_counts_as_printing_round_the_clock(self, project: Path) -> None:
        take_preflight(project, "tall", [entry(40.0)])
        assert not [line for line in lines_of(project, 0.4) if "overdue" in line.reason]
        (late,) = [line for line in lines_of(project, 0.5) if "overdue" in line.reason]
        assert "round the clock" in late.reason

    def test_what_is_wrong_is_a_stop_and_what_was_skipped_is_not_checked(self, project: Path) -> None:
        take_preflight(project, "tall", [entry(40.0, belts="the left one is slack", bed="skip")])
        states = {line.reason: line.state for line in lines_of(project)}
        assert states["belts: the left one is slack"] == "stop"
        assert states["bed, clean and level: not looked at"] == "not checked"

    def test_a_machine_adjusted_since_its_figures_were_found_is_not_checked(self, project: Path) -> None:
        take_preflight(project, "tall", [entry(40.0, adjusted="shimmed the left foot")])
        (line,) = [item for item in lines_of(project) if "adjusted" in item.reason]
        assert line.state == "not checked"
        assert "shimmed the left foot" in line.reason

    def test_a_machine_that_prints_nothing_has_no_line(self, project: Path) -> None:
        chain = chain_of(open_project(project))
        spare = dataclasses.replace(chain.project.machine("tall"), id="spare")
        more = dataclasses.replace(chain.project, machines=(*chain.project.machines, spare))
        lines = preflight_lines(dataclasses.replace(chain, project=more), (), BEGIN)
        assert [line.subject for line in lines] == ["tall"]


class TestFilament:
    def test_it_is_held_against_the_mass_of_the_part_and_a_tenth_more(self, project: Path) -> None:
        opened = open_project(project)
        part, needed = part_mass(opened.project, opened.shapes, "tall", "post-1")
        # By hand: 20 x 60 x 100 mm of PLA at 1.24 g/cm3.
        assert (part, needed) == ("post-1", pytest.approx(148.8, abs=0.1))
        for grams, state in (("160", "stop"), ("165", "pass")):
            report = take_preflight(project, "tall", [entry(100.0, filament_g=grams, part="post-1")])
            (line,) = [item for item in report.checks if item.subject == "filament enough"]
            assert line.state == state

    def test_the_largest_part_counts_where_none_is_named(self, project: Path) -> None:
        opened = open_project(project)
        assert part_mass(opened.project, opened.shapes, "tall", None)[0] in ("base", "lintel")

    def test_a_part_of_another_machine_is_refused(self, project: Path) -> None:
        with pytest.raises(ReferenceUnknown, match="prints no part"):
            take_preflight(project, "tall", [entry(100.0, part="nothing")])


class TestSeries:
    GAPS = (-0.10, -0.15, -0.20, -0.25, -0.30, -0.40)

    def creeping(self) -> list[Entry]:
        return [entry(40.0 * k, gap_xz=gap, day=5.0 * k) for k, gap in enumerate(self.GAPS)]

    def test_drift_per_hundred_hours_is_the_slope_of_the_skews(self, project: Path) -> None:
        from scipy.stats import linregress

        report = take_preflight(project, "tall", self.creeping())
        watch = next(item for item in report.watching.watches if item.plane == "xz")
        assert watch.drift is not None
        theirs = linregress([p.hours for p in watch.points], [p.skew_deg for p in watch.points])
        assert watch.drift.rate == pytest.approx(
            theirs.slope, rel=1e-5
        )  # the weights differ by the cosine of the skew
        assert watch.is_drifting

    def test_it_says_when_the_band_is_left_and_on_which_day(self, project: Path) -> None:
        report = take_preflight(project, "tall", self.creeping())
        watch = next(item for item in report.watching.watches if item.plane == "xz")
        assert watch.leaving is not None
        assert watch.leaving.earliest is not None
        assert watch.leaving.expected is not None
        assert 200.0 < watch.leaving.earliest < watch.leaving.expected
        assert watch.drift is not None
        assert watch.drift.value(watch.leaving.expected) == pytest.approx(watch.high_deg)
        # 200 hours in 25 days are eight hours a day.
        assert report.watching.hours_per_day == pytest.approx(8.0)
        days = (watch.leaving.earliest - 200.0) / 8.0
        assert watch.leaves_on == (BEGIN + timedelta(days=25.0 + days)).date().isoformat()

    def test_the_interval_begins_with_common_practice_and_is_learned_from_the_drift(
        self, project: Path
    ) -> None:
        first = take_preflight(project, "tall", self.creeping()[:3])
        assert first.watching.interval_h == FIRST_INTERVAL_H
        assert "common practice" in first.watching.interval_from
        learned = take_preflight(project, "tall", self.creeping()[3:])
        watch = next(item for item in learned.watching.watches if item.plane == "xz")
        assert watch.leaving is not None
        assert watch.leaving.earliest is not None
        expected = min(max(watch.leaving.earliest - 200.0, 10.0), 100.0)
        assert learned.watching.interval_h == pytest.approx(expected, abs=1.0)
        assert "learned" in learned.watching.interval_from

    def test_an_adjustment_begins_a_new_series(self, project: Path) -> None:
        entries = [*self.creeping(), entry(240.0, gap_xz=0.0, day=30.0, adjusted="shim 0.5 mm")]
        report = take_preflight(project, "tall", entries)
        assert len(report.watching.checks) == 7
        assert len(report.watching.series) == 1

    def test_held_against_a_print_the_band_is_absolute_and_against_an_upright_it_is_moved(
        self, project: Path
    ) -> None:
        upright = take_preflight(project, "tall", [entry(10.0, gap_xz=-1.0)]).watching.watches[0]
        on_print = take_preflight(
            project, "tall", [entry(20.0, gap_xz=-1.0, day=2.0, against="print")]
        ).watching.watches[0]
        assert on_print.reference_deg == 0.0
        assert upright.reference_deg == pytest.approx(0.191 - 0.02, abs=1e-3)
        assert upright.high_deg is not None
        assert on_print.high_deg is not None
        assert upright.high_deg - on_print.high_deg == pytest.approx(upright.reference_deg)

    def test_a_jump_beyond_chance_is_a_caution(self, project: Path) -> None:
        entries = [entry(20.0 * k, gap_xz=-0.1, day=2.0 * k) for k in range(8)]
        report = take_preflight(project, "tall", [*entries, entry(160.0, gap_xz=-0.45, day=16.0)])
        (line,) = [item for item in report.checks if item.subject == "XZ"]
        assert line.state == "caution"
        assert "more than chance" in line.reason

    def test_std_of_a_gap_is_that_of_step_and_hand_and_of_the_square(self) -> None:
        own, whole = gap_stds(COMMON_INSTRUMENTS["square-300"], 300.0)
        # JCGM 100:2008 4.3.7 by hand: 0.05 / sqrt 12 and 0.03; with 0.05 / sqrt 3.
        assert own == pytest.approx((0.05**2 / 12 + 0.03**2) ** 0.5)
        assert whole == pytest.approx((own**2 + 0.05**2 / 3) ** 0.5)


class TestQualification:
    """Age in hours of printing, and which check goes with its figures."""

    CHECKS = tuple(
        Preflight(k + 1, (BEGIN + timedelta(days=10.0 * k)).isoformat(), "tall", hours)
        for k, hours in enumerate((0.0, 80.0, 400.0))
    )

    def watching(self, count: int) -> Watching:
        checks = self.CHECKS[:count]
        return Watching("tall", checks, checks, (), usual_hours_per_day(checks), 10.0, "")

    @pytest.mark.parametrize(
        ("count", "day", "age"),
        [
            (3, 15.0, 160.0),  # half way from 80 to 400 h: 240 h, and 400 h now
            (3, 20.0, 0.0),
            (2, 30.0, 0.0),  # after the last check: nothing printed since that is known
            (3, -1.0, 400.0),  # before the first: 20 hours a day, but the meter began at 0
        ],
    )
    def test_age_in_hours_is_read_off_the_meter_between_the_checks_around_it(
        self, count: int, day: float, age: float
    ) -> None:
        at = (BEGIN + timedelta(days=day)).isoformat()
        assert qualification_age(self.watching(count), at) == pytest.approx(age)

    def test_it_cannot_be_told_from_one_check_after_it(self) -> None:
        assert qualification_age(self.watching(1), (BEGIN - timedelta(days=5)).isoformat()) is None

    def test_an_upright_is_counted_from_the_check_nearest_to_the_qualification(self) -> None:
        points = [Point(k, c.at, c.hours, 0.1 * k, 0.01, 0.01) for k, c in enumerate(self.CHECKS)]
        assert reference_point(points, None).record == 0
        assert reference_point(points, (BEGIN + timedelta(days=12)).isoformat()).record == 1
        assert reference_point(points, (BEGIN + timedelta(days=90)).isoformat()).record == 2


class TestLedger:
    def test_a_check_comes_back_as_it_was_recorded(self, project: Path) -> None:
        take_preflight(project, "tall", [entry(40.0, -0.1, 0.15, by="ann", adjusted="belt", belts="slack")])
        (record,) = [item for item in records_of(project) if item.kind == PREFLIGHT]
        check = preflight_from(record)
        assert (check.by, check.adjusted, check.instrument) == ("ann", "belt", "square-300")
        assert preflight_payload(check) == {k: v for k, v in record.payload.items() if k != "file_sha256"}
        assert check.answer("belts").words == "slack"
        assert check.square("yz").gap_mm == 0.15

    def test_a_correction_replaces_and_a_withdrawal_takes_back_and_both_are_further_records(
        self, project: Path
    ) -> None:
        (wrong,) = take_preflight(project, "tall", [entry(400.0)]).recorded
        (right,) = take_preflight(project, "tall", [entry(40.0)], corrects=wrong).recorded
        assert [check.hours for check in preflights_of(records_of(project), "tall")] == [40.0]
        withdraw_preflight(project, "tall", right)
        assert preflights_of(records_of(project), "tall") == ()
        assert [item.kind for item in records_of(project)] == [PREFLIGHT] * 3
        with pytest.raises(ReferenceUnknown, match="no check"):
            take_preflight(project, "tall", [entry(40.0)], corrects=wrong)

    def test_an_hour_meter_runs_forward_and_no_faster_than_time(self, project: Path) -> None:
        take_preflight(project, "tall", [entry(100.0, day=0.0)])
        with pytest.raises(PreflightRefused, match="ran back: 100 h"):
            take_preflight(project, "tall", [entry(90.0, day=1.0)])
        with pytest.raises(PreflightRefused, match="faster than time"):
            take_preflight(project, "tall", [entry(200.0, day=1.0)])
        assert len(preflights_of(records_of(project), "tall")) == 1

    def test_several_checks_are_recorded_all_or_none(self, project: Path) -> None:
        with pytest.raises(PreflightRefused):
            take_preflight(project, "tall", [entry(10.0, day=0.0), entry(5.0, day=1.0)])
        assert preflights_of(records_of(project), "tall") == ()

    def test_a_record_of_another_shape_is_refused(self, project: Path) -> None:
        with open_ledger(project / LEDGER_NAME) as ledger:
            ledger.append(PREFLIGHT, {"machine": "tall"})
        with pytest.raises(LedgerRefused, match="cannot be read"):
            look_preflight(project, "tall")

    def test_looking_makes_no_ledger(self, project: Path) -> None:
        report = look_preflight(project, "tall")
        assert report.state == "not checked"
        assert not (project / LEDGER_NAME).exists()

    def test_no_square_reaches_half_a_metre_and_it_says_so(self, project: Path) -> None:
        with pytest.raises(PreflightRefused, match="no square of the project reaches 500 mm"):
            take_preflight(project, "tall", [entry(10.0, height_mm="500")])
