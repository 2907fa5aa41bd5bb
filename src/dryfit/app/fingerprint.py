"""A hash of everything that a forecast depends on."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Sequence
from dataclasses import fields, is_dataclass
from fractions import Fraction
from typing import Any

import numpy as np

from dryfit.model.project import Project


def hash_inputs(project: Project, mesh_hashes: Sequence[tuple[str, str]], options: Sequence[str]) -> str:
    """SHA-256 of the project's records, its meshes and the options of the run.

    Comments and layout of the document do not count; a changed figure, pose, joint or mesh does.
    """
    content = {"project": _plain(project), "meshes": list(mesh_hashes), "options": list(options)}
    text = json.dumps(content, sort_keys=True, separators=(",", ":"), allow_nan=False)
    return hashlib.sha256(text.encode("utf-8")).hexdigest()


def _plain(value: Any) -> Any:
    """Records as plain lists and tables, floats in full."""
    if is_dataclass(value) and not isinstance(value, type):
        return {field.name: _plain(getattr(value, field.name)) for field in fields(value)}
    if isinstance(value, np.ndarray):
        return value.tolist()
    if isinstance(value, Fraction):
        return str(value)
    if isinstance(value, dict):
        return {str(key): _plain(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(item) for item in value]
    if value is None or isinstance(value, str | int | float | bool):
        return value
    raise TypeError(f"no plain form for {type(value).__name__}")
