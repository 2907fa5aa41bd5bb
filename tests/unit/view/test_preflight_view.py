"""The routine before a long print in words and as a drawing: cautions shown, states told, nothing that overlaps."""

from __future__ import annotations

import itertools
import math
import re
from dataclasses import replace
from xml.etree import ElementTree

import numpy as np
import pytest

from dryfit.app.preflight_watch import Point, Watch
from dryfit.calc.charts import chart_ewma, chart_individuals, find_leaving, fit_drift
from dryfit.view.preflight import CAUTIONS, QUESTIONS, drift_words, opening_lines
from dryfit.view.preflight_chart import history_picture, history_svg
from dryfit.view.sheet_ink import text_width

HOURS = np.array([0.0, 40.0, 85.0, 130.0, 178.0, 220.0])
SKEWS = np.array([0.020, 0.028, 0.041, 0.049, 0.060, 0.071])
STD = 0.004


def watch(low: float | None = -0.1, high: float | None = 0.1, count: int = 6) -> Watch:
    points = tuple(
        Point(k + 1, f"2026-06-{k + 1:02d}T12:00:00.000000Z", float(HOURS[k]), float(SKEWS[k]), STD, STD)
        for k in range(count)
    )
    values, hours = SKEWS[:count], HOURS[:count]
    individuals = chart_individuals(values, least_std=STD) if count > 1 else None
    ewma = None if individuals is None else chart_ewma(values, individuals.center, individuals.std)
    drift = fit_drift(hours, values, np.full(count, STD)) if count > 1 else None
    leaving = None
    if drift is not None and (low is not None or high is not None):
        ends = (-math.inf if low is None else low, math.inf if high is None else high)
        leaving = find_leaving(drift, *ends, float(hours[-1]))
    return Watch(
        "xz",
        points,
        low,
        high,
        "crown-height",
        "ring-closure",
        0.0,
        individuals,
        ewma,
        drift,
        leaving,
        "2026-07-09",
    )


def texts(svg: str) -> list[tuple[float, float, str, str, float]]:
    """x, y, anchor, words and size of every text."""
    root = ElementTree.fromstring(f"<svg>{svg}</svg>")
    return [
        (
            float(item.attrib["x"]),
            float(item.attrib["y"]),
            item.attrib.get("text-anchor", "start"),
            item.text or "",
            float(item.attrib["font-size"]),
        )
        for item in root.iter("text")
    ]


def test_the_cautions_name_heat_motion_mains_and_weight() -> None:
    words = " ".join(CAUTIONS)
    for word in ("hot", "Motors", "mains", "heavy"):
        assert word in words
    opening = "\n".join(opening_lines("tall"))
    assert all(text in opening for text in CAUTIONS)


def test_every_question_is_an_answer_that_is_read() -> None:
    from dryfit.app.preflight_input import FIELDS

    assert {field for field, _ in QUESTIONS} <= set(FIELDS)
    assert QUESTIONS[0][0] == "hours"


def test_drift_is_told_per_hundred_hours_with_its_uncertainty_and_when_the_band_is_left() -> None:
    words = drift_words(watch())
    assert re.search(r"Drift 0\.023\d?\(\d+\) degrees per hundred hours\.", words)
    assert "hours from now, 2026-07-09" in words
    assert "the line itself at" in words


@pytest.mark.parametrize(
    ("item", "words"),
    [
        (watch(None, None), "No characteristic of the project minds it"),
        (watch(-0.1, 0.05), "may lie out of the band already"),
        (watch(None, 40.0), "for longer than 10 times the hours watched so far"),
        (watch(count=1), "No drift can be told"),
    ],
)
def test_what_cannot_be_told_is_said(item: Watch, words: str) -> None:
    assert words in drift_words(item)


@pytest.mark.parametrize(
    "item",
    [
        watch(),
        watch(None, 0.09),
        watch(None, None),
        watch(-5.0, 5.0),
        watch(-0.1, 0.05),
        watch(count=1),
        watch(count=2),
    ],
)
def test_the_picture_is_whole_and_within_its_frame(item: Watch) -> None:
    svg = history_picture(item)
    for x, y, anchor, words, size in texts(svg):
        width = text_width(words, size)
        left = x - {"start": 0.0, "middle": 0.5, "end": 1.0}[anchor] * width
        assert left >= -0.5, words
        assert left + width <= 180.5, words
        assert 0.0 <= y <= 62.0, words
    assert "NaN" not in svg
    assert "nan" not in svg


def test_labels_at_the_right_do_not_touch() -> None:
    for item in (watch(), watch(0.03, 0.08), watch(-5.0, 5.0)):
        places = sorted(
            y for x, y, anchor, _, _ in texts(history_picture(item)) if x > 142 and anchor == "start"
        )
        assert all(below - above >= 2.3 for above, below in itertools.pairwise(places))


def test_a_reading_out_of_the_band_is_a_filled_square_and_the_others_are_discs() -> None:
    inside, outside = history_picture(watch()), history_picture(watch(-0.1, 0.065))
    assert inside.count("<circle") == 6
    assert outside.count("<circle") == 5
    assert outside.count('<rect class="s-stop"') == 1


def test_the_picture_says_in_words_what_it_shows() -> None:
    assert "Squareness XZ: 6 readings, the last +0.071 degrees at 220 h. Drift" in history_picture(watch())


def test_a_name_with_angle_brackets_spoils_no_drawing() -> None:
    svg = history_svg([replace(watch(), high_by="<ring>&"), watch(count=1)])
    root = ElementTree.fromstring(svg)
    assert root.attrib["viewBox"] == "0 0 180 124"
