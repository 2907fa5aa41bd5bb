"""What is known of pairs of meshes from an earlier check, and the processes that find out the rest."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from dryfit import __version__
from dryfit.app.examination import RESULTS_VERSION
from dryfit.app.workers import Workers
from dryfit.store.kept import Kept, key_of

# All pairs of a project lie in one file: several hundred parts have more pairs than a folder should have files.
_PLACE = "pairs"


@dataclass(frozen=True, slots=True, eq=False)
class KeptPairs:
    """Results by their keys."""

    results: Mapping[str, Any]


class PairMemory:
    """Results kept by the content of the meshes that they are about.

    workers  that find out what is not known
    hashes   of the meshes by part; without them, or without kept results, nothing is known
    """

    def __init__(
        self, workers: Workers, kept: Kept | None = None, hashes: Mapping[str, str] | None = None
    ) -> None:
        self.workers = workers
        self.hashes = hashes or {}
        self._kept = kept if hashes is not None else None
        held = None if self._kept is None else self._kept.find(_PLACE)
        self._known: Mapping[str, Any] = held.results if isinstance(held, KeptPairs) else {}
        self._used: dict[str, Any] = {}

    def key(self, what: str, names: tuple[str, ...], *options: object) -> str | None:
        """Under which a result about parts is kept: another mesh, option or program version is another key."""
        if self._kept is None:
            return None
        return key_of(
            {
                "what": what,
                "program": __version__,
                "results": RESULTS_VERSION,
                "meshes": [self.hashes[name] for name in names],
                "options": list(options),
            }
        )

    def find(self, key: str | None) -> Any | None:
        """The result of a key; None where it is not known."""
        if key is None or key not in self._known:
            return None
        self._used[key] = self._known[key]
        return self._known[key]

    def keep(self, key: str | None, record: Any) -> None:
        """Keep a result for the next check, once it is saved."""
        if key is not None:
            self._used[key] = record

    def save(self) -> None:
        """Write what was found or asked for; what nobody asked for is let go. Nothing new, nothing written."""
        if self._kept is not None and self._used.keys() != self._known.keys():
            self._kept.keep(_PLACE, KeptPairs(self._used))
