"""Errors in three parts: what is wrong, where, and what to do about it.

Every refusal of the program derives from DryfitError. The three parts are positional, so that the
exceptions pickle (an exception with keyword-only arguments does not).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass


class DryfitError(Exception):
    """What is wrong, where it is, and what the user can do."""

    def __init__(self, what: str, where: str, do: str) -> None:
        super().__init__(what, where, do)
        self.what = what
        self.where = where
        self.do = do

    def __str__(self) -> str:
        return f"{self.what}\n  where: {self.where}\n  do: {self.do}"


@dataclass(frozen=True, slots=True, order=True)
class Fault:
    """One fault among several that are reported together."""

    where: str
    what: str
    do: str


class DocumentRefused(DryfitError):
    """The project document holds one or more faults; all of them are listed."""

    def __init__(self, path: str, faults: Sequence[Fault]) -> None:
        count = len(faults)
        noun = "fault" if count == 1 else "faults"
        super().__init__(f"the document has {count} {noun}", path, "mend the lines named below")
        self.path = path
        self.faults = tuple(faults)

    def __reduce__(self) -> tuple[type, tuple[str, tuple[Fault, ...]]]:
        return (type(self), (self.path, self.faults))

    def __str__(self) -> str:
        lines = [f"{self.what}: {self.path}"]
        for fault in self.faults:
            lines += [f"  {fault.where}: {fault.what}", f"    do: {fault.do}"]
        return "\n".join(lines)


class RowsRefused(DocumentRefused):
    """A table of values, such as a CSV file, holds one or more faults; all are listed, nothing was taken."""

    def __init__(self, path: str, faults: Sequence[Fault]) -> None:
        super().__init__(path, faults)
        count = len(faults)
        self.what = f"{count} {'fault' if count == 1 else 'faults'}, and nothing was taken from the file"
        self.do = "mend the lines named below, then read the file again"


class ProjectMissing(DryfitError):
    """There is no project folder or document at the place named."""


class NotWritten(DryfitError):
    """A file could not be written; what was there before is untouched."""


class MeshRefused(DryfitError):
    """A mesh file cannot be read rightly."""


class UnitUnknown(DryfitError):
    """A mesh states no length unit and the document gives none."""


class ReferenceUnknown(DryfitError):
    """A name refers to nothing in the project."""


class JointUnresolved(DryfitError):
    """No contact faces were found for a joint that states none."""


class ComputationRefused(DryfitError):
    """The input is valid but the computation has no trustworthy answer for it."""


class LedgerRefused(DryfitError):
    """The ledger cannot be opened, read or appended to."""


class Interrupted(DryfitError):
    """Long work was stopped by the user; nothing was half-written."""
