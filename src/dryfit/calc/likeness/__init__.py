"""Which shapes are the same, mirror images, or nearly so?"""

from dryfit.calc.likeness.compare import (
    EQUAL_MM,
    MOST_CHORD_MM,
    NEAR_MM,
    Likeness,
    compare_shapes,
    may_be_alike,
    may_share_vertices,
)
from dryfit.calc.likeness.copies import COPY_MM, RigidCopy, find_copy
from dryfit.calc.likeness.facets import chord_errors, chord_errors_at
from dryfit.calc.likeness.shape import Shape, Signature, shape_of, signature

__all__ = [
    "COPY_MM",
    "EQUAL_MM",
    "MOST_CHORD_MM",
    "NEAR_MM",
    "Likeness",
    "RigidCopy",
    "Shape",
    "Signature",
    "chord_errors",
    "chord_errors_at",
    "compare_shapes",
    "find_copy",
    "may_be_alike",
    "may_share_vertices",
    "shape_of",
    "signature",
]
