"""The signs of the squareness figures, drawn: bed and uprights leaning, and the side that is to be raised."""

from __future__ import annotations

import math
from html import escape

from dryfit.view.digits import write_estimate
from dryfit.view.sheet_ink import STYLE, arrow, box, line, path, write

_WIDTH, _HEIGHT = 198.0, 92.0
_PANEL = 66.0
_DRAWN_DEG = 11.0  # whatever the size of the fault, so that its side is seen
_UPRIGHT, _PLATE, _BASE = 44.0, 30.0, 70.0
_HEADS = ("XZ: from the front", "YZ: from the +X side", "XY: from above")


def signs_svg(
    machine: str, skews_deg: tuple[float, float, float], std_deg: tuple[float, float, float]
) -> str:
    """Three small views, one per squareness figure, each leaning to the side that its sign says.

    skews_deg : XY, XZ, YZ as measured; std_deg : their standard uncertainties
    A figure of 0 is drawn as the positive sign would be, and says so.
    """
    xy, xz, yz = zip(skews_deg, std_deg, strict=True)
    pieces = [
        box(0.0, 0.0, _WIDTH, _HEIGHT, "paper"),
        *_upright(0.0, "X", *xz),
        *_upright(_PANEL, "Y", *yz),
        *_plan(2.0 * _PANEL, *xy),
    ]
    for index, head in enumerate(_HEADS):
        pieces.append(write(index * _PANEL + 4.0, 7.0, head, 3.6, names="bold"))
    pieces.append(
        write(
            4.0,
            _HEIGHT - 2.5,
            f"{machine}: drawn {_DRAWN_DEG:g} degrees whatever the fault is; broken lines are square.",
            2.8,
            names="soft",
        )
    )
    title = escape(f"{machine}: signs of the squareness figures")
    said = escape(
        "XZ positive: the uprights lean toward +X. YZ positive: they lean toward +Y. XY positive: Y leans toward +X."
    )
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" class="dryfit-sheet" viewBox="0 0 {_WIDTH:g} {_HEIGHT:g}" '
        f'width="{_WIDTH:g}mm" height="{_HEIGHT:g}mm" role="img" aria-labelledby="signs-title signs-desc">\n'
        f'<title id="signs-title">{title}</title>\n<desc id="signs-desc">{said}</desc>\n'
        f"<style>{STYLE}</style>\n" + "\n".join(pieces) + "\n</svg>\n"
    )


def _upright(left: float, axis: str, skew_deg: float, std_deg: float) -> list[str]:
    """Frame, foot plate and upright of one view; the shim lies under the foot toward which it leans."""
    side = -1.0 if skew_deg < 0 else 1.0
    middle = left + 0.5 * _PANEL
    lean = side * math.radians(_DRAWN_DEG)
    foot = _BASE - 3.0
    top = (middle + _UPRIGHT * math.sin(lean), foot - _UPRIGHT * math.cos(lean))
    shim = middle + side * (0.5 * _PLATE - 4.0)
    return [
        line(left + 6.0, _BASE, left + _PANEL - 6.0, _BASE, "wide"),
        box(middle - 0.5 * _PLATE, foot, _PLATE, 2.0, "wide"),
        path(
            [
                [
                    (shim - 3.0, _BASE),
                    (shim + 3.0, _BASE),
                    (shim + 3.0, _BASE - 1.0),
                    (shim - 3.0, _BASE - 1.0),
                ]
            ],
            "arrow",
            True,
        ),
        line(middle, foot, middle, foot - _UPRIGHT - 2.0, "face"),
        line(middle - 1.5, foot, top[0] - 1.5, top[1], "wide"),
        line(middle + 1.5, foot, top[0] + 1.5, top[1], "wide"),
        arrow((top[0], top[1] - 2.5), (side, 0.0)),
        line(middle, top[1] - 2.5, top[0] - side, top[1] - 2.5, "narrow"),
        line(shim, _BASE + 7.0, shim, _BASE + 3.0, "narrow"),
        arrow((shim, _BASE + 1.2), (0.0, -1.0)),
        write(shim, _BASE + 10.5, f"raise the {_sign(side)}{axis} feet", 2.8, "middle"),
        *_axis(left + 6.0, _BASE - 8.0, axis, "Z"),
        write(left + 4.0, 12.0, _value(f"{axis}Z", skew_deg, std_deg), 3.0),
        write(left + 4.0, 16.0, f"positive: leans toward +{axis}", 2.8, names="soft"),
    ]


def _plan(left: float, skew_deg: float, std_deg: float) -> list[str]:
    """Guides and beam from above; the +X end of the beam moves away from the closing angle."""
    side = -1.0 if skew_deg < 0 else 1.0
    lean = side * math.radians(_DRAWN_DEG)
    low, high, y = _BASE, 24.0, 47.0
    shift = (low - high) * math.tan(lean)
    start = left + 22.0 - 0.5 * shift
    end = start + 30.0
    beam = [start + 0.5 * shift - 4.0, end + 0.5 * shift + 4.0]
    toward = "-Y" if side > 0 else "+Y"
    return [
        line(start, low, start + shift, high, "wide"),
        line(end, low, end + shift, high, "wide"),
        line(start, low, start, high, "face"),
        line(end, low, end, high, "face"),
        box(beam[0], y - 1.5, beam[1] - beam[0], 3.0, "wide"),
        line(beam[1] + 3.0, y, beam[1] + 3.0, y + side * 7.0, "narrow"),
        arrow((beam[1] + 3.0, y + side * 9.0), (0.0, side)),
        write(
            left + 0.5 * _PANEL, _BASE + 10.5, f"move the +X end of the beam toward {toward}", 2.8, "middle"
        ),
        *_axis(left + 3.0, _BASE - 1.0, "X", "Y"),
        write(left + 4.0, 12.0, _value("XY", skew_deg, std_deg), 3.0),
        write(left + 4.0, 16.0, "positive: Y leans toward +X", 2.8, names="soft"),
    ]


def _axis(x: float, y: float, right: str, up: str) -> list[str]:
    return [
        line(x, y, x + 6.0, y, "narrow"),
        arrow((x + 8.0, y), (1.0, 0.0)),
        write(x + 5.5, y + 3.2, f"+{right}", 2.6),
        line(x, y, x, y - 6.0, "narrow"),
        arrow((x, y - 8.0), (0.0, -1.0)),
        write(x + 1.2, y - 6.5, f"+{up}", 2.6),
    ]


def _value(name: str, skew_deg: float, std_deg: float) -> str:
    if skew_deg == 0.0:
        return f"{name} is 0: drawn as if positive"
    return f"{name} = {write_estimate(skew_deg, std_deg)} degrees"


def _sign(side: float) -> str:
    return "+" if side > 0 else "-"
