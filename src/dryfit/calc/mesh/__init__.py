"""Triangle meshes: their measures, and how points and polygons become one."""

from dryfit.calc.mesh.measure import MeshMeasures, has_area, measure_mesh
from dryfit.calc.mesh.merge import merge_equal_vertices
from dryfit.calc.mesh.polygon import Triangulation, triangulate_polygons

__all__ = [
    "MeshMeasures",
    "Triangulation",
    "has_area",
    "measure_mesh",
    "merge_equal_vertices",
    "triangulate_polygons",
]
