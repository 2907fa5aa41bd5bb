"""Pure generators of simple solids: closed, consistently oriented meshes with exact vertices."""

from dryfit.calc.shapes.arched import arched_bar
from dryfit.calc.shapes.bands import arc_segment, band, box, round_ring
from dryfit.calc.shapes.prisms import prism
from dryfit.calc.shapes.sweep import sweep_quads

__all__ = ["arc_segment", "arched_bar", "band", "box", "prism", "round_ring", "sweep_quads"]
