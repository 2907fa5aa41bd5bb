"""What a change costs: which printed parts are lost, which can be reworked, and what is to be printed again."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from statistics import median
from typing import Literal

import numpy as np

from dryfit.app.bond_records import bonded_with, bonds_of
from dryfit.app.changes_document import DocumentChange
from dryfit.app.changes_effects import FeatureMove
from dryfit.app.changes_joints import JointMove
from dryfit.app.changes_parts import PartChange, compare_meshes
from dryfit.app.geometry import PartShape
from dryfit.app.print_records import prints_of
from dryfit.app.release_state import State, released_state
from dryfit.app.releases import find_release, read_releases
from dryfit.app.shape_hash import hash_shape
from dryfit.app.weighing import weigh
from dryfit.base.errors import DryfitError
from dryfit.calc.revision import Bench, Region, has_free_way, judge_fate
from dryfit.model.handwork import Bond
from dryfit.model.mesh import TriangleMesh
from dryfit.model.part import Part
from dryfit.model.printing import Print
from dryfit.store.ledger import LedgerRecord

PieceState = Literal["good", "look", "rework", "lost", "not known"]
# Gravest first.
_GRAVITY: tuple[PieceState, ...] = ("lost", "not known", "rework", "look", "good")
# Kinds of features that sanding or filling one face can put right.
_BY_FACE = frozenset({"extent", "distance", "thickness", "section"})
_LOCATORS = frozenset({"locators", "locator_points_mm", "locator_axis"})
_REPEATS = 2.0  # standard deviations of a printed point within which a machine repeats itself


@dataclass(frozen=True, slots=True)
class Amount:
    """Hours or grams; value None where nothing tells. whence: in words, as "print record 12" or "estimated, ..."."""

    value: float | None
    whence: str
    is_estimate: bool = False


@dataclass(frozen=True, slots=True)
class PieceFate:
    """A good print, and what a change makes of it.

    part      its name in the later state, or what it was called where it is gone
    print     as the ledger has it
    reasons   why, in words; () where nothing touches it
    hours, grams  that went into it
    """

    part: str
    print: Print
    state: PieceState
    reasons: tuple[str, ...]
    hours: Amount
    grams: Amount

    @property
    def is_touched(self) -> bool:
        return self.state != "good" or bool(self.reasons)


@dataclass(frozen=True, slots=True)
class ToCome:
    """A part that is to be printed on account of the change: again, or since it is new."""

    part: str
    is_again: bool
    hours: Amount
    grams: Amount


@dataclass(frozen=True, slots=True)
class Price:
    """pieces: every printed part, in the order of the document; to_come: what is to be printed on account of it."""

    pieces: tuple[PieceFate, ...]
    to_come: tuple[ToCome, ...]

    @property
    def is_touched(self) -> bool:
        """Whether the change touches anything already printed."""
        return any(piece.is_touched for piece in self.pieces)

    def of(self, state: PieceState) -> tuple[PieceFate, ...]:
        """Pieces in a state."""
        return tuple(piece for piece in self.pieces if piece.state == state)


@dataclass(frozen=True, slots=True, eq=False)
class _Sides:
    before: State
    after: State
    records: Sequence[LedgerRecord]
    bench: Bench


def price_changes(
    before: State,
    after: State,
    parts: Sequence[PartChange],
    joints: Sequence[JointMove],
    features: Sequence[FeatureMove],
    document: Sequence[DocumentChange],
    records: Sequence[LedgerRecord],
    bench: Bench,
) -> Price:
    """The fate of every good print, and hours and grams lost and to come. records: of the whole ledger."""
    sides = _Sides(before, after, records, bench)
    prints = _last_good(prints_of(records))
    masses = (_Masses(before), _Masses(after))
    rates = _rates(prints_of(records))
    printed = [(change, _print_of(change, prints)) for change in parts]
    judged = [
        _judge(sides, change, item, joints, features, document)
        for change, item in printed
        if item is not None
    ]
    pieces = _lose_what_is_bonded(judged, bonds_of(records))
    lost = {piece.print.record for piece in pieces if piece.state == "lost"}
    to_come = [
        _to_come(after.project.part(change.id), item, change, masses, rates)
        for change, item in printed
        if change.id is not None and (change.kind == "new" or (item is not None and item.record in lost))
    ]
    return Price(tuple(pieces), tuple(to_come))


def _lose_what_is_bonded(pieces: Sequence[PieceFate], bonds: Sequence[Bond]) -> list[PieceFate]:
    """A part that is lost takes with it what it is bonded to: none of them can be had back alone."""
    is_of = {record for bond in bonds for record in bond.prints}
    held = {piece.print.part: piece for piece in pieces if piece.print.record in is_of}
    because: dict[str, str] = {}
    for name, piece in held.items():
        if piece.state == "lost":
            for other in bonded_with(bonds, name):
                because.setdefault(other, name)
    return [
        replace(
            piece,
            state="lost",
            reasons=(
                *piece.reasons,
                f"it is bonded to {because[piece.print.part]}, which is lost; a joint that parts without harm would "
                "save it",
            ),
        )
        if held.get(piece.print.part) is piece and piece.state != "lost" and piece.print.part in because
        else piece
        for piece in pieces
    ]


def _last_good(prints: Sequence[Print]) -> Mapping[str, Print]:
    """The last good print of each part: earlier ones were replaced by it."""
    return {item.part: item for item in prints if item.result == "good"}


def _print_of(change: PartChange, prints: Mapping[str, Print]) -> Print | None:
    """Under the name that it had, or has: a print made since the change bears the new one."""
    names = dict.fromkeys(name for name in (change.id, change.old_id) if name is not None)
    found = [prints[name] for name in names if name in prints]
    return max(found, key=lambda item: item.record, default=None)


def _judge(
    sides: _Sides,
    change: PartChange,
    item: Print,
    joints: Sequence[JointMove],
    features: Sequence[FeatureMove],
    document: Sequence[DocumentChange],
) -> PieceFate:
    verdicts = [_by_shape(sides, change, item)]
    if change.id is not None:
        part = sides.after.project.part(change.id)
        verdicts += _by_features(sides, change, features)
        verdicts += _by_joints(change.id, joints, document)
        verdicts += _by_printing(part, item)
    state = min((verdict[0] for verdict in verdicts), key=_GRAVITY.index)
    grams = (
        Amount(item.grams, f"print record {item.record}") if item.grams is not None else _weighed(sides, item)
    )
    hours = Amount(item.hours, f"print record {item.record}" if item.hours is not None else "not recorded")
    reasons = tuple(words for _, words in verdicts if words)
    return PieceFate(change.name, item, state, reasons, hours, grams)


def _by_shape(sides: _Sides, change: PartChange, item: Print) -> tuple[PieceState, str]:
    """The printed shape against the part as it is now."""
    if change.id is None:
        return "lost", "the part is gone: the printed piece has no place any more"
    shape = sides.after.opened.shapes.get(change.id)
    if shape is None:
        return "not known", change.reason
    if item.shape_sha256 == hash_shape(shape):
        return "good", ""
    base = _as_printed_change(sides, change, item, shape)
    if isinstance(base, str):
        return "not known", base
    part = sides.after.project.part(change.id)
    return _by_change(sides, base, part, item)


def _by_change(sides: _Sides, base: PartChange, part: Part, item: Print) -> tuple[PieceState, str]:
    if base.kind in ("unchanged", "other triangles", "moved"):
        return "good", ""
    if base.kind in ("mirrored", "unit slip") or base.deviation is None:
        return "lost", base.reason
    if not base.deviation.is_signed:
        return "not known", f"{base.reason}: mend the mesh, then compare again"
    fate, words = judge_fate(
        sides.bench,
        base.deviation.added_mm,
        base.deviation.removed_mm,
        _REPEATS * _repeatability(sides, item),
        part.shell_mm,
        _is_reached(base, sides.bench),
    )
    return fate, f"its shape has changed: {words}"


def _as_printed_change(sides: _Sides, change: PartChange, item: Print, shape: PartShape) -> PartChange | str:
    """The change from the shape that was printed; in words where that shape is not at hand."""
    old = None if change.old_id is None else sides.before.opened.shapes.get(change.old_id)
    if old is not None and item.shape_sha256 == hash_shape(old):
        return change
    releases = read_releases(sides.after.opened.folder)
    letters = [item.release] if item.release else [release.letter for release in reversed(releases)]
    for letter in letters:
        try:
            release = find_release(releases, letter)
            if release.part(item.part) is None:
                continue
            state = released_state(sides.after.opened.folder, release, sides.after)
        except DryfitError as error:
            return f"the shape that was printed cannot be looked at: {error.what}"
        printed = state.opened.shapes.get(item.part)
        if printed is not None and hash_shape(printed) == item.shape_sha256:
            return replace(
                compare_meshes(printed.mesh, shape.mesh, sides.bench), id=change.id, old_id=item.part
            )
    where = f"release {item.release}" if item.release else "any release"
    return f"the shape that was printed (record {item.record}) is not that of {where}, nor of {sides.before.name}"


def _repeatability(sides: _Sides, item: Print) -> float:
    """[mm] of the machine that printed it; 0 where it is not known any more, so that nothing hides behind it."""
    for state in (sides.after, sides.before):
        for machine in state.project.machines:
            if machine.id == item.machine:
                return machine.error.repeatability_mm
    return 0.0


def _is_reached(change: PartChange, bench: Bench) -> bool:
    """Whether a sanding block reaches every region that lies too high on the printed piece."""
    removed = [region for region in change.regions if region.largest_mm < 0]
    mesh = change.mesh_after
    if not removed or mesh is None:
        return True
    points, normals = (
        np.stack(rows) for rows in zip(*(_aim(mesh, region) for region in removed), strict=True)
    )
    return bool(has_free_way(mesh, points, normals, bench.reach_mm).all())


def _aim(mesh: TriangleMesh, region: Region) -> tuple[np.ndarray, np.ndarray]:
    """A point of the new surface and its outward normal: what is left once the excess is sanded off."""
    return region.place_mm + abs(region.largest_mm) * region.normal, region.normal


def _by_features(
    sides: _Sides, change: PartChange, features: Sequence[FeatureMove]
) -> list[tuple[PieceState, str]]:
    """What a moved dimension makes of a piece whose shape stayed: the model itself is no longer right."""
    found: list[tuple[PieceState, str]] = []
    if change.has_shape_changed:
        return found  # the new shape answers the new size; the piece was judged against that
    for move in features:
        after, before = move.after, move.before
        if after is None or change.id not in after.parts or after.state != "stop":
            continue
        if before is not None and before.state == "stop":
            continue
        if len(set(after.parts)) > 1:
            others = ", ".join(name for name in after.parts if name != change.id)
            found.append(("look", f"feature {move.id} is out of limits now, together with {others}"))
            continue
        found.append(_by_size(sides, move, after.kind))
    return found


def _by_size(sides: _Sides, move: FeatureMove, kind: str) -> tuple[PieceState, str]:
    after = move.after
    assert after is not None  # the caller has looked
    if after.measured is None or kind not in _BY_FACE:
        return "lost", f"feature {move.id} is out of limits now: {after.reason}"
    over = 0.0 if after.upper is None else max(0.0, after.measured - after.upper)
    short = 0.0 if after.lower is None else max(0.0, after.lower - after.measured)
    if over == short == 0.0 and after.deviation is not None:
        over, short = max(0.0, after.deviation), max(0.0, -after.deviation)
    fate, words = judge_fate(sides.bench, short, over)
    return fate, f"feature {move.id} is out of limits now: {words}; the model has yet to follow"


def _by_joints(
    part: str, joints: Sequence[JointMove], document: Sequence[DocumentChange]
) -> list[tuple[PieceState, str]]:
    found: list[tuple[PieceState, str]] = []
    for joint in joints:
        if part not in joint.parts:
            continue
        changed = {c.key[0]: c for c in document if c.table == "joint" and c.row == joint.id and c.key}
        if "bond_line_mm" in changed:
            change = changed["bond_line_mm"]
            found.append(
                ("rework", f"bond joint {joint.id} with {_mm(change.after)}, not {_mm(change.before)}")
            )
        if _LOCATORS & set(changed):
            found.append(
                ("rework", f"its locators at joint {joint.id} have changed: plug and drill them anew")
            )
        if joint.kind == "gone":
            found.append(("look", f"joint {joint.id} is gone"))
        elif joint.kind == "new":
            found.append(("look", f"joint {joint.id} is new"))
        elif joint.kind == "faces" and joint.moved_mm:
            found.append(("look", f"joint {joint.id}: {joint.reasons[0]}"))
    return found


def _mm(value: object) -> str:
    return "the gap as modelled" if value is None else f"{value} mm"


def _by_printing(part: Part, item: Print) -> list[tuple[PieceState, str]]:
    """Where the document would have it printed otherwise now: the piece stands as it was printed."""
    differs = [
        *([f"by {item.machine}, not {part.machine}"] if item.machine != part.machine else []),
        *([f"of {item.material}, not {part.material}"] if item.material != part.material else []),
        *([f"in pose {_angles(item)}, not {_pose(part)}"] if item.bed != part.bed else []),
        *(["from another corrected copy"] if item.compensation != part.compensation else []),
    ]
    if not differs:
        return []
    return [
        ("look", f"it was printed {' and '.join(differs)}: the forecast counts with it as it was printed")
    ]


def _angles(item: Print) -> str:
    return ", ".join(f"{value:g}" for value in item.bed.euler_xyz_deg)


def _pose(part: Part) -> str:
    return ", ".join(f"{value:g}" for value in part.bed.euler_xyz_deg)


class _Masses:
    """[g] of parts as they would print in a state, each weighed when first asked for."""

    def __init__(self, state: State) -> None:
        self._state = state
        self._known: dict[str, Amount] = {}

    def find(self, id: str) -> Amount:
        """Mass of a part; None where shape or density do not tell."""
        if id not in self._known:
            self._known[id] = _mass(self._state, id)
        return self._known[id]


def _mass(state: State, id: str) -> Amount:
    shape = state.opened.shapes.get(id)
    if shape is None:
        return Amount(None, "not known: its mesh cannot be read")
    project = replace(state.project, parts=(state.project.part(id),))
    row = weigh(project, {id: shape}).parts[0]
    if row.mass_g is None:
        return Amount(None, f"not known: {row.reason}")
    words = "weight with shell and infill" if row.printed_g is not None else "weight if solid"
    return Amount(row.mass_g.value, f"estimated: {words}", True)


def _weighed(sides: _Sides, item: Print) -> Amount:
    """What a print without recorded grams weighs by its model."""
    for state in (sides.before, sides.after):
        if (
            item.part in state.opened.shapes
            and hash_shape(state.opened.shapes[item.part]) == item.shape_sha256
        ):
            return _mass(state, item.part)
    return Amount(None, "not recorded")


def _rates(prints: Sequence[Print]) -> Mapping[str, float]:
    """Hours per gram of each machine: the middle one of its good prints that state both."""
    by_machine: dict[str, list[float]] = {}
    for item in prints:
        if item.result == "good" and item.hours and item.grams:
            by_machine.setdefault(item.machine, []).append(item.hours / item.grams)
    return {machine: median(rates) for machine, rates in by_machine.items()}


def _to_come(
    part: Part,
    item: Print | None,
    change: PartChange,
    masses: tuple[_Masses, _Masses],
    rates: Mapping[str, float],
) -> ToCome:
    grams = masses[1].find(part.id)
    hours = Amount(None, f"not known: no good print of machine {part.machine} states hours and grams")
    if grams.value is not None and part.machine in rates:
        words = f"estimated: {rates[part.machine]:.3g} h per g, the middle of the prints of machine {part.machine}"
        hours = Amount(grams.value * rates[part.machine], words, True)
    if item is not None:
        share = _share(change, masses)
        hours = _as_last_time(item.hours, item, share) or hours
        grams = _as_last_time(item.grams, item, share) or grams
    return ToCome(part.id, item is not None, hours, grams)


def _share(change: PartChange, masses: tuple[_Masses, _Masses]) -> float:
    """How much heavier the part is by its model than it was; 1 where that is not known."""
    old = None if change.old_id is None else masses[0].find(change.old_id).value
    new = None if change.id is None else masses[1].find(change.id).value
    return new / old if old and new else 1.0


def _as_last_time(amount: float | None, item: Print, share: float) -> Amount | None:
    if amount is None:
        return None
    by = "" if abs(share - 1.0) < 0.005 else f", times {share:.2f} by the weight of the model"
    return Amount(amount * share, f"estimated: print record {item.record}{by}", True)
