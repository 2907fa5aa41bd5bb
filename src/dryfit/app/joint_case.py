"""What is known of a joint that is to be bonded."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from dryfit.app.as_built import AsBuiltParts
from dryfit.app.bond_records import Built, read_built
from dryfit.app.forecast import Chain, chain_state, learn_chain, place_chain, run_forecast, worked_of
from dryfit.app.gaps import expected_gaps
from dryfit.app.handwork import face_rows
from dryfit.app.ledger_reading import read_records
from dryfit.app.loading import Opened
from dryfit.app.prediction import chain_of, provenance_of
from dryfit.base.arrays import Array
from dryfit.base.errors import ReferenceUnknown
from dryfit.calc.chain.montecarlo import DEFAULT_SAMPLES
from dryfit.model.adhesive import EPOXY_FILLS_MM, Adhesive
from dryfit.model.forecast import ForecastReport
from dryfit.model.joint import GROUND, Joint
from dryfit.store.ledger import LedgerRecord
from dryfit.store.words import suggest


@dataclass(frozen=True, slots=True, eq=False)
class JointCase:
    """What the lines about a joint are drawn from.

    contacts_mm  (c, 3) its face contacts
    expected_mm, std_mm  (c,) gap at each, by all that is known, a dry fit of these prints included
    """

    opened: Opened
    chain: Chain
    as_built: AsBuiltParts
    records: Sequence[LedgerRecord]
    built: Built
    report: ForecastReport
    joint: Joint
    contacts_mm: Array
    expected_mm: Array
    std_mm: Array

    @property
    def adhesive(self) -> Adhesive | None:
        """What the document says that it is bonded with."""
        return self.chain.project.adhesive_of(self.joint.id)

    @property
    def fills_mm(self) -> tuple[float, float]:
        """Gap that the adhesive fills; an epoxy's where none is stated."""
        return EPOXY_FILLS_MM if self.adhesive is None else self.adhesive.fills_mm

    @property
    def parts(self) -> tuple[str, ...]:
        """Its parts without the ground."""
        return tuple(name for name in self.joint.parts if name != GROUND)


def find_joint(chain: Chain, id: str) -> Joint:
    """An accepted joint. Raises ReferenceUnknown where there is none."""
    for rows in chain.structure.joint_rows:
        if rows.joint.id == id:
            return rows.joint
    known = [rows.joint.id for rows in chain.structure.joint_rows]
    raise ReferenceUnknown(f'there is no joint "{id}"', "project.toml: joint", suggest(id, known, "joints"))


def joint_case(opened: Opened, joint: str) -> JointCase:
    """Everything that is known of a joint of an open project."""
    chain = chain_of(opened)
    found = find_joint(chain, joint)
    as_built = chain.as_built
    if as_built is None:
        raise ReferenceUnknown(
            "nothing is known of the parts as built", "ledger.db", "enter their prints first"
        )
    records = read_records(opened.folder)
    rows = face_rows(chain.structure, joint)
    known = learn_chain(chain)
    poses = place_chain(chain, known)
    built = read_built(records)
    gaps = [gap for gap in as_built.gaps if gap.joint != joint]
    fit = built.dry_fit(joint)
    if fit is not None and fit.prints == prints_of_parts(as_built, found):
        gaps += fit.gaps
    expected, std = expected_gaps(chain_state(chain), worked_of(chain), poses, gaps, joint)
    report = run_forecast(chain, provenance_of(opened, chain, (), DEFAULT_SAMPLES, 1))
    return JointCase(
        opened,
        chain,
        as_built,
        records,
        built,
        report,
        found,
        chain.structure.table.p_first[rows],
        expected,
        std,
    )


def prints_of_joint(case: JointCase) -> tuple[int, int]:
    """Records of the prints that meet at a joint; 0 for the ground, and for a part that is not printed."""
    return prints_of_parts(case.as_built, case.joint)


def prints_of_parts(as_built: AsBuiltParts, joint: Joint) -> tuple[int, int]:
    """The same, of parts as built."""
    printed = as_built.printed
    first, second = (printed[name].record if name in printed else 0 for name in joint.parts)
    return first, second
