"""A hash of everything that a forecast depends on."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping, Sequence
from dataclasses import fields, is_dataclass
from fractions import Fraction
from types import MappingProxyType
from typing import Any

import numpy as np

from dryfit.model.joint import Joint
from dryfit.model.machine import Machine
from dryfit.model.material import Material
from dryfit.model.part import Compensation, Part
from dryfit.model.project import Project

# Keys of the records on which no forecast depends: what the meshes should measure, and what the checks of
# parts and the weights need. Adding a feature must not make a forecast look outdated.
NOT_FORECAST: Mapping[type, frozenset[str]] = MappingProxyType(
    {
        Project: frozenset(
            {"dimensions", "features", "instruments", "photos", "observations", "relations", "scale_from"}
            | {"adhesives"}
        ),
        Machine: frozenset(
            {"extrusion_width_mm", "overhang_deg", "clearance_mm"}
            | {"upright_feet_mm", "foot_pitch_mm", "gantry_width_mm"}
        ),
        Material: frozenset({"density_g_per_cm3"}),
        Part: frozenset({"shell_mm", "infill"}),
        Compensation: frozenset({"file", "sha256", "source_sha256", "qualification"}),
        Joint: frozenset({"press_mm", "adhesive"}),
    }
)


def hash_inputs(project: Project, mesh_hashes: Sequence[tuple[str, str]], options: Sequence[str]) -> str:
    """SHA-256 of the project's records, its meshes and the options of the run.

    Comments and layout of the document do not count; a changed figure, pose, joint or mesh does.
    """
    content = {
        "project": _plain(project, NOT_FORECAST),
        "meshes": list(mesh_hashes),
        "options": list(options),
    }
    return _hash(content)


def hash_records(*values: Any) -> str:
    """SHA-256 of records, whole: nothing that they hold is left out."""
    return _hash([_plain(value, {}) for value in values])


def _hash(content: Any) -> str:
    text = json.dumps(content, sort_keys=True, separators=(",", ":"), allow_nan=False)
    return hashlib.sha256(text.encode("utf-8")).hexdigest()


def _plain(value: Any, left_out: Mapping[type, frozenset[str]]) -> Any:
    """Records as plain lists and tables, floats in full; left_out: keys by class of record."""
    if is_dataclass(value) and not isinstance(value, type):
        skipped = left_out.get(type(value), frozenset())
        names = [field.name for field in fields(value) if field.name not in skipped]
        return {name: _plain(getattr(value, name), left_out) for name in names}
    if isinstance(value, np.ndarray):
        return value.tolist()
    if isinstance(value, Fraction):
        return str(value)
    if isinstance(value, dict):
        return {str(key): _plain(item, left_out) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(item, left_out) for item in value]
    if value is None or isinstance(value, str | int | float | bool):
        return value
    raise TypeError(f"no plain form for {type(value).__name__}")
