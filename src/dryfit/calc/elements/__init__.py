"""Planes, circles, cylinders, spheres, cones and tori through points: least squares, and minimum zones."""

from dryfit.calc.elements.arcs import chord_error_mm, facet_steps
from dryfit.calc.elements.circles import fit_circle, fit_circle_algebraic
from dryfit.calc.elements.cones import fit_cone
from dryfit.calc.elements.cylinders import fit_cylinder
from dryfit.calc.elements.planes import fit_plane
from dryfit.calc.elements.records import (
    CircleFit,
    CircleStd,
    ConeFit,
    ConeStd,
    CylinderFit,
    CylinderStd,
    PlaneFit,
    PlaneStd,
    SphereFit,
    SphereStd,
    TorusFit,
    TorusStd,
    ZoneFit,
)
from dryfit.calc.elements.rings import minimum_zone_circularity
from dryfit.calc.elements.spheres import fit_sphere
from dryfit.calc.elements.tori import fit_torus
from dryfit.calc.elements.zones import minimum_zone_flatness

__all__ = [
    "CircleFit",
    "CircleStd",
    "ConeFit",
    "ConeStd",
    "CylinderFit",
    "CylinderStd",
    "PlaneFit",
    "PlaneStd",
    "SphereFit",
    "SphereStd",
    "TorusFit",
    "TorusStd",
    "ZoneFit",
    "chord_error_mm",
    "facet_steps",
    "fit_circle",
    "fit_circle_algebraic",
    "fit_cone",
    "fit_cylinder",
    "fit_plane",
    "fit_sphere",
    "fit_torus",
    "minimum_zone_circularity",
    "minimum_zone_flatness",
]
