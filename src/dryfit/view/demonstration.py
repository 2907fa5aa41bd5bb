"""The demonstration project that was written."""

from __future__ import annotations

from dryfit.app.demo import DemoWritten
from dryfit.view.blocks import Block, Heading, Sentence


def demo_blocks(report: DemoWritten) -> list[Block]:
    """A demonstration project."""
    return [
        Heading(f"{report.name}: made in {report.folder}, {report.parts} parts"),
        Sentence("Every figure in it is invented."),
        Sentence(f"dryfit forecast {report.folder}", mark=True),
    ]
