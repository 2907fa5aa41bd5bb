"""What was made, and what to do next."""

from __future__ import annotations

from dryfit.app.creation import Created
from dryfit.view.blocks import Block, Heading, Sentence


def created_blocks(report: Created) -> list[Block]:
    """A new project folder."""
    return [
        Heading(f"{report.name}, {report.scale}: made in {report.folder}"),
        Sentence(f"Open {report.document}: state your machine and material there. Then:"),
        Sentence(f"dryfit import FRAME.glb --project {report.folder}", mark=True),
        Sentence(f"dryfit joints {report.folder}", mark=True),
        Sentence(f"dryfit forecast {report.folder}", mark=True),
    ]
