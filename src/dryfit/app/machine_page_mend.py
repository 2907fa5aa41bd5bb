"""Corrected copies from a page: shown with their difference first, written only where the document is still that."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from dryfit.app.compensating import CompensationReport, CopyOptions, compensate_parts
from dryfit.app.editing import read_draft
from dryfit.app.loading import Progress
from dryfit.app.machine_page import read_marks
from dryfit.base.errors import NotWritten


@dataclass(frozen=True, slots=True, eq=False)
class CopiesProposal:
    """What making copies would do.

    sha256         of the document that it was made from
    qualification  the last one of any machine in the ledger then
    """

    report: CompensationReport
    machine: str
    options: CopyOptions
    sha256: str
    qualification: int


def propose_copies(
    path: Path, machine: str, options: CopyOptions, progress: Progress | None = None
) -> CopiesProposal:
    """Copies of every part of a machine, checked and not written. Raises what making them raises."""
    sha256, marks = read_draft(path).sha256, read_marks(path)
    report = compensate_parts(path, machine, (), options, write=False, progress=progress)
    return CopiesProposal(report, machine, options, sha256, marks.qualification)


def write_copies(
    path: Path, proposal: CopiesProposal, progress: Progress | None = None
) -> CompensationReport:
    """Make the copies that were shown, and name them in the document.

    Raises NotWritten where the document or what is known of the machines is another than what was shown.
    """
    if read_draft(path).sha256 != proposal.sha256:
        raise NotWritten(
            "the document was changed since the copies were shown",
            str(path),
            "load it, and make the copies again",
        )
    if read_marks(path).qualification != proposal.qualification:
        raise NotWritten(
            "a machine was qualified since the copies were shown", str(path), "make the copies again"
        )
    return compensate_parts(path, proposal.machine, (), proposal.options, write=True, progress=progress)
