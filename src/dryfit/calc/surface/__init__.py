"""Which faces of a mesh a stated point lies on."""

from dryfit.calc.surface.at_point import outward_at, triangles_near

__all__ = ["outward_at", "triangles_near"]
