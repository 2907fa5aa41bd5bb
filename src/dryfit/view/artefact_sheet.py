"""The measuring sheet of a test artefact: figures, how to measure, and a table to fill in."""

from __future__ import annotations

from typing import Any

from dryfit import __version__
from dryfit.app.artefact import ArtefactReport, SheetPages
from dryfit.model.instrument import Instrument, InstrumentKind
from dryfit.view.artefact import plan_words, size_words, write_nominal
from dryfit.view.artefact_figure import CAPTIONS, figure_svg, signs_svg
from dryfit.view.artefact_markup import MARKUP
from dryfit.view.digits import write_number, write_vector

_WIDE, _HALF = 180.0, 88.0

BEFORE = (
    "Print it as the parts are printed: same plastic, nozzle, temperatures and speed, no scaling, no brim that "
    "stays on. Lay it on the bed as drawn: A at the corner where X and Y begin, the rail with C along X.",
    "Leave every correction of the machine (squareness, size of outlines, first layer) as it will be for the parts.",
    "Let it cool on the bed before you take it off: a warm body bends. Trim strings, not edges.",
    "Let body and instruments lie in one room for an hour, away from sun and heaters. Write the temperature down "
    "before and after.",
    "Lay the body on something flat. It should not rock: if it does, say so in the remarks.",
)
ORDER = (
    "Read column 1 from the top of the table down, column 2 from the bottom up, and so on to and fro. A drift of "
    "the temperature or of the hand then averages out. Write what the instrument shows; do not look at the last value."
)
CAUTIONS = (
    "Printed edges and first layers cut: break no edge that is measured, but mind your fingers.",
    "The uprights are thin. Hold the body by its rails; carry it with both hands.",
    "Never lean over a heated bed or a moving machine to measure: take the body out.",
    "A value that looks wrong is read again, not improved. Both are written down.",
)
_HOLD: dict[InstrumentKind, str] = {
    "caliper": "Clean the jaws and check zero. Outside: jaws flat on both faces, just above the rail, slide closed "
    "with the thumb, no squeeze. Inside: small jaws, turn until the value is least. Middles of posts: read over both "
    "and between, write half the sum. Foot: jaws down on the table, so that they touch the first layer. Treads: rod "
    "from the upper tread down to the lower one, beam upright. Underside to tread: one jaw under the rail, beam flat "
    "on the outer face.",
    "micrometer": "Close by the ratchet, three clicks. Keep off the first layer except where the foot is asked for.",
    "height gauge": "Body and gauge on one flat plate. Zero on the plate, then touch the tread from above.",
    "steel rule": "Lay the rule flat against the outer faces, or from corner to corner across the rails. Start at a "
    "line inside the rule rather than at its end, and take that off again. Look straight down on each line: half a "
    "millimetre can be split by eye.",
    "tape": "Pull it straight and start at the 100 mm line; take 100 off again.",
    "square": "Press the stock home first, then bring the blade to the face. Feel for the largest leaf that goes in "
    "at the stated height. Gap at the tip: write it with +. Gap at the heel, so that the tip touches: slide the leaf "
    "in at the heel and write it with -. No gap: 0.",
    "dial indicator": "Run it up along the blade of a square that stands on the ledge. Zero at the ledge, read at the "
    "stated height: + where the face leans away from the stock's side.",
}


def artefact_sheet(report: ArtefactReport) -> SheetPages:
    """The sheet of a report, ready to be set."""
    figures, shown = {}, []
    for place, view in enumerate(report.views):
        is_wide = view.name in ("overview", "plan")
        name = f"figure-{place}"
        figures[name] = figure_svg(
            view, _WIDE if is_wide else _HALF, {"overview": 135.0, "plan": 165.0}.get(view.name, 95.0)
        )
        shown.append({"key": name, "caption": CAPTIONS[view.name], "wide": is_wide, "name": view.name})
    figures["signs"] = signs_svg()
    return SheetPages(MARKUP, _data(report, shown), figures)


def _data(report: ArtefactReport, shown: list[dict[str, Any]]) -> dict[str, Any]:
    item = report.artefact
    turns = max((step.repeats for step in item.plan), default=0)
    return {
        "title": f"Measuring sheet: test artefact for {item.machine}",
        "project": report.project,
        "machine": item.machine,
        "size": f"{write_vector(item.size_mm, 0)} mm",
        "words": [size_words(report), plan_words(report), *(f"{text}." for text in report.given_up)],
        "invented": "invented data: for demonstration only" if report.is_invented else "",
        "program": f"dryfit {__version__}",
        "hash": item.sha256[:12],
        "figures": shown,
        "before": list(BEFORE),
        "order": ORDER,
        "has_square": any("square" in item.measures for item in report.instruments),
        "cautions": list(CAUTIONS),
        "holding": [_holding(instrument) for instrument in report.instruments],
        "columns": [f"{turn + 1} {'down' if turn % 2 == 0 else 'up'}" for turn in range(turns)],
        "rows": [_row(report, step.measure, step.instrument, step.repeats) for step in item.plan],
    }


def _holding(instrument: Instrument) -> dict[str, str]:
    return {
        "id": instrument.id,
        "words": _HOLD[instrument.kind],
        "facts": f"{instrument.kind}, to {write_number(instrument.range_mm)} mm, steps of "
        f"{write_number(instrument.resolution_mm)} mm, repeats within {write_number(instrument.repeatability_mm)} mm "
        f"({instrument.repeatability_from})",
    }


def _row(report: ArtefactReport, measure: str, instrument: str, repeats: int) -> dict[str, Any]:
    item = report.artefact.measure(measure)
    return {
        "number": str(item.number),
        "kind": item.kind,
        "words": item.words,
        "instrument": instrument,
        "nominal": write_nominal(item),
        "repeats": repeats,
    }
