"""Faces of a mesh: planes and rounds, found by point or direction; extents and sections."""

from dryfit.calc.faces.distance import distances_to_triangles
from dryfit.calc.faces.find import FaceFound, FaceLost, face_at, face_of_triangle, face_toward, vertices_of
from dryfit.calc.faces.grow import Element, Fitter, Grown, grow_round
from dryfit.calc.faces.section import Extent, Section, extent_along, section_extent, section_polygon
from dryfit.calc.faces.segment import Face, Faces, segment_faces

__all__ = [
    "Element",
    "Extent",
    "Face",
    "FaceFound",
    "FaceLost",
    "Faces",
    "Fitter",
    "Grown",
    "Section",
    "distances_to_triangles",
    "extent_along",
    "face_at",
    "face_of_triangle",
    "face_toward",
    "grow_round",
    "section_extent",
    "section_polygon",
    "segment_faces",
    "vertices_of",
]
