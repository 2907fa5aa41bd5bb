"""One-time tokens of links, and the sessions that browsers get for them."""

from __future__ import annotations

import hmac
import secrets


class Tickets:
    """One-time tokens and the sessions that they were turned into. Kept in memory: a restart ends them all."""

    def __init__(self) -> None:
        self._token: str | None = None
        self._sessions: list[str] = []

    def issue(self) -> str:
        """A new token. One that was issued before and not used is void from then on."""
        self._token = secrets.token_urlsafe(32)
        return self._token

    def spend(self, token: str) -> str | None:
        """A session for a token, or None where it was spent, replaced or never issued."""
        if self._token is None or not _same(token, self._token):
            return None
        self._token = None
        session = secrets.token_urlsafe(32)
        self._sessions.append(session)
        return session

    def knows(self, session: str) -> bool:
        """Whether the session was handed out here."""
        return any(_same(session, known) for known in self._sessions)


def _same(a: str, b: str) -> bool:
    return hmac.compare_digest(a.encode(), b.encode())
