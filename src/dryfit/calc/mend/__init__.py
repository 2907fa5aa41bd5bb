"""A mended copy of a mesh: what was done, and by how much the surface moved."""

from dryfit.calc.mend.mend import mend_mesh
from dryfit.calc.mend.record import Mended, MendOptions, MendStep

__all__ = ["MendOptions", "MendStep", "Mended", "mend_mesh"]
