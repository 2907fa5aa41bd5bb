"""Make a new project folder."""

from __future__ import annotations

import os
from dataclasses import dataclass
from pathlib import Path

from dryfit.store.create import new_project


@dataclass(frozen=True, slots=True)
class Created:
    """A folder that was made."""

    folder: str
    document: str
    name: str
    scale: str


def create_project(directory: Path, name: str | None, scale: str) -> Created:
    """Make a project folder; its name defaults to the folder's.

    Raises NotWritten where the folder holds something already, DocumentRefused for a wrong scale.
    """
    # Not resolved: a link that leads in a circle is refused further on, with the folder named.
    title = name if name is not None else Path(os.path.abspath(directory)).name
    document = new_project(directory, title, scale)
    return Created(str(directory), str(document), title, scale)
