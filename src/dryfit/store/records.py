"""Records as bytes and back: numbers, words, tuples, tables and arrays, and no code.

A file that lies in a project folder may come from anyone; reading one must not run anything. So a record
is written as JSON beside plain arrays, and only classes that the reader names are made from it.
"""

from __future__ import annotations

import io
import json
import math
import struct
import zipfile
from collections.abc import Mapping, Sequence
from dataclasses import fields, is_dataclass
from typing import Any

import numpy as np

_RECORD, _ARRAY, _NUMBER, _TABLE = "record", "array", "number", "table"
_SKELETON = "skeleton"
# What reading damaged bytes raises: of the archive, the arrays, the JSON, or the record's own checks.
_DAMAGE = (
    ValueError,
    TypeError,
    KeyError,
    IndexError,
    AttributeError,
    OSError,
    EOFError,
    RuntimeError,
    MemoryError,
    SyntaxError,
    struct.error,
    zipfile.BadZipFile,
)


class UnreadableRecord(Exception):
    """Bytes that are no record of the classes named."""


def write_record(record: Any) -> bytes:
    """A tree of frozen dataclasses, tuples, tables with text keys, arrays, numbers, text and None as bytes.

    Raises TypeError for anything else.
    """
    arrays: dict[str, np.ndarray] = {}
    skeleton = _plain(record, arrays)
    text = json.dumps(skeleton, separators=(",", ":"), allow_nan=False)
    stream = io.BytesIO()
    np.savez(stream, **{_SKELETON: np.frombuffer(text.encode(), dtype=np.uint8)}, **arrays)  # type: ignore[arg-type]
    return stream.getvalue()


def read_record(data: bytes, classes: Sequence[type]) -> Any:
    """The record that write_record wrote; lists come back as tuples.

    classes : the dataclasses that may be made
    Raises UnreadableRecord for bytes that are damaged, or name another class or other fields.
    """
    named = {kind.__name__: kind for kind in classes}
    try:
        _refuse_inflation(data)
        with np.load(io.BytesIO(data), allow_pickle=False) as held:
            arrays = {name: held[name] for name in held.files}
        skeleton = json.loads(arrays.pop(_SKELETON).tobytes().decode())
        return _made(skeleton, arrays, named)
    except _DAMAGE as error:
        raise UnreadableRecord(str(error)) from error


def _refuse_inflation(data: bytes) -> None:
    """Members are stored as they are; one that claims to inflate is not ours."""
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        if any(item.compress_type != zipfile.ZIP_STORED for item in archive.infolist()):
            raise ValueError("a compressed member")


def _plain(value: Any, arrays: dict[str, np.ndarray]) -> Any:
    if value is None or isinstance(value, str | bool):
        return value
    if isinstance(value, int | np.integer):
        return int(value)
    if isinstance(value, float | np.floating):
        return float(value) if math.isfinite(value) else [_NUMBER, repr(float(value))]
    if isinstance(value, np.ndarray):
        name = f"a{len(arrays)}"
        arrays[name] = value
        return [_ARRAY, name]
    if is_dataclass(value) and not isinstance(value, type):
        held = {field.name: _plain(getattr(value, field.name), arrays) for field in fields(value)}
        return [_RECORD, type(value).__name__, held]
    if isinstance(value, list | tuple):
        return ["tuple", [_plain(item, arrays) for item in value]]
    if isinstance(value, Mapping):
        return [_TABLE, {_text(key): _plain(item, arrays) for key, item in value.items()}]
    raise TypeError(f"no plain form for {type(value).__name__}")


def _text(key: Any) -> str:
    if not isinstance(key, str):
        raise TypeError(f"a table is kept with text keys, not {type(key).__name__}")
    return key


def _made(value: Any, arrays: Mapping[str, np.ndarray], named: Mapping[str, type]) -> Any:
    if not isinstance(value, list):
        return value
    tag = value[0]
    if tag == "tuple":
        return tuple(_made(item, arrays, named) for item in value[1])
    if tag == _NUMBER:
        return float(value[1])
    if tag == _ARRAY:
        array = arrays[value[1]]
        array.setflags(write=False)
        return array
    if tag == _TABLE:
        return {key: _made(item, arrays, named) for key, item in value[1].items()}
    if tag == _RECORD:
        return named[value[1]](**{key: _made(item, arrays, named) for key, item in value[2].items()})
    raise ValueError(f"unknown tag {tag!r}")
