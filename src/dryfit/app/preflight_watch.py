"""What the checks of a machine say over time: charts, drift, when a figure leaves its band, when to look again."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta

import numpy as np

from dryfit.app.instruments import find_instrument
from dryfit.app.preflight_band import Band, Bands
from dryfit.app.preflight_records import FIGURE_OF, PLANES, Plane, Preflight
from dryfit.calc.charts import (
    Chart,
    Drift,
    Leaving,
    chart_ewma,
    chart_individuals,
    find_leaving,
    fit_drift,
    skew_of_gap,
    skew_std,
)
from dryfit.model.instrument import Instrument
from dryfit.model.project import Project
from dryfit.store.ledger import LedgerRecord

# Common practice, no source: square and fasteners are checked before each print of more than ten hours; however
# steady a machine is, after a hundred hours; and a chart with fewer than this many points is provisional.
FIRST_INTERVAL_H = 10.0
LONGEST_INTERVAL_H = 100.0
PROVISIONAL_BELOW = 10
# The interval is learned from this many checks over this many hours (common practice, no source).
LEARN_FROM, LEARN_OVER_H = 5, 50.0
COVERAGE = 0.95


@dataclass(frozen=True, slots=True)
class Point:
    """One squareness figure of one check.

    std_deg    standard uncertainty of the reading by its resolution and its user: what differs from check to check
    whole_std_deg  the same with the square's own departure, which all checks with it share
    """

    record: int
    at: str
    hours: float
    skew_deg: float
    std_deg: float
    whole_std_deg: float


@dataclass(frozen=True, slots=True, eq=False)
class Watch:
    """One squareness figure over the current series.

    low_deg, high_deg  the band in terms of these readings; None where there is none to that side
    low_by, high_by    characteristics that set it
    reference_deg      what is added to the forecast's figure to get these readings: 0 for those on a print
    individuals, ewma  None with fewer than two points
    drift, leaving     None with fewer than two points at different hours
    leaves_on          day on which a further reading may leave the band; None where it never does or it cannot be told
    """

    plane: Plane
    points: tuple[Point, ...]
    low_deg: float | None
    high_deg: float | None
    low_by: str
    high_by: str
    reference_deg: float
    individuals: Chart | None
    ewma: Chart | None
    drift: Drift | None
    leaving: Leaving | None
    leaves_on: str | None

    @property
    def figure(self) -> str:
        return FIGURE_OF[self.plane]

    @property
    def last(self) -> Point:
        return self.points[-1]

    @property
    def has_band(self) -> bool:
        return self.low_deg is not None or self.high_deg is not None

    @property
    def is_outside(self) -> bool:
        """Whether the last reading lies out of the band."""
        value = self.last.skew_deg
        low, high = self._ends()
        return value < low or value > high

    @property
    def may_be_outside(self) -> bool:
        """Whether it lies within two standard uncertainties of an end of the band."""
        value, reach = self.last.skew_deg, 2.0 * self.last.whole_std_deg
        low, high = self._ends()
        return value - reach < low or value + reach > high

    @property
    def is_beyond_chance(self) -> bool:
        """Whether the last point lies beyond the limits of a chart."""
        charts = [chart for chart in (self.individuals, self.ewma) if chart is not None]
        return any(bool(chart.is_outside[-1]) for chart in charts)

    @property
    def is_drifting(self) -> bool:
        """Whether the rate is told from none at 5 %."""
        return self.drift is not None and self.drift.p_value < 0.05

    def _ends(self) -> tuple[float, float]:
        return _end(self.low_deg, -math.inf), _end(self.high_deg, math.inf)


@dataclass(frozen=True, slots=True, eq=False)
class Watching:
    """The whole of a machine.

    checks       that count, oldest first; series: those since it was last adjusted, held to the same thing
    watches      one per plane that was read in the series
    hours_per_day  of printing, from the first to the last check; None where it cannot be told
    interval_h   until the next check, and interval_from in words
    """

    machine: str
    checks: tuple[Preflight, ...]
    series: tuple[Preflight, ...]
    watches: tuple[Watch, ...]
    hours_per_day: float | None
    interval_h: float
    interval_from: str

    @property
    def last(self) -> Preflight | None:
        return self.checks[-1] if self.checks else None

    @property
    def due_hours(self) -> float | None:
        """Hour meter at which the next check is due."""
        return None if self.last is None else self.last.hours + self.interval_h


def watch_machine(
    project: Project,
    records: Sequence[LedgerRecord],
    machine: str,
    checks: Sequence[Preflight],
    bands: Bands,
    qualified_at: str | None,
) -> Watching:
    """Series, charts, drifts and interval of a machine.

    records : of the ledger, any kind, for gauge studies   checks : that count, oldest first
    qualified_at : when the figures of the forecast were found; None where that is not known
    """
    series = current_series(checks)
    per_day = usual_hours_per_day(checks)
    watches = tuple(
        _watch(plane, points, bands.of(plane), _upright(series, points, qualified_at), per_day)
        for plane in PLANES
        if (points := points_of(project, records, series, plane))
    )
    interval, source = _interval(series, watches)
    return Watching(machine, tuple(checks), series, watches, per_day, interval, source)


def current_series(checks: Sequence[Preflight]) -> tuple[Preflight, ...]:
    """Checks since the machine was last adjusted, all of the kind of the last one."""
    adjusted = [place for place, check in enumerate(checks) if check.adjusted]
    series = checks[adjusted[-1] :] if adjusted else checks
    return tuple(check for check in series if check.against == series[-1].against)


def reference_point(points: Sequence[Point], qualified_at: str | None) -> Point:
    """The reading that goes with the figures of the forecast: nearest in time to the qualification, else the first."""
    if qualified_at is None:
        return points[0]
    moment = datetime.fromisoformat(qualified_at)
    return min(points, key=lambda point: abs(datetime.fromisoformat(point.at) - moment))


def points_of(
    project: Project, records: Sequence[LedgerRecord], series: Sequence[Preflight], plane: Plane
) -> tuple[Point, ...]:
    """The readings of a plane as skews."""
    points = []
    for check in series:
        reading = check.square(plane)
        if reading is None:
            continue
        square = find_instrument(project, records, check.instrument)
        own, whole = gap_stds(square, reading.height_mm)
        height = reading.height_mm
        points.append(
            Point(
                check.record,
                check.at,
                check.hours,
                skew_of_gap(reading.gap_mm, height, reading.toward),
                skew_std(own, reading.gap_mm, height),
                skew_std(whole, reading.gap_mm, height),
            )
        )
    return tuple(points)


def gap_stds(square: Instrument, height_mm: float) -> tuple[float, float]:
    """Standard uncertainty of a gap without and with the square's own departure [mm].

    Source: JCGM 100:2008, 4.3.7 (limits of resolution and of permissible error as rectangular).
    """
    own = math.hypot(square.resolution_mm / math.sqrt(12.0), square.repeatability_mm)
    departure = square.mpe_mm / math.sqrt(3.0) * height_mm / square.range_mm
    return own, math.hypot(own, departure)


def usual_hours_per_day(checks: Sequence[Preflight]) -> float | None:
    """Hours of printing per day over all checks; None where they do not span a day."""
    if len(checks) < 2:
        return None
    days = (checks[-1].moment - checks[0].moment) / timedelta(days=1)
    hours = checks[-1].hours - checks[0].hours
    return hours / days if days >= 1.0 and hours > 0.0 else None


def _upright(series: Sequence[Preflight], points: Sequence[Point], qualified_at: str | None) -> Point | None:
    """An upright is not the printed edge: what counts is how far it moved from where it stood at the qualification."""
    return reference_point(points, qualified_at) if series[-1].against == "upright" else None


def _watch(
    plane: Plane, points: tuple[Point, ...], band: Band | None, upright: Point | None, per_day: float | None
) -> Watch:
    reference = 0.0
    if band is not None and upright is not None:
        reference = upright.skew_deg - band.present_deg
    low = None if band is None or band.low_deg is None else band.low_deg + reference
    high = None if band is None or band.high_deg is None else band.high_deg + reference
    individuals, ewma = _charts(points)
    drift = _drift(points)
    watch = Watch(
        plane,
        points,
        low,
        high,
        "" if band is None else band.low_by,
        "" if band is None else band.high_by,
        reference,
        individuals,
        ewma,
        drift,
        None,
        None,
    )
    if drift is None or not watch.has_band:
        return watch
    leaving = find_leaving(drift, _end(low, -math.inf), _end(high, math.inf), points[-1].hours, COVERAGE)
    return replace(watch, leaving=leaving, leaves_on=_day(points[-1], leaving, per_day))


def _charts(points: Sequence[Point]) -> tuple[Chart | None, Chart | None]:
    if len(points) < 2:
        return None, None
    values = np.array([point.skew_deg for point in points])
    least = float(np.median([point.std_deg for point in points]))
    individuals = chart_individuals(values, least_std=least)
    return individuals, chart_ewma(values, individuals.center, individuals.std)


def _drift(points: Sequence[Point]) -> Drift | None:
    hours = np.array([point.hours for point in points])
    if len(points) < 2 or np.ptp(hours) == 0.0:
        return None
    std = np.array([point.std_deg for point in points])
    values = np.array([point.skew_deg for point in points])
    return fit_drift(hours, values, std)


def _day(last: Point, leaving: Leaving, per_day: float | None) -> str | None:
    if leaving.earliest is None or per_day is None:
        return None
    days = (leaving.earliest - last.hours) / per_day
    if days > 3650.0:
        return None
    return (datetime.fromisoformat(last.at) + timedelta(days=days)).date().isoformat()


def _interval(series: Sequence[Preflight], watches: Sequence[Watch]) -> tuple[float, str]:
    first = f"common practice, no source: before each print of more than {FIRST_INTERVAL_H:g} hours"
    learned = [
        watch
        for watch in watches
        if len(watch.points) >= LEARN_FROM
        and watch.points[-1].hours - watch.points[0].hours >= LEARN_OVER_H
        and watch.leaving is not None
    ]
    # Every figure that is watched and has a band must be known well enough before the interval grows.
    if not learned or len(learned) < sum(1 for watch in watches if watch.has_band):
        return FIRST_INTERVAL_H, first
    now = series[-1].hours
    left = []
    for watch in learned:
        assert watch.leaving is not None
        left.append(math.inf if watch.leaving.earliest is None else watch.leaving.earliest - now)
    interval = min(max(min(left), FIRST_INTERVAL_H), LONGEST_INTERVAL_H)
    words = f"learned from the drift of {len(series)} checks, {FIRST_INTERVAL_H:g} to {LONGEST_INTERVAL_H:g} hours"
    return float(math.floor(interval)), words


def _end(value: float | None, beyond: float) -> float:
    return beyond if value is None else value
