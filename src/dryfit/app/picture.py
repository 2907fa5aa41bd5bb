"""Forecast a project folder and draw the forecast."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path

from dryfit.app.drawing import Drawing, draw_sheet
from dryfit.app.forecast import run_forecast
from dryfit.app.loading import open_project
from dryfit.app.prediction import chain_of, provenance_of, record_forecast
from dryfit.base.errors import NotWritten
from dryfit.calc.chain.montecarlo import DEFAULT_SAMPLES
from dryfit.model.forecast import ForecastReport
from dryfit.store.atomic import write_atomically

Progress = Callable[[int, int], None]


@dataclass(frozen=True, slots=True, eq=False)
class Pictured:
    """A forecast with its drawing. drawn_on: date of the figures, for the title block."""

    report: ForecastReport
    drawing: Drawing
    drawn_on: str


def predict_and_draw(
    path: Path,
    what_if: Sequence[str] = (),
    samples: int = DEFAULT_SAMPLES,
    seed: int = 1,
    record: bool = True,
    exaggeration: float | None = None,
    progress: Progress | None = None,
    with_readings: bool = True,
) -> Pictured:
    """The forecast of app.prediction.predict, and its drawing.

    exaggeration : how many times larger deviations are drawn; None chooses a round factor
    """
    opened = open_project(path, progress)
    chain = chain_of(opened, what_if, with_readings)
    report = run_forecast(chain, provenance_of(opened, chain, what_if, samples, seed), samples, seed)
    drawing = draw_sheet(opened, chain, report, exaggeration)
    if record:
        record_forecast(opened, report)
    return Pictured(report, drawing, date.today().isoformat())


def save_picture(file: Path, text: str) -> None:
    """Write a drawing to a file, whole or not at all.

    Raises NotWritten where its folder is missing or cannot be written.
    """
    if not file.parent.is_dir():
        raise NotWritten("there is no such folder", str(file.parent), "make it, or name another place")
    write_atomically(file, text.encode("utf-8"))
