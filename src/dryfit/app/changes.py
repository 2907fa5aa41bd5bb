"""Two releases compared, or the working state with one: what differs, what it touches, and what it costs."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from dryfit.app.changes_document import DocumentChange, document_changes, read_raw
from dryfit.app.changes_effects import (
    DimensionMove,
    FeatureMove,
    ForecastMove,
    dimension_moves,
    feature_moves,
    forecast_move,
    foresee,
)
from dryfit.app.changes_joints import JointMove, joint_moves
from dryfit.app.changes_matching import Contents, match_parts
from dryfit.app.changes_parts import PartChange, PartKind, compare_parts
from dryfit.app.changes_price import Price, price_changes
from dryfit.app.ledger_reading import read_records
from dryfit.app.release_state import State, released_state, working_state
from dryfit.app.releases import Release, find_release, read_releases
from dryfit.app.schedule_changes import printed_parts
from dryfit.base.errors import ReferenceUnknown
from dryfit.calc.revision import Bench
from dryfit.store.document import read_document
from dryfit.store.ledger import LEDGER_NAME
from dryfit.store.released import CopyFault

WORKING = "working"  # what stands for the working state on the command line


@dataclass(frozen=True, slots=True)
class Side:
    """One side of a comparison. release: None for the working state; unread: parts that cannot be read."""

    name: str
    release: Release | None
    unread: tuple[str, ...]
    faults: tuple[CopyFault, ...]
    notes: tuple[str, ...]


@dataclass(frozen=True, slots=True, eq=False)
class ChangesReport:
    """Everything that differs between two states of a project.

    bench          the rules by which printed parts were judged
    """

    project: str
    before: Side
    after: Side
    document: tuple[DocumentChange, ...]
    dimensions: tuple[DimensionMove, ...]
    parts: tuple[PartChange, ...]
    features: tuple[FeatureMove, ...]
    joints: tuple[JointMove, ...]
    forecast: ForecastMove
    price: Price
    bench: Bench

    @property
    def is_clear(self) -> bool:
        """Whether no printed part is lost or beyond judging, and every frozen copy is what was released."""
        return not (
            self.price.of("lost") or self.price.of("not known") or self.before.faults or self.after.faults
        )

    @property
    def is_same(self) -> bool:
        """Whether nothing differs at all."""
        figures = any(row.change.has_changed for row in self.forecast.outcomes)
        return not (
            self.document
            or self.dimensions
            or self.features
            or self.joints
            or figures
            or any(part.kind != "unchanged" or part.is_renamed for part in self.parts)
        )

    def of_kind(self, *kinds: PartKind) -> tuple[PartChange, ...]:
        """Parts of some kinds."""
        return tuple(part for part in self.parts if part.kind in kinds)


def compare_states(
    path: Path, since: str | None = None, until: str | None = None, bench: Bench | None = None
) -> ChangesReport:
    """Compare two states of a project.

    since, until : letters of releases, or "working"; by default the last release, and the working state
    Raises ReferenceUnknown where there is no such release, and what reading document and ledger raise. A mesh that
    cannot be read, or a forecast that is refused, is a line of the report.
    """
    document = read_document(path)
    folder = document.path.parent
    releases = read_releases(folder)
    ends = _ends(releases, since, until)
    after = _open(path, folder, ends[1], None)
    before = _open(path, folder, ends[0], after)
    return _compare(document.project.name, before, after, bench or Bench())


def bench_with(
    same_mm: float | None = None,
    sand_mm: float | None = None,
    fill_mm: float | None = None,
    reach_mm: float | None = None,
) -> Bench:
    """The rules of the bench, those that are given in place of the usual ones."""
    given = {"same_mm": same_mm, "sand_mm": sand_mm, "fill_mm": fill_mm, "reach_mm": reach_mm}
    return Bench(**{name: value for name, value in given.items() if value is not None})


def _ends(
    releases: Sequence[Release], since: str | None, until: str | None
) -> tuple[Release | None, Release | None]:
    """The two sides; None for the working state."""
    if since is None and not releases:
        raise ReferenceUnknown(
            "nothing was released yet, so there is nothing to compare with", LEDGER_NAME, "dryfit release"
        )
    before = releases[-1] if since is None else _end(releases, since)
    after = None if until is None else _end(releases, until)
    return before, after


def _end(releases: Sequence[Release], name: str) -> Release | None:
    return None if name.lower() == WORKING else find_release(releases, name)


def _open(path: Path, folder: Path, release: Release | None, known: State | None) -> State:
    return working_state(path) if release is None else released_state(folder, release, known)


def _compare(project: str, before: State, after: State, bench: Bench) -> ChangesReport:
    contents = Contents(before, after)
    matched = match_parts(before, after, contents)
    parts = compare_parts(before, after, matched, contents, bench)
    document = document_changes(
        read_raw(before.opened.document.text, before.name),
        read_raw(after.opened.document.text, after.name),
        before.project,
        after.project,
        matched.renamed,
    )
    records = read_records(after.opened.folder)
    dimensions = dimension_moves(before, after, printed_parts(records))
    features = feature_moves(before, after, parts, document, dimensions)
    foreseen = (foresee(before), foresee(after))
    joints = joint_moves(before, after, foreseen, parts, document)
    return ChangesReport(
        project=project,
        before=_side(before),
        after=_side(after),
        document=document,
        dimensions=dimensions,
        parts=parts,
        features=features,
        joints=joints,
        forecast=forecast_move(before, after, foreseen, _renamed(document)),
        price=price_changes(before, after, parts, joints, features, document, records, bench),
        bench=bench,
    )


def _renamed(document: Sequence[DocumentChange]) -> Mapping[str, str]:
    return {
        change.before: change.after
        for change in document
        if change.table == "characteristic" and change.kind == "renamed"
    }


def _side(state: State) -> Side:
    unread = tuple(item.part for item in state.unread)
    return Side(state.name, state.release, unread, state.faults, state.opened.notes)
