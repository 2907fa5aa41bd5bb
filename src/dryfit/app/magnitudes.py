"""Numbers so large that their squares leave what a computer can hold, refused before anything is computed."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import fields, is_dataclass
from typing import Any

import numpy as np

from dryfit.base.errors import ComputationRefused
from dryfit.model.project import Project

# A thousand kilometres in mm: far beyond any part, machine or uncertainty, and far from overflow.
LARGEST = 1e9


def check_magnitudes(project: Project) -> None:
    """Raises ComputationRefused where a number of the project is larger than LARGEST either way."""
    for where, value in _numbers(project, ""):
        if abs(value) > LARGEST:
            raise ComputationRefused(
                f"{value:g} is too large to compute with",
                where,
                f"give a value below {LARGEST:g}; an uncertainty that large says nothing",
            )


def _numbers(value: Any, where: str) -> Iterator[tuple[str, float]]:
    if isinstance(value, np.ndarray):
        if value.size:
            yield where, float(value.ravel()[np.abs(value).argmax()])
    elif isinstance(value, float):
        yield where, value
    elif is_dataclass(value) and not isinstance(value, type):
        for field in fields(value):
            if field.name.endswith("dof"):
                continue  # degrees of freedom are a count, infinite where nothing was estimated
            yield from _numbers(getattr(value, field.name), f"{where}.{field.name}".lstrip("."))
    elif isinstance(value, Mapping):
        for key, inner in value.items():
            yield from _numbers(inner, f"{where}.{key}")
    elif isinstance(value, tuple):
        for index, inner in enumerate(value):
            name = getattr(inner, "id", None)
            yield from _numbers(inner, f'{where} "{name}"' if name else f"{where}[{index + 1}]")
