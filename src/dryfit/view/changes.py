"""Two states compared, in rows and sentences: what is touched first, then what differs."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from dryfit.app.changes import ChangesReport, Side
from dryfit.app.changes_effects import DimensionMove, FeatureMove, OutcomeMove
from dryfit.app.changes_joints import JointMove
from dryfit.app.changes_parts import Motion, PartChange
from dryfit.app.changes_price import Amount, PieceFate, PieceState, ToCome
from dryfit.base.estimate import Estimate
from dryfit.base.naming import list_some
from dryfit.calc.revision import Region
from dryfit.model.finding import MeasuredFeature
from dryfit.view.blocks import Block, Heading, Sentence, State, Table
from dryfit.view.change_words import change_words
from dryfit.view.digits import NONE, write_estimate, write_number, write_probability

PIECE_STATES: Mapping[PieceState, State] = {
    "good": "pass",
    "look": "caution",
    "rework": "caution",
    "lost": "stop",
    "not known": "not checked",
}
_COUNTED: Mapping[PieceState, str] = {
    "lost": "lost",
    "not known": "not known",
    "rework": "to rework",
    "look": "to look at",
}
_NAMED = 6
_PLACES = 3


def changes_blocks(report: ChangesReport) -> list[Block]:
    """Verdict, printed parts and price, then every difference by what it touches."""
    blocks: list[Block] = [
        Heading(f"{report.project}: {_title(report)}: {verdict(report)}", changes_state(report))
    ]
    blocks += [Sentence(text, state) for text, state in _refused(report)]
    blocks += _price(report)
    blocks += _document(report)
    blocks += _dimensions(report.dimensions)
    blocks += _parts(report)
    blocks += _features(report.features)
    blocks += _joints(report.joints)
    blocks += _forecast(report)
    return [*blocks, *_assumed(report)]


def changes_sections(report: ChangesReport) -> list[tuple[str, list[Block]]]:
    """The same by what it is about, the verdict first; the forecast is left to forecast_pairs and forecast_notes."""
    verdict_block = Heading(f"{report.project}: {_title(report)}: {verdict(report)}", changes_state(report))
    return [
        ("verdict", [verdict_block, *(Sentence(text, state) for text, state in _refused(report))]),
        ("printed parts and price", _price(report)),
        ("document", _document(report)),
        ("dimensions", _dimensions(report.dimensions)),
        ("features", _features(report.features)),
        ("joints", _joints(report.joints)),
        ("assumed", list(_assumed(report))),
    ]


def forecast_notes(report: ChangesReport) -> list[Block]:
    """What there is to say of the two forecasts beside their figures."""
    return [block for block in _forecast(report) if not isinstance(block, Table)]


def changed_parts(report: ChangesReport) -> list[tuple[PartChange, str, str, State]]:
    """Parts that are not as they were: with their name, what became of them, and a state."""
    moved = [part for part in report.parts if part.kind != "unchanged" or part.is_renamed]
    return [(part, _part_name(part), _kind(part), _part_state(part)) for part in moved]


def unchanged_words(report: ChangesReport) -> str:
    """How many parts are as they were."""
    same = sum(1 for part in report.parts if part.kind == "unchanged" and not part.is_renamed)
    whole = f"All {same} parts" if same == len(report.parts) else f"{same} of {len(report.parts)} parts"
    return f"{whole} are unchanged in shape, place and name."


def changes_state(report: ChangesReport) -> State:
    """The state of a comparison: stop where something printed is lost, pass where nothing printed is touched."""
    if report.price.of("lost") or report.before.faults or report.after.faults:
        return "stop"
    if report.price.of("not known") or report.of_kind("not compared"):
        return "not checked"
    return "caution" if report.price.is_touched else "pass"


def verdict(report: ChangesReport) -> str:
    """The first thing to say: whether anything printed is touched, and what it costs."""
    pieces = report.price.pieces
    if report.is_same:
        return "nothing differs"
    if not pieces:
        return "nothing is printed yet, so nothing printed is touched"
    if not report.price.is_touched:
        return f"nothing printed is touched: {_stay(len(pieces))}"
    counted = [
        f"{len(report.price.of(state))} {words}"
        for state, words in _COUNTED.items()
        if report.price.of(state)
    ]
    good = len(report.price.of("good"))
    counted += [f"{good} stay{'s' if good == 1 else ''} good"] if good else []
    return f"of {len(pieces)} printed part{'' if len(pieces) == 1 else 's'}, {', '.join(counted)}"


def _stay(count: int) -> str:
    return "the one printed part stays good" if count == 1 else f"all {count} printed parts stay good"


def _title(report: ChangesReport) -> str:
    return f"{report.before.name} -> {report.after.name}"


def _refused(report: ChangesReport) -> Iterator[tuple[str, State]]:
    """Frozen copies that are not what was released, and meshes that cannot be read."""
    for side in _sides(report):
        for fault in side.faults:
            what = "is missing" if fault.kind == "missing" else "is not what was released any more"
            yield (
                f"{side.name}: the frozen copy of {fault.name} {what} (released/{fault.sha256[:12]}...).",
                "stop",
            )
        if side.unread:
            yield (
                f"{side.name}: the meshes of {list_some(side.unread, _NAMED)} cannot be read.",
                "not checked",
            )


def _price(report: ChangesReport) -> list[Block]:
    price = report.price
    touched = [piece for piece in price.pieces if piece.is_touched]
    blocks: list[Block] = []
    if touched:
        rows = tuple(_piece_row(piece) for piece in touched)
        heads = ("printed part", "print", "state", "why", "hours in it", "grams in it")
        states = tuple(PIECE_STATES[piece.state] for piece in touched)
        blocks.append(Table(heads, rows, frozenset({4, 5}), states))
    lost = price.of("lost")
    if lost:
        blocks.append(
            Sentence(f"Lost: {_total(piece.hours for piece in lost)} h, {_total(p.grams for p in lost)} g.")
        )
    if price.to_come:
        blocks += _to_come(price.to_come)
    return blocks


def _piece_row(piece: PieceFate) -> tuple[str, ...]:
    item = piece.print
    release = f", release {item.release}" if item.release else ""
    return (
        piece.part,
        f"record {item.record}{release}",
        piece.state,
        "; ".join(piece.reasons) or NONE,
        _amount(piece.hours),
        _amount(piece.grams),
    )


def _to_come(rows: Sequence[ToCome]) -> list[Block]:
    total = f"To come: {_total(row.hours for row in rows)} h, {_total(row.grams for row in rows)} g."
    table = Table(
        ("to print", "why", "hours", "grams", "hours from", "grams from"),
        tuple(
            (
                row.part,
                "again" if row.is_again else "it is new",
                _amount(row.hours),
                _amount(row.grams),
                row.hours.whence,
                row.grams.whence,
            )
            for row in rows
        ),
        frozenset({2, 3}),
    )
    return [Sentence(total), table]


def _amount(amount: Amount) -> str:
    if amount.value is None:
        return "not known"
    return f"{'about ' if amount.is_estimate else ''}{write_number(amount.value, 1)}"


def _total(amounts: Iterator[Amount] | Sequence[Amount]) -> str:
    rows = list(amounts)
    known = [row for row in rows if row.value is not None]
    if not known:
        return "not known"
    about = "about " if any(row.is_estimate for row in known) else ""
    missing = len(rows) - len(known)
    text = f"{about}{write_number(sum(row.value or 0.0 for row in known), 1)}"
    return f"{text} and {missing} not known" if missing else text


def _document(report: ChangesReport) -> list[Block]:
    if not report.document:
        return [Sentence("The documents say the same.")]
    rows, last = [], ("", "")
    for change in report.document:
        row = (change.table, change.row)
        # What hangs on a row is said once.
        rows.append((change_words(change), "" if row == last else list_some(change.touches, _NAMED) or NONE))
        last = row
    return [Table(("in the document", "touches"), tuple(rows))]


def _dimensions(moves: Sequence[DimensionMove]) -> list[Block]:
    if not moves:
        return []
    rows = tuple(
        (
            move.id,
            _size(move.prototype_before_mm, move.unknown_before),
            _size(move.prototype_after_mm, move.unknown_after),
            _size(move.model_before_mm, ""),
            _size(move.model_after_mm, ""),
            _significance(move.is_significant),
            list_some(move.touched.parts, _NAMED) or NONE,
        )
        for move in moves
    )
    heads = ("dimension", "was, mm", "is, mm", "in the model was, mm", "is, mm", "move", "modelled to it")
    states: tuple[State, ...] = tuple("caution" if move.is_significant else "pass" for move in moves)
    return [Table(heads, rows, frozenset({1, 2, 3, 4}), states)]


def _size(size: Estimate | None, unknown: str) -> str:
    return unknown or NONE if size is None else write_estimate(size.value, size.std)


def _significance(is_significant: bool | None) -> str:
    if is_significant is None:
        return "cannot be compared"
    return "significant" if is_significant else "within what is known"


def _parts(report: ChangesReport) -> list[Block]:
    moved = [part for part in report.parts if part.kind != "unchanged" or part.is_renamed]
    same = len(report.parts) - len(moved)
    blocks: list[Block] = []
    if moved:
        rows = tuple((_part_name(part), _kind(part), part_words(part)) for part in moved)
        blocks.append(
            Table(("part", "it is", "how"), rows, states=tuple(_part_state(part) for part in moved))
        )
    whole = f"All {same} parts" if not moved else f"{same} of {len(report.parts)} parts"
    blocks.append(Sentence(f"{whole} are unchanged in shape, place and name."))
    return blocks


def _kind(part: PartChange) -> str:
    return f"renamed, {part.kind}" if part.is_renamed else part.kind


def _part_name(part: PartChange) -> str:
    return f"{part.old_id} -> {part.id}" if part.is_renamed else part.name


def _part_state(part: PartChange) -> State:
    if part.kind == "not compared":
        return "not checked"
    return "caution" if part.has_shape_changed or part.kind in ("new", "gone") else "pass"


def part_words(part: PartChange) -> str:
    """What became of a part, with the figures of its motion and of the map of deviations."""
    words = [part.reason]
    if part.motion is not None:
        words.append(motion_words(part.motion))
    map_ = part.deviation
    if map_ is not None and part.kind != "unit slip":
        off = sum(region.area_mm2 for region in part.regions)
        words.append(
            f"rms {write_number(map_.rms_mm, 4)} mm over the whole surface; {off / 100.0:.3g} cm2 changed"
        )
        words += [region_words(region, map_.is_signed) for region in part.regions[:_PLACES]]
        more = len(part.regions) - _PLACES
        words += [f"and {more} places more"] if more > 0 else []
    return "; ".join(words)


def motion_words(motion: Motion) -> str:
    """A motion: "moved by (0, 0, 5) mm and turned by 90 degrees about (0, 0, 1)"."""
    shift = ", ".join(write_number(float(value)) for value in motion.shift_mm)
    text = f"its middle moved by ({shift}) mm"
    if motion.turn_deg < 5e-5:
        return text
    axis = ", ".join(write_number(float(value)) for value in motion.axis)
    return f"{text}, turned by {write_number(motion.turn_deg)} degrees about ({axis})"


def region_words(region: Region, is_signed: bool = True) -> str:
    """Where a part changed: how much, which way the face looks, and the coordinates."""
    place = ", ".join(f"{value:.1f}" for value in region.place_mm)
    sign = f"{region.largest_mm:+.3g}" if is_signed else f"{abs(region.largest_mm):.3g}"
    return f"{sign} mm {_facing(region)}at ({place})"


def _facing(region: Region) -> str:
    k = int(abs(region.normal).argmax())
    if abs(region.normal[k]) < 0.9:
        return ""
    return f"on the face to {'+' if region.normal[k] > 0 else '-'}{'XYZ'[k]} "


def _features(moves: Sequence[FeatureMove]) -> list[Block]:
    if not moves:
        return []
    rows = tuple(
        (
            move.id,
            _feature(move.before),
            _feature(move.after),
            NONE if move.after is None else move.after.reason,
        )
        for move in moves
    )
    states: tuple[State, ...] = tuple("caution" if move.after is None else move.after.state for move in moves)
    return [Table(("feature", "was: measured, wanted", "is: measured, wanted", "now"), rows, states=states)]


def _feature(item: MeasuredFeature | None) -> str:
    if item is None:
        return "not there"
    measured = "not measured" if item.measured is None else f"{write_number(item.measured)} {item.unit}"
    return (
        measured
        if item.nominal is None
        else f"{measured}, {write_estimate(item.nominal.value, item.nominal.std)}"
    )


def _joints(moves: Sequence[JointMove]) -> list[Block]:
    if not moves:
        return [Sentence("No joint is affected.")]
    rows = tuple(
        (move.id, "; ".join(move.reasons), list_some(move.characteristics, _NAMED) or NONE) for move in moves
    )
    return [Table(("joint affected", "how", "characteristics of it"), rows)]


def _forecast(report: ChangesReport) -> list[Block]:
    move = report.forecast
    blocks: list[Block] = [
        Sentence(f"{side.name} cannot be forecast: {why}.", "not checked")
        for side, why in ((report.before, move.refused_before), (report.after, move.refused_after))
        if why
    ]
    changed = [row for row in move.outcomes if row.change.has_changed]
    if changed:
        rows = tuple(_outcome(row) for row in changed)
        heads = ("characteristic", "was", "is", "outside was", "is")
        states = tuple(row.state_after or row.state_before or "not checked" for row in changed)
        blocks.append(Table(heads, rows, frozenset({1, 2, 3, 4}), states))
    same = len(move.outcomes) - len(changed)
    if move.outcomes and same:
        blocks.append(Sentence(f"{same} of {len(move.outcomes)} characteristics are forecast as before."))
    blocks += [Sentence(f"{words}.", mark=True) for words in (*move.order, *move.versions)]
    blocks += [Sentence(f"{words}.", "caution", mark=True) for words in move.recorded]
    return blocks


def _outcome(row: OutcomeMove) -> tuple[str, ...]:
    change = row.change
    return (
        change.id,
        _figure(change.predicted_before, change.std_before, change.unit),
        _figure(change.predicted_after, change.std_after, change.unit),
        NONE if change.predicted_before is None else write_probability(change.p_out_before),
        NONE if change.predicted_after is None else write_probability(change.p_out_after),
    )


def _figure(value: float | None, std: float | None, unit: str) -> str:
    return NONE if value is None or std is None else f"{write_estimate(value, std)} {unit}"


def _assumed(report: ChangesReport) -> Iterator[Block]:
    bench = report.bench
    if report.price.pieces:
        yield Sentence(
            f"assumed (common practice, --sand, --fill, --reach): up to {bench.sand_mm:g} mm can be sanded off where "
            f"a block has {bench.reach_mm:g} mm of room, up to {bench.fill_mm:g} mm filled or shimmed; of each part "
            "its last good print counts",
            mark=True,
        )
    for side in _sides(report):
        for note in side.notes:
            yield Sentence(f"{side.name}: {note}", mark=True)


def _sides(report: ChangesReport) -> tuple[Side, ...]:
    """Both, or one where a release is compared with itself."""
    return (report.before,) if report.before.name == report.after.name else (report.before, report.after)
