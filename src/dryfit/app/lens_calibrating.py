"""The lens of one's own camera from photographs of a board: found, tested view by view, written into the document."""

from __future__ import annotations

import math
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np

from dryfit.app.lens_boards import BoardPicture, Progress, focal_mm_of, read_boards
from dryfit.app.lens_records import (
    BadView,
    BoardLine,
    LensAsked,
    LensFigure,
    LensRefused,
    LensReport,
    PictureCorner,
)
from dryfit.app.photo_calibrated import lens_on
from dryfit.app.photographs import find_photo, open_photo, refuse_faults
from dryfit.base.errors import ComputationRefused
from dryfit.calc.photo import (
    LENS_NAMES,
    BoardLens,
    SuspectView,
    covered_share,
    frame_corners,
    lens_from_boards,
)
from dryfit.model.finding import State
from dryfit.model.photo import CalibratedLens
from dryfit.store.document import Document, read_document
from dryfit.store.edit import DocumentEditor
from dryfit.store.rows_lens import LensRow

_PLACES = ("upper left", "upper right", "lower right", "lower left")
_FIGURES = ("focal length", "centre, x", "centre, y", "k1", "k2", "p1", "p2", "k3")
# Correlations are kept to so many decimals: fewer would make matrices that no figures can have.
_DECIMALS = 9
# Below this share of the picture, or with a corner that no board reaches, distortion is extrapolated (common practice).
_COVERED = 0.6


def find_lens(
    path: Path, files: Sequence[Path], asked: LensAsked, progress: Progress | None = None
) -> LensReport:
    """Find a lens, and write it as a [[lens]] where no view that fits badly is undecided.

    Raises RowsRefused with every photograph that shows no board, LensRefused or ComputationRefused where the views give
    no lens or the request does not go together, and as DocumentEditor does; the document is then as it was.
    """
    document = read_document(path)
    _check_asked(document, files, asked)
    taken = [file for file in files if file.name not in asked.without]
    boards = read_boards(taken, asked, progress)
    size = boards[0].picture.stored_width_px, boards[0].picture.stored_height_px
    found = lens_from_boards([item.view(asked) for item in boards], *size, asked.is_k3_found)
    bad = tuple(_bad_view(found, boards, asked, suspect) for suspect in found.found.suspects)
    is_clear = all(item.is_decided for item in bad)
    row = _row(found, boards, asked, bad)
    editor = DocumentEditor(document.path)
    _put(editor, document, asked, row)
    diff = editor.diff()
    _check_users(document, asked, LensRow.model_validate(row).to_model())
    is_written = is_clear and not asked.look
    if is_written:
        editor.save()
    users = {photo.id for photo in document.project.photos if photo.lens == asked.name} | set(asked.used_by)
    views = [item.view(asked) for item in boards]
    covered = covered_share(views, *size)
    corners = tuple(
        PictureCorner(place, _number(item.moved_px), _number(item.std_px), item.is_reached)
        for place, item in zip(_PLACES, frame_corners(found.found, views, *size), strict=True)
    )
    state: State = "stop" if not is_clear else "pass"
    if is_clear and (covered < _COVERED or not all(item.is_reached for item in corners)):
        state = "caution"
    return LensReport(
        project=document.project.name,
        name=asked.name,
        state=state,
        width_px=size[0],
        height_px=size[1],
        columns=asked.columns,
        rows=asked.rows,
        square_mm=asked.square_mm,
        boards=tuple(_lines(files, boards, found, bad, asked)),
        bad=bad,
        figures=tuple(_figures(found)),
        rms_px=found.found.overall_px,
        mark_std_px=found.found.mark_std_px,
        covered=covered,
        spread_deg=found.spread_deg,
        corners=corners,
        notes=tuple(_notes(found, boards, asked)),
        is_written=is_written,
        used_by=tuple(photo.id for photo in document.project.photos if photo.id in users),
        diff=diff,
    )


