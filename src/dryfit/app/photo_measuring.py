"""Measure all photographs of a project, and put together what shares a camera or a known size."""

from __future__ import annotations

from collections.abc import Sequence, Set

import numpy as np

from dryfit.app.photo_arrays import PhotoArrays, photo_arrays
from dryfit.app.photo_control import control_known_points
from dryfit.app.photo_groups import group_photos
from dryfit.app.photo_height_sizes import measure_upright
from dryfit.app.photo_one_scale import one_scale_words
from dryfit.app.photo_plane_sizes import measure_in_planes
from dryfit.app.photo_size_records import Log, NotUsed, PhotoEvidence, Piece, SizeLine, Suspect, Wanted
from dryfit.app.photo_together import measure_together
from dryfit.app.photographs import PhotoAtHand, PhotoUnfit
from dryfit.model.evidence import JointObservations

# Added to every size so that two that are nearly one do not share all: a micrometre.
_ROUNDING_MM = 1e-3
_UNCONTROLLED = "nothing that is known controls the rest: a gross error would not show"


def measure_photos(at_hand: Sequence[PhotoAtHand], dimensions: Set[str]) -> PhotoEvidence:
    """Sizes of all photographs: those with common points together first, then each by itself."""
    several, not_used = _fit(at_hand)
    log = Log()
    wanted = [Wanted(item.photo.id, size) for item in several for size in item.marks.sizes]
    lost = [item for item in wanted if item.size.of not in dimensions]
    not_used += [_no_dimension(item) for item in lost]
    wanted = [item for item in wanted if item.size.of in dimensions]
    pieces = measure_together(several, wanted, log)
    suspects: list[Suspect] = []
    doubtful: dict[str, list[Suspect]] = {}
    tested = {id for piece in pieces if piece.is_framed for id in piece.photos}
    for arrays in several:
        done = {_same(item) for piece in pieces if arrays.photo.id in piece.photos for item in piece.wanted}
        rest = [item for item in wanted if item.photo == arrays.photo.id and _same(item) not in done]
        # one photograph by itself is the weaker test, and knows less of its lens
        doubtful[arrays.photo.id] = [] if arrays.photo.id in tested else control_known_points(arrays)
        for measure in (measure_in_planes, measure_upright):
            if rest:
                new = measure(arrays, rest, log)
                pieces += new
                had = {item.id for piece in new for item in piece.wanted}
                rest = [item for item in rest if item.id not in had]
        not_used += [_not_measured(arrays, item, log) for item in rest]
    suspects += [item for piece in pieces for item in piece.suspects]
    suspects += [item for items in doubtful.values() for item in items]
    suspects = list({(item.photo, item.where): item for item in reversed(suspects)}.values())[::-1]
    lines, good = [], []
    for piece in pieces:
        against = [*piece.suspects, *(item for id in piece.photos for item in doubtful[id])]
        why_not = "; ".join(dict.fromkeys(_named(item) for item in against))
        lines += _lines(piece, log, why_not)
        if why_not:
            not_used.append(_suspected(piece, why_not))
        else:
            good.append(piece)
    return PhotoEvidence(
        tuple(lines), tuple(suspects), tuple(not_used), tuple(join_pieces(good)), group_photos(several)
    )


def join_pieces(pieces: Sequence[Piece]) -> list[JointObservations]:
    """One group for each photograph, or for photographs that share a camera or something of known size.

    Two pictures scaled by the same door are both too large where the door is: their sizes share that.
    """
    groups: list[list[Piece]] = []
    for piece in pieces:
        near = [group for group in groups if any(_hang_together(piece, other) for other in group)]
        groups = [group for group in groups if not any(group is other for other in near)]
        groups.append([*(item for group in near for item in group), piece])
    return [_group(group) for group in groups]


def _hang_together(one: Piece, other: Piece) -> bool:
    return bool(set(one.photos) & set(other.photos)) or bool(set(one.shared) & set(other.shared))


