"""The demonstration project that was written."""

from __future__ import annotations

from collections.abc import Mapping

from dryfit.app.demo import DemoWritten, Which
from dryfit.app.demo_machine import InventedReadings
from dryfit.view.blocks import Block, Heading, Sentence

_FIRST: Mapping[Which, tuple[str, ...]] = {
    "observatory": ("forecast {folder}",),
    "lighter": ("forecast {folder}",),
    "unqualified": ("artefact tall {folder}",),
    "as-built": (
        "forecast {folder}",
        "read rib-4 {folder} --csv {folder}/invented-readings-rib-4.csv",
    ),
}
_SINCE = (
    "Its ledger tells what has happened: the guide was left out, the ribs were released as A, five of the twelve "
    "came off the bed, and four of them were read. The readings of rib-4 wait in a table.",
)


def demo_blocks(report: DemoWritten, which: Which = "observatory") -> list[Block]:
    """A demonstration project, and where to begin in it."""
    photos = f", {_count(report.photos, 'photograph')}" if report.photos else ""
    invented = "Every figure in it is invented" + (", every photograph rendered by code." if photos else ".")
    return [
        Heading(f"{report.name}: made in {report.folder}, {_count(report.parts, 'part')}{photos}"),
        Sentence(invented),
        *(Sentence(words) for words in (_SINCE if which == "as-built" else ())),
        *(Sentence(f"dryfit {words.format(folder=report.folder)}", mark=True) for words in _FIRST[which]),
    ]


def invented_blocks(report: InventedReadings) -> list[Block]:
    """A table of invented readings."""
    folder = report.file.parent
    return [
        Heading(
            f"{report.file}: {report.count} invented readings of the artefact of {report.machine}, {report.printed} "
            f"(ledger record {report.artefact})"
        ),
        Sentence("No body was printed and nobody read it: every value is made up by a simulated print."),
        Sentence(f"dryfit read {report.machine} {folder} --csv {report.file}", mark=True),
    ]


def _count(number: int, noun: str) -> str:
    return f"{number} {noun}{'' if number == 1 else 's'}"
