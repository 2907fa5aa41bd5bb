"""Harrow Fell, an invented mountain observatory, as a 1:20 museum model.

Why the numbers are as they are. All of them are invented; none was taken from a building or a machine.

* Ring: six segments of 60 degrees, 560 mm in outer radius. Their chord is 560 mm, so that on a bed of
  500 x 500 they fit within 20 degrees of its diagonal only, and a builder prints one file six times in the
  one pose along it. That is the worst pose for a machine out of square in XY: with its middle at 45 degrees
  to X each segment comes out short by half of the fault, and six of them leave three millimetres open at
  the closing joint. Segments turned by a quarter come out long by as much: with three of either kind
  nothing adds up.
* The ring is bonded on a turned plate that holds each segment at floor and inner face. Without it the
  scatter of face contacts 80 mm wide, over levers of a metre, would alone fill limits of a millimetre.
* Ribs: printed standing on both ends, as the arches they are, since several stand side by side in one run;
  their span of 650 mm fits along the diagonal only. So the vertical of the dome lies at 45 degrees to the
  machine's upright, and an upright out of square in XZ makes each rib lower (or higher, turned the other
  way) by more than a third of the fault. Ribs of both kinds would give the crown uneven seats: no turn mends
  the crown height without spoiling them, squaring the upright does.
* Drum wall: six panels printed standing, whose chord leaves little but the diagonal, too. They lean toward
  X wherever that lies, always by two fifths of the fault or more across the wall: again no turn mends it.
* Scatter and play of a few hundredths belong to machines that were measured with care, so that the faults
  and not the noise tell the story. Limits of 0.3 to 1 mm are what a filler hides; the twelve seats may vary
  by 1.8 mm in all, which is what bedding the crown in filler takes up.
* The rails' distance is measured because they stand on the first and the last segment of the ring: what
  stays open there drives them apart.

The covers (4 mm acrylic) and the trolley (welded steel) are not printed and not part of the document.
"""

from __future__ import annotations

import math

import numpy as np

from dryfit.app.demo_files import DemoFiles, hash_of, to_glb
from dryfit.app.demo_observatory_sizes import (
    BY_THE_GUIDE,
    R_CROWN_INNER,
    R_CROWN_OUTER,
    R_INNER,
    R_OUTER,
    R_RIB_ARC,
    R_RIB_TIP,
    RAIL_RADIUS,
    RAIL_RELIEF,
    RAIL_TIP,
    RAIL_WIDTH,
    RELIEF_RISE,
    RIB_WIDTH,
    RING_TOP,
    SEAT_LENGTH,
    WALL_INNER,
    WALL_OUTER,
    Heights,
)
from dryfit.app.demo_observatory_text import MESH_FILE, write_observatory
from dryfit.app.demo_photographs import make_photographs
from dryfit.calc.shapes import arc_segment, arched_bar, round_ring, sweep_quads
from dryfit.model.mesh import TriangleMesh


def observatory_files(heights: Heights = BY_THE_GUIDE) -> DemoFiles:
    """Document, meshes, photographs and marks of the observatory."""
    data, photographs = to_glb(observatory_meshes(heights)), make_photographs()
    document = write_observatory(hash_of(data), photographs.rows, heights)
    return DemoFiles(document, {MESH_FILE: data}, photographs.files)


def observatory_meshes(heights: Heights = BY_THE_GUIDE) -> tuple[TriangleMesh, ...]:
    """The five shapes that the parts are printed from, each in its own frame, upright, about z or y = 0."""
    return (
        arc_segment(R_INNER, R_OUTER, 0.0, RING_TOP, -30.0, 60.0, 12, "segment"),
        _rib(heights),
        round_ring(R_CROWN_INNER, R_CROWN_OUTER, heights.crown_bottom, heights.crown_top, 36, "crown"),
        _rail(heights),
        arc_segment(WALL_INNER, WALL_OUTER, -heights.wall_height, 0.0, -30.0, 60.0, 12, "wall"),
    )


def _rib(heights: Heights) -> TriangleMesh:
    outer = math.hypot(R_RIB_ARC, SEAT_LENGTH)  # so that the level seat lies at the full rise
    arch = arched_bar(R_RIB_TIP, 400.0, outer, 0.0, SEAT_LENGTH, "over", RIB_WIDTH, RING_TOP, 18, "rib")
    vertices = arch.vertices.copy()
    vertices[:, 2] = RING_TOP + (vertices[:, 2] - RING_TOP) * (heights.rib_rise / R_RIB_ARC)
    return TriangleMesh(vertices, arch.faces, arch.name)


def _rail(heights: Heights) -> TriangleMesh:
    """The rail, its under side relieved from the end of the seat on.

    The seat ends on the crown, whose edge is 7.5 mm farther out beside the rail. An arc that fell from the end
    of the seat at once would dip more than a millimetre into the crown.
    """
    bar = arched_bar(
        RAIL_TIP,
        RAIL_RADIUS,
        RAIL_RADIUS + 24.0,
        heights.rail_leg,
        SEAT_LENGTH,
        "under",
        RAIL_WIDTH,
        RING_TOP,
        18,
    )
    sections = bar.vertices.reshape(-1, 4, 3)  # from the foot to the tip: outside, under side twice, outside
    arc, seat_end = sections[-3], sections[-2]
    clear = seat_end + (arc - seat_end) * (RAIL_RELIEF / (arc - seat_end)[1, 0])
    clear[1:3, 2] = heights.crown_top + RELIEF_RISE
    return sweep_quads(np.insert(sections, -2, clear, axis=0), "rail")
