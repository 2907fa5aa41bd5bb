"""From one schema version of the document to the next, by pure functions.

A migration takes the document as plain TOML values and returns it in the form of the next version; it
neither reads nor writes a file. One frozen document of every past version stays in tests/formats.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from types import MappingProxyType
from typing import Any

Raw = dict[str, Any]
Migration = Callable[[Raw], Raw]

SCHEMA = 1

# The key n holds the step from version n to n + 1.
MIGRATIONS: Mapping[int, Migration] = MappingProxyType({})


def migrate(raw: Raw, version: int, newest: int = SCHEMA, steps: Mapping[int, Migration] = MIGRATIONS) -> Raw:
    """The document brought from version to newest; its schema key says so. raw is left as it was.

    Raises KeyError where a step is missing, ValueError where version is newer than newest.
    """
    if version > newest:
        raise ValueError(f"version {version} is newer than {newest}")
    for step in range(version, newest):
        raw = {**steps[step](raw), "schema": step + 1}
    return raw