def _group(pieces: Sequence[Piece]) -> JointObservations:
    photos = list(dict.fromkeys(id for piece in pieces for id in piece.photos))
    count = sum(len(piece.wanted) for piece in pieces)
    covariance = np.zeros((count, count))
    starts = np.cumsum([0, *(len(piece.wanted) for piece in pieces)])
    for place, piece in enumerate(pieces):
        mine = slice(starts[place], starts[place + 1])
        covariance[mine, mine] = piece.covariance
        for before, other in enumerate(pieces[:place]):
            theirs = slice(starts[before], starts[before + 1])
            for name in set(piece.shared) & set(other.shared):
                both = np.outer(piece.shared[name], other.shared[name])
                covariance[mine, theirs] += both
                covariance[theirs, mine] += both.T
    wanted = [item for piece in pieces for item in piece.wanted]
    return JointObservations(
        id=f"photo:{'+'.join(photos)}",
        ids=tuple(item.id for item in wanted),
        terms=tuple(((item.size.of, 1.0),) for item in wanted),
        values_mm=np.concatenate([piece.values_mm for piece in pieces]),
        covariance=covariance + _ROUNDING_MM**2 * np.eye(count),
        source=f"measured on photograph {', '.join(photos)}: "
        + ", ".join(dict.fromkeys(f"{piece.method} {piece.about}".strip() for piece in pieces)),
    )


def _fit(at_hand: Sequence[PhotoAtHand]) -> tuple[list[PhotoArrays], list[NotUsed]]:
    """The photographs whose picture and marks can be used; those with sizes that cannot are told."""
    several, not_used = [], []
    for item in at_hand:
        if item.marks is None and not item.faults:
            continue  # nothing is marked on it, and so no size
        try:
            several.append(photo_arrays(item))
        except PhotoUnfit as refusal:
            sizes = tuple(size.id for size in item.marks.sizes) if item.marks is not None else ()
            if sizes or (item.marks is None and any(fault.state == "stop" for fault in item.faults)):
                not_used.append(NotUsed((item.photo.id,), sizes, refusal.what, refusal.do))
    return several, not_used


def _same(item: Wanted) -> tuple[frozenset[str], str]:
    return frozenset(item.size.between), item.size.of


def _no_dimension(item: Wanted) -> NotUsed:
    what = f'there is no dimension "{item.size.of}"'
    return NotUsed((item.photo,), (item.size.id,), what, f'add [[dimension]] id = "{item.size.of}"')


def _not_measured(arrays: PhotoArrays, item: Wanted, log: Log) -> NotUsed:
    tried = log.of(item)
    scale = one_scale_words(arrays, item)
    why = "; ".join([*(f"{one.method}: {one.why}" for one in tried), *([scale] if scale else [])])
    do = next((one.do for one in tried if one.do), "see what the marks allow: dryfit photo check")
    return NotUsed((item.photo,), (item.size.id,), why, do)


def _suspected(piece: Piece, why: str) -> NotUsed:
    ids = tuple(item.size.id for item in piece.wanted)
    return NotUsed(
        piece.photos,
        ids,
        f"something is wrong on it: {why}",
        "mend it: dryfit photo sizes says how",
    )


def _named(item: Suspect) -> str:
    return f"{item.where} on {item.photo}" if item.photo and item.photo not in item.where else item.where


def _lines(piece: Piece, log: Log, why_not: str) -> list[SizeLine]:
    std = np.sqrt(np.diag(piece.covariance))
    return [
        SizeLine(
            id=item.size.id,
            photo=item.photo,
            photos=piece.photos,
            between=item.size.between,
            dimension=item.size.of,
            method=piece.method,
            about=piece.about,
            value_mm=float(piece.values_mm[place]),
            std_mm=float(std[place]),
            causes=piece.budget(place),
            one_scale=_finite(float(piece.one_scale[place])),
            rms_px=None if piece.p_value is None else _finite(piece.rms_px),
            p_value=piece.p_value,
            others=log.of(item),
            notes=piece.notes if piece.p_value is not None else (*piece.notes, _UNCONTROLLED),
            is_used=not why_not,
            why_not=why_not,
        )
        for place, item in enumerate(piece.wanted)
    ]


def _finite(value: float) -> float | None:
    return value if np.isfinite(value) else None
