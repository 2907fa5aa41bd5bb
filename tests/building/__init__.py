"""Small assemblies in memory, for tests: a segmented ring, a box frame, blocks on blocks."""

from building.frame import box_frame
from building.meshes import box_mesh, moved, ring_segment_mesh
from building.project import (
    Assembled,
    by_id,
    exact_machine,
    face_of_box,
    forecast,
    machine,
    material,
    predicted,
    rigidly_moved,
    square_face,
    standard_uncertainty,
)
from building.ring import LAYOUTS, POSES, ring
from building.tower import tower

__all__ = [
    "LAYOUTS",
    "POSES",
    "Assembled",
    "box_frame",
    "box_mesh",
    "by_id",
    "exact_machine",
    "face_of_box",
    "forecast",
    "machine",
    "material",
    "moved",
    "predicted",
    "rigidly_moved",
    "ring",
    "ring_segment_mesh",
    "square_face",
    "standard_uncertainty",
    "tower",
]
