"""A lens found from photographs of a board, in words and rows."""

from __future__ import annotations

from typing import Any

from dryfit.app.lens_records import BadView, LensReport, PictureCorner
from dryfit.view.blocks import Block, Heading, Sentence, Table
from dryfit.view.digits import write_estimate
from dryfit.view.plain import to_plain

NONE = "-"


def lens_blocks(report: LensReport) -> list[Block]:
    """Every photograph, what fits badly, the figures, what the boards cover, and what was written."""
    used = sum(line.rms_px is not None for line in report.boards)
    noun = "photograph" if used == 1 else "photographs"
    title = f'{report.project}: lens "{report.name}" from {used} {noun}, {report.width_px} x {report.height_px} pixels'
    blocks: list[Block] = [Heading(title, report.state), _boards(report)]
    blocks += [_bad(item) for item in report.bad]
    blocks.append(_figures(report))
    blocks += [Sentence(words, mark=True) for words in _covered(report)]
    blocks += [Sentence(note, mark=True) for note in report.notes]
    blocks.append(_written(report))
    return blocks


def lens_plain(report: LensReport) -> dict[str, Any]:
    """Keys of `dryfit photo lens --json`."""
    plain: dict[str, Any] = to_plain(report)
    return plain


def _boards(report: LensReport) -> Table:
    heads = (
        "photograph",
        "corners off, px",
        "tilt, deg",
        "distance, mm",
        "corners apart, px",
        "window, px",
        "",
    )
    rows = tuple(
        (
            line.file,
            NONE if line.rms_px is None else f"{line.rms_px:.3f}",
            NONE if line.tilt_deg is None else f"{line.tilt_deg:.0f}",
            NONE if line.distance_mm is None else f"{line.distance_mm:.0f}",
            NONE if line.apart_px is None else f"{line.apart_px:.0f}",
            NONE if line.window_px is None else f"+-{line.window_px}",
            line.why,
        )
        for line in report.boards
    )
    return Table(heads, rows, frozenset(range(1, 6)), tuple(line.state for line in report.boards))


def _bad(item: BadView) -> Sentence:
    text = (
        f"{item.file} fits badly: its corners are {item.rms_px:.2g} px off, {item.ratio:.1f} times the median of the "
        f"others ({item.others_px:.2g} px). Without it: {item.without_px:.2g} px in all, focal length "
        f"{write_estimate(item.focal_px, item.focal_std_px)} px, {item.change_std:+.1f} std."
    )
    if item.fitting_px is not None:
        text += (
            f" With a window of +-{item.fitting_window_px} px, which holds one corner only, it is "
            f"{item.fitting_px:.2g} px off: --window 0 fits the windows of all."
        )
    if item.is_decided:
        return Sentence(f"{text} It is kept.", "caution")
    do = f"look at it, then --without {item.file} or --keep {item.file}, with --because"
    return Sentence(f"{text} Do: {do}", "stop")


def _figures(report: LensReport) -> Table:
    rows = tuple((item.name, write_estimate(item.value, item.std), item.unit) for item in report.figures)
    return Table(("figure", "value(std)", "unit"), rows, frozenset({1}))


def _covered(report: LensReport) -> list[str]:
    words = [
        f"corners off {report.rms_px:.3g} px in all (root mean square), {report.mark_std_px:.2g} px a coordinate; "
        f"boards up to {report.spread_deg:.0f} degrees apart",
        f"the boards cover {100.0 * report.covered:.0f} % of the picture",
    ]
    missed = [item for item in report.corners if not item.is_reached]
    words.append(
        "at its corners the lens moves a mark by " + ", ".join(_corner(item) for item in report.corners)
    )
    if missed:
        places = ", ".join(item.place for item in missed)
        words.append(
            f"no board reaches the corner {places}: distortion there is extrapolated, and its uncertainty is that "
            "of the formula only"
        )
    return words


def _corner(item: PictureCorner) -> str:
    if item.moved_px is None or item.std_px is None:
        return f"more than can be taken back ({item.place})"
    return f"{write_estimate(item.moved_px, item.std_px)} px ({item.place})"


def _written(report: LensReport) -> Sentence:
    if not report.is_written:
        why = (
            "decide about what fits badly first" if report.state == "stop" else "leave --look out to write it"
        )
        return Sentence(f"nothing was written: {why}", mark=True)
    users = ", ".join(report.used_by) or "no photograph yet: --used-by PHOTO, or lens = in its [[photo]]"
    return Sentence(f'[[lens]] "{report.name}" was written into the document; used by {users}', mark=True)
