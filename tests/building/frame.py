"""A box frame of twelve square bars: two bottom rails and two cross bars, four posts, the same on top."""

from __future__ import annotations

from fractions import Fraction

import numpy as np

from building.meshes import box_mesh
from building.project import Assembled, face_of_box, material
from dryfit.base.estimate import Estimate
from dryfit.model.characteristic import Characteristic
from dryfit.model.joint import Joint
from dryfit.model.machine import Machine
from dryfit.model.part import Bed, Part
from dryfit.model.project import Assembly, Project

Box = tuple[tuple[float, float, float], tuple[float, float, float]]


def _bars(size: tuple[float, float, float], w: float) -> dict[str, Box]:
    x, y, z = size
    bars: dict[str, Box] = {}
    for level, low in (("low", 0.0), ("top", z - w)):
        bars[f"{level}-rail-1"] = ((0.0, 0.0, low), (x, w, low + w))
        bars[f"{level}-rail-2"] = ((0.0, y - w, low), (x, y, low + w))
        bars[f"{level}-cross-1"] = ((0.0, w, low), (w, y - w, low + w))
        bars[f"{level}-cross-2"] = ((x - w, w, low), (x, y - w, low + w))
    for side, start in (("1", 0.0), ("2", y - w)):
        bars[f"post-{side}-1"] = ((0.0, start, w), (w, start + w, z - w))
        bars[f"post-{side}-2"] = ((x - w, start, w), (x, start + w, z - w))
    return bars


_PAIRS = (
    *((f"{level}-rail-1", f"{level}-cross-{k}", 1) for level in ("low", "top") for k in (1, 2)),
    *((f"{level}-cross-{k}", f"{level}-rail-2", 1) for level in ("low", "top") for k in (1, 2)),
    *((f"low-rail-{side}", f"post-{side}-{k}", 2) for side in (1, 2) for k in (1, 2)),
    *((f"post-{side}-{k}", f"top-rail-{side}", 2) for side in (1, 2) for k in (1, 2)),
)
ORDER = (
    "low-rail-1",
    "low-cross-1",
    "low-cross-2",
    "low-rail-2",
    "post-1-1",
    "post-1-2",
    "post-2-1",
    "post-2-2",
    "top-rail-1",
    "top-rail-2",
    "top-cross-1",
    "top-cross-2",
)


def box_frame(
    printers: tuple[Machine, ...],
    beds_deg: tuple[tuple[float, float, float], ...] = ((0.0, 0.0, 0.0),),
    size_mm: tuple[float, float, float] = (600.0, 400.0, 500.0),
    bar_mm: float = 40.0,
    play_mm: float = 0.05,
) -> Assembled:
    """A frame whose bars are printed by the given machines in turn, in the given bed poses in turn.

    Every joint has a pin and a slot and locates wherever both its parts stand, so that the second rails,
    the top rails and the top cross bars are compromises between two joints.
    """
    bars = _bars(size_mm, bar_mm)
    parts = tuple(
        Part(name, "x", printers[k % len(printers)].id, "p", bed=Bed(beds_deg[k % len(beds_deg)]))
        for k, name in enumerate(bars)
    )
    play = Estimate(0.0, play_mm)
    joints = []
    for one, two, axis in _PAIRS:
        low = np.maximum(bars[one][0], bars[two][0])
        high = np.minimum(bars[one][1], bars[two][1])
        sides = (high - low)[[(axis + 1) % 3, (axis + 2) % 3]]
        middle = 0.5 * (low + high)
        offset = 0.25 * sides[0] * np.eye(3)[(axis + 1) % 3]
        joints.append(
            Joint(
                f"{one}:{two}",
                (one, two),
                "pin-and-slot",
                np.array([middle - offset, middle + offset]),
                faces=face_of_box(middle, axis, (float(sides[0]), float(sides[1]))),
                contact_play_mm=play,
                locator_play_mm=play,
            )
        )
    x, y, z = size_mm
    characteristics = (
        Characteristic(
            "diagonal",
            "distance",
            parts=("low-rail-1", "top-rail-2"),
            lower=-1e3,
            upper=1e3,
            points_mm=np.array([[0.0, 0.0, 0.0], [x, y, z]]),
        ),
        Characteristic(
            "height",
            "height",
            parts=("top-cross-2",),
            points_mm=np.array([[x, 0.5 * y, z]]),
            direction=np.array([0.0, 0.0, 1.0]),
            upper=z + 1.0,
        ),
        Characteristic(
            "square",
            "squareness",
            parts=("low-rail-1", "post-2-2"),
            lower=-1.0,
            upper=1.0,
            axes=np.array([[1.0, 0.0, 0.0], [0.0, 0.0, 1.0]]),
        ),
    )
    project = Project(
        "frame",
        Fraction(1, 20),
        machines=printers,
        materials=(material(),),
        parts=parts,
        joints=tuple(joints),
        characteristics=characteristics,
        assembly=Assembly("low-rail-1", ORDER),
    )
    return Assembled(project, {name: box_mesh(*box) for name, box in bars.items()})
