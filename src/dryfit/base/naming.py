"""Names in a row, for a sentence."""

from __future__ import annotations

from collections.abc import Iterable


def list_some(names: Iterable[str], most: int) -> str:
    """The first few names, and how many more there are."""
    listed = list(names)
    if len(listed) <= most:
        return ", ".join(listed)
    return f"{', '.join(listed[:most])} and {len(listed) - most} more"
