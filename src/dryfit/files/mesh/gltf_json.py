"""Reading values out of glTF's JSON, each with a refusal that names the place."""

from __future__ import annotations

import json
from typing import Any

from dryfit.files.mesh.source import EXPORT_AGAIN, Source

_MOST_INTEGER = 2**53


class Tree:
    """The parsed JSON with checked access: wrong types and indices are refused, not followed."""

    def __init__(self, source: Source, text: bytes) -> None:
        self.source = source
        try:
            found = json.loads(text.decode("utf-8-sig"), parse_constant=self._refuse_constant)
        except UnicodeDecodeError as fault:
            raise source.refuse(f"the JSON is not UTF-8 ({fault.reason} at byte {fault.start})") from fault
        except json.JSONDecodeError as fault:
            what = f"the JSON is not well-formed ({fault.msg})"
            raise source.refuse(what, f"line {fault.lineno}") from fault
        except RecursionError:
            raise source.refuse("the JSON is nested too deeply") from None
        except ValueError as fault:  # an integer of thousands of digits
            raise source.refuse(f"the JSON holds a number that cannot be read ({fault})") from fault
        if not isinstance(found, dict):
            raise source.refuse("the JSON is not an object")
        self.root: dict[str, Any] = found

    def _refuse_constant(self, word: str) -> Any:
        raise self.source.refuse(f"the JSON holds {word}, which is no JSON number")

    def items(self, name: str) -> list[Any]:
        """The root's list of that name; [] where there is none."""
        return self.list_of(self.root, name, "")

    def item(self, name: str, index: int, place: str) -> dict[str, Any]:
        """One entry of a root list."""
        entries = self.items(name)
        if not 0 <= index < len(entries):
            raise self.source.refuse(f"{name}[{index}] is referred to and not there", place)
        entry = entries[index]
        if not isinstance(entry, dict):
            raise self.source.refuse(f"{name}[{index}] is not an object", place)
        return entry

    def list_of(self, entry: dict[str, Any], name: str, place: str) -> list[Any]:
        value = entry.get(name, [])
        if not isinstance(value, list):
            raise self.source.refuse(f"{name!r} is not a list", place)
        return value

    def dict_of(self, entry: dict[str, Any], name: str, place: str) -> dict[str, Any]:
        value = entry.get(name, {})
        if not isinstance(value, dict):
            raise self.source.refuse(f"{name!r} is not an object", place)
        return value

    def integer(self, entry: dict[str, Any], name: str, place: str, default: int | None = None) -> int:
        """A whole number that is not negative."""
        value = entry.get(name, default)
        if isinstance(value, float) and value.is_integer():
            value = int(value)
        if not isinstance(value, int) or isinstance(value, bool) or not 0 <= value < _MOST_INTEGER:
            what = f"{name!r} is missing"
            if value is not None:
                what = f"{name!r} is no count or index: {value!r:.40}"
            raise self.source.refuse(what, place)
        return value

    def integers(self, entry: dict[str, Any], name: str, place: str) -> list[int]:
        return [self.integer({name: value}, name, place) for value in self.list_of(entry, name, place)]

    def numbers(self, entry: dict[str, Any], name: str, count: int, place: str) -> list[float] | None:
        """A list of that many numbers, or None where the entry has none."""
        if name not in entry:
            return None
        values = self.list_of(entry, name, place)
        is_sound = len(values) == count and all(
            isinstance(value, (int, float)) and not isinstance(value, bool) and abs(value) < 1e300
            for value in values
        )
        if not is_sound:
            raise self.source.refuse(f"{name!r} is not made of {count} numbers", place)
        return [float(value) for value in values]

    def text(self, entry: dict[str, Any], name: str, place: str) -> str:
        value = entry.get(name, "")
        if not isinstance(value, str):
            raise self.source.refuse(f"{name!r} is not text", place, EXPORT_AGAIN)
        return value
