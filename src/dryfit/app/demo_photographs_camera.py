"""The invented cameras: where they stood, what their lenses do, and what a picture says of itself."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from dryfit.base.arrays import Array
from dryfit.calc.photo import Lens, Pose, project
from dryfit.calc.picture import Taken


@dataclass(frozen=True, slots=True, eq=False)
class Shot:
    """One picture. Sizes in upright pixels.

    id, file      as the document names it, the file within photos/
    lens, pose    of its camera
    date          when it was taken
    stated        what the document says of the camera, line by line
    orientation   as Exif counts it: 1 stored upright, 6 held upright and stored lying
    taken         what the camera wrote; nothing for a scan
    is_toned      an old print
    seed          of the noise of its marks and of its grain
    """

    id: str
    file: str
    width_px: int
    height_px: int
    lens: Lens
    pose: Pose
    date: str
    stated: tuple[str, ...] = ()
    orientation: int = 1
    taken: Taken = Taken()
    is_toned: bool = False
    seed: int = 0

    def see(self, points_mm: Array) -> Array:
        """Where points (n, 3) lie on the picture (n, 2)."""
        return project(self.lens, self.pose, points_mm).marks_px


def look_at(position_mm: Array, target_mm: Array, roll_deg: float) -> Pose:
    """A camera at a place that looks at another one, turned about its own axis clockwise."""
    ahead = (target_mm - position_mm) / np.linalg.norm(target_mm - position_mm)
    right = np.cross(ahead, [0.0, 0.0, 1.0])
    right /= np.linalg.norm(right)
    down = np.cross(ahead, right)
    c, s = math.cos(math.radians(roll_deg)), math.sin(math.radians(roll_deg))
    return Pose(np.array([c * right + s * down, c * down - s * right, ahead]), position_mm)