def _check_asked(document: Document, files: Sequence[Path], asked: LensAsked) -> None:
    names = {file.name for file in files}
    for option, listed in (("--without", asked.without), ("--keep", asked.keep)):
        for name in listed:
            if name not in names:
                raise LensRefused(
                    f"there is no {name} among the photographs", option, "name one by its file name"
                )
    both = sorted(set(asked.without) & set(asked.keep))
    if both:
        raise LensRefused(f"{both[0]} is to be left out and kept", "--without and --keep", "name it once")
    if (asked.without or asked.keep) and not asked.because.strip():
        what = "a photograph is left out or kept without a reason"
        raise LensRefused(
            what, "--because", 'say why: --because "the board was bent"; it stands with the lens'
        )
    if asked.because and not (asked.without or asked.keep):
        raise LensRefused(
            "a reason is given and nothing is decided", "--because", "add --without FILE or --keep FILE"
        )
    if not (math.isfinite(asked.square_mm) and 0.1 <= asked.square_mm <= 10_000.0):
        raise LensRefused(f"{asked.square_mm:g} mm is no square", "--square", 'measure one, such as "25 mm"')
    if any(lens.id == asked.name for lens in document.project.lenses) and not asked.again:
        what = f'there is a lens "{asked.name}" already'
        raise LensRefused(what, document.path.name, "use --again to find it anew, or another name")
    for id in asked.used_by:
        find_photo(document.project, id, document.path.name)


def _check_users(document: Document, asked: LensAsked, lens: CalibratedLens) -> None:
    """Each photograph that will use it must be one of its pictures. Raises LensUnfit or PhotoUnfit."""
    from dataclasses import replace

    folder = document.path.parent
    for photo in document.project.photos:
        if photo.id not in asked.used_by and photo.lens != asked.name:
            continue
        at_hand = open_photo(folder, replace(photo, lens=asked.name, calibrated=None))
        refuse_faults(at_hand)
        if at_hand.picture is not None and at_hand.crop is not None:
            lens_on(replace(photo, lens=asked.name, calibrated=lens), at_hand.picture, at_hand.crop)


def _put(editor: DocumentEditor, document: Document, asked: LensAsked, row: dict[str, Any]) -> None:
    if any(lens.id == asked.name for lens in document.project.lenses):
        editor.set_value(("lens", asked.name), row)
    else:
        editor.add_rows("lens", [row])
    for id in asked.used_by:
        editor.set_value(("photo", id, "lens"), asked.name)


def _row(
    found: BoardLens, boards: Sequence[BoardPicture], asked: LensAsked, bad: Sequence[BadView]
) -> dict[str, Any]:
    figures, std = found.found.lens.vector, found.found.std
    covariance = found.found.covariance
    scale = np.where(std > 0.0, std, 1.0)
    correlation = np.clip(covariance / np.outer(scale, scale), -1.0, 1.0)
    row: dict[str, Any] = {
        "id": asked.name,
        "width_px": boards[0].picture.stored_width_px,
        "height_px": boards[0].picture.stored_height_px,
        "focal_px": float(figures[0]),
        "focal_std_px": float(std[0]),
        "centre_px": figures[1:3].tolist(),
        "centre_std_px": std[1:3].tolist(),
        "distortion": figures[3:].tolist(),
        "distortion_std": std[3:].tolist(),
        "correlation": [
            [round(float(value), _DECIMALS) + 0.0 for value in correlation[k, :k]] for k in range(1, 8)
        ],
        "source": _source(boards, asked, bad),
    }
    focal_mm = focal_mm_of(boards)
    return row if focal_mm is None else {**row, "focal_mm": focal_mm}


def _source(boards: Sequence[BoardPicture], asked: LensAsked, bad: Sequence[BadView]) -> str:
    text = (
        f"{len(boards)} photographs of a board of {asked.columns} x {asked.rows} corners, {asked.square_mm:g} mm: "
        f"{', '.join(item.file for item in boards)}"
    )
    kept = [item.file for item in bad if item.is_decided]
    decided = [f"without {', '.join(asked.without)}"] if asked.without else []
    decided += [f"with {', '.join(kept)}, which fits badly"] if kept else []
    return f"{text}; {' and '.join(decided)}: {asked.because.strip()}" if decided else text


