"""Which unit is a mesh in? What each would mean, likeliest first, for a page that has to ask."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np

from dryfit.app.live import Snapshot
from dryfit.base.units import LengthUnit
from dryfit.calc.units import rank_units
from dryfit.files.mesh import read_raw


@dataclass(frozen=True, slots=True)
class UnitChoice:
    """A unit and what it would make of the mesh, in one sentence."""

    unit: LengthUnit
    words: str


def ask_unit(file: Path, snapshot: Snapshot | None, machine: str | None = None) -> tuple[UnitChoice, ...]:
    """The units that a mesh file without one may be in, likeliest first.

    snapshot : the project that it would join, for the size of its other parts and build volumes
    machine : id of the machine that would print it; may be left out where there is only one
    Raises MeshRefused where the file cannot be read.
    """
    extent = np.ptp(np.vstack([item.vertices for item in read_raw(file).objects]), axis=0)
    if snapshot is None:
        candidates = rank_units(extent, None, ())
    else:
        machines = snapshot.opened.project.machines
        volumes = [item.build_volume_mm for item in machines if machine == item.id or len(machines) == 1]
        boxes = [shape.measures.bounds for shape in snapshot.opened.shapes.values()]
        others = [box[1] - box[0] for box in boxes]
        candidates = rank_units(extent, volumes[0] if volumes else None, others)
    return tuple(UnitChoice(item.unit, item.words) for item in candidates)
