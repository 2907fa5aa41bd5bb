"""The boundary offset and the first-layer flare: how printed surfaces move outward."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from dryfit.base.arrays import Array

# A face within about one degree of level is a top or bottom face: its outline is not its surface, and
# the offset of the outline does not move it. The normal motion neglected is below 2 % of the offset.
_LEVEL = 0.02
# A point this far over the top of the flared layers still counts as in them [mm]: rounding of meshes.
_EDGE_MM = 1e-6


@dataclass(frozen=True, slots=True, eq=False)
class Outward:
    """Unit outward motion of material points under the two boundary figures, assembly axes.

    offset  (n, 3) [-]  per millimetre of boundary offset
    flare   (n, 3) [-]  per millimetre of first-layer flare; 0 above the first layers
    """

    offset: Array
    flare: Array


def outward_motion(
    normals: Array, to_machine: Array, height_over_bed_mm: Array, first_layer_height_mm: Array | float
) -> Outward:
    """How points of a surface move when each outline grows by one millimetre.

    Outlines lie in level slices of the machine, so a point moves along the level part of its outward
    normal, brought to unit length. Points without a normal (zero: centres of holes and pins) and points
    of level faces do not move. At an edge or corner the stated direction is the mitre, which moves every
    face by one and is longer than one: its level part is taken as it is, which is exact for upright faces.

    normals : (n, 3) outward, assembly axes: unit on a face, longer at an edge or corner, or zero
    to_machine : (n, 3, 3) rotation from assembly axes to machine axes, or (3, 3) for all
    height_over_bed_mm : (n,) height of each point in the bed pose
    first_layer_height_mm : (n,) or one for all: height up to which the flare acts
    """
    level = (to_machine @ normals[..., None])[..., 0]
    level[:, 2] = 0.0
    length = np.linalg.norm(level, axis=1)
    moves = length > _LEVEL
    is_mitre = np.linalg.norm(normals, axis=1) > 1.0 + 1e-6
    unit = np.where(moves[:, None], level / np.where(moves & ~is_mitre, length, 1.0)[:, None], 0.0)
    offset = (np.swapaxes(to_machine, -1, -2) @ unit[..., None])[..., 0]
    low = (height_over_bed_mm <= first_layer_height_mm + _EDGE_MM) & (first_layer_height_mm > 0)
    return Outward(offset=offset, flare=np.where(low[:, None], offset, 0.0))
