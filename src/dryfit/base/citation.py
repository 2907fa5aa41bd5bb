"""Where a constant or a formula comes from."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Citation:
    """A source: seen says whether its text was read, or is named from memory."""

    text: str
    seen: bool = False


COMMON_PRACTICE = Citation("common practice, no source")