def _bad_view(
    found: BoardLens, boards: Sequence[BoardPicture], asked: LensAsked, suspect: SuspectView
) -> BadView:
    """What the lens is without one view, and whether a narrower window would mend it."""
    item = boards[suspect.view]
    size = item.picture.stored_width_px, item.picture.stored_height_px
    views = [board.view(asked) for board in boards]
    rest = [view for place, view in enumerate(views) if place != suspect.view]
    try:
        without = lens_from_boards(rest, *size, asked.is_k3_found).found
    except ComputationRefused as refusal:
        what = f"{item.file} fits {suspect.ratio:.1f} times worse than the others, and without it: {refusal.what}"
        raise LensRefused(what, item.file, f"{refusal.do}; then leave it out") from refusal
    fitting = None
    if item.fitted.window_px < item.seen.window_px:
        mended = [*views[: suspect.view], item.view(asked, is_fitted=True), *views[suspect.view + 1 :]]
        fitting = float(lens_from_boards(mended, *size, asked.is_k3_found).found.rms_px[suspect.view])
    focal, std = without.lens.focal_px, float(without.std[0])
    return BadView(
        file=item.file,
        rms_px=suspect.rms_px,
        others_px=suspect.others_px,
        ratio=suspect.ratio,
        p_value=suspect.p_value,
        without_px=without.overall_px,
        focal_px=focal,
        focal_std_px=std,
        change_std=(focal - found.found.lens.focal_px) / float(found.found.std[0]),
        fitting_px=fitting,
        fitting_window_px=None if fitting is None else item.fitted.window_px,
        is_decided=item.file in asked.keep,
    )


def _lines(
    files: Sequence[Path],
    boards: Sequence[BoardPicture],
    found: BoardLens,
    bad: Sequence[BadView],
    asked: LensAsked,
) -> list[BoardLine]:
    place = {item.file: number for number, item in enumerate(boards)}
    doubtful = {item.file: item for item in bad}
    lines = []
    for file in files:
        if file.name in asked.without:
            why = f"left out: {asked.because.strip()}"
            lines.append(BoardLine(file.name, "not checked", None, None, None, None, None, why))
            continue
        number = place[file.name]
        seen, view = boards[number].seen, doubtful.get(file.name)
        state: State = "pass"
        why = ""
        if view is not None:
            state = "caution" if view.is_decided else "stop"
            why = f"fits {view.ratio:.1f} times worse than the others"
            why += f"; kept: {asked.because.strip()}" if view.is_decided else ""
        elif seen.is_window_wide:
            state, why = "caution", "windows of neighbouring corners reach into one another"
        lines.append(
            BoardLine(
                file.name,
                state,
                float(found.found.rms_px[number]),
                float(found.tilt_deg[number]),
                float(found.distance_mm[number]),
                seen.apart_px,
                seen.window_px,
                why,
            )
        )
    return lines


def _figures(found: BoardLens) -> list[LensFigure]:
    values, std = found.found.lens.vector, found.found.std
    return [
        LensFigure(words, float(value), float(spread), "px" if name.endswith("_px") else "-")
        for name, words, value, spread in zip(LENS_NAMES, _FIGURES, values, std, strict=True)
        if spread > 0.0
    ]


def _notes(found: BoardLens, boards: Sequence[BoardPicture], asked: LensAsked) -> list[str]:
    notes = ["pixels are taken as square, and one focal length holds for both directions"]
    if found.has_k3:
        notes.append(
            f"k3 was found too: {found.found.overall_px:.3g} px rather than {found.without_k3_px:.3g} px without it"
        )
    else:
        why = "the photographs do not ask for it" if asked.is_k3_found is None else "as asked"
        notes.append(f"k3 was left at zero: {why}")
    far = float(np.median(found.distance_mm))
    focal_mm = focal_mm_of(boards)
    if focal_mm is not None and focal_mm < far:
        share = 100.0 * focal_mm / (far - focal_mm)
        notes.append(
            f"the boards stood {far:.0f} mm away: the same {focal_mm:g} mm lens focused far off has a focal length "
            f"up to {share:.2g} % shorter; keep the focus of the boards, or state a larger focal_std_px"
        )
    else:
        notes.append(
            f"the boards stood {far:.0f} mm away: the focal length is that of this focus, and changes with it; keep it"
        )
    return notes


def _number(value: float) -> float | None:
    return value if math.isfinite(value) else None
