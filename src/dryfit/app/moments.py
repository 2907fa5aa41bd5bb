"""Days and times as people write them."""

from __future__ import annotations

from datetime import UTC, date, datetime, time


def parse_moment(text: str) -> datetime:
    """The moment of a day (its noon, UTC) or of a time, which has no zone where none is written.

    Raises ValueError for what is neither.
    """
    words = text.strip()
    if len(words) == 10:
        return datetime.combine(date.fromisoformat(words), time(12), tzinfo=UTC)
    return datetime.fromisoformat(words)
