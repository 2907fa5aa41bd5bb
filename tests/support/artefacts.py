"""Wishes for test artefacts, and the body as a height map: what stands over each spot of the bed."""

from __future__ import annotations

from hypothesis import Phase
from hypothesis import strategies as st

from dryfit.calc.artefact import Wish
from dryfit.calc.artefact.body import Box
from dryfit.model.instrument import Instrument

CALIPER = Instrument("caliper", "caliper", 300.0, 0.01, 0.03)
RULE = Instrument("rule", "steel rule", 1000.0, 0.5, 0.15)
SQUARE = Instrument("square", "square", 150.0, 0.05, 0.03)
LAYER = 0.2
# a body takes a moment to make: a counterexample is shown as it was found
UNSHRUNK = (Phase.explicit, Phase.reuse, Phase.generate)
GRAMS_400 = 400.0 / 1.24 * 1000.0
TYPICAL = Wish((498.0, 498.0, 598.0), GRAMS_400, 0.9, 300.0, (150.0,))


@st.composite
def a_wish(draw: st.DrawFn) -> Wish:
    side = st.floats(96.0, 1500.0)
    return Wish(
        (draw(side), draw(side), draw(side)),
        draw(st.floats(150.0, 2000.0)) * 1000.0,
        draw(st.floats(0.3, 1.2)),
        draw(st.sampled_from([0.0, 150.0, 200.0, 300.0])),
        draw(st.sampled_from([(), (100.0,), (150.0,), (300.0, 100.0)])),
    )


def is_on(point: tuple[float, float, float], out: tuple[float, float, float], boxes: list[Box]) -> bool:
    """On the body, and just outward of it not, where an outward direction is stated."""
    inward = [p - 1e-3 * o for p, o in zip(point, out, strict=True)]
    outward = [p + 1e-3 * o for p, o in zip(point, out, strict=True)]
    return height_at(inward, boxes) >= point[2] - 1e-9 and (
        not any(out) or height_at(outward, boxes) < point[2] + 1e-9
    )


def height_at(point: list[float], boxes: list[Box]) -> float:
    return max((top for x, y, top in boxes if _within(point[0], x) and _within(point[1], y)), default=0.0)


def _within(value: float, span: tuple[float, float]) -> bool:
    return span[0] - 1e-9 <= value <= span[1] + 1e-9
