"""What is unsound about a mesh, in words."""

from __future__ import annotations

from dryfit.calc.mesh import MeshMeasures


def mesh_cautions(measures: MeshMeasures) -> tuple[str, ...]:
    """What is unsound about a mesh that can still be forecast, in words."""
    found = []
    if measures.open_edges:
        found.append(f"the surface is open: {measures.open_edges} edges border one face only")
    if measures.nonmanifold_edges:
        found.append(f"{measures.nonmanifold_edges} edges border more than two faces")
    if not measures.is_consistently_oriented and measures.is_closed:
        found.append("neighbouring faces do not agree on which side is outside")
    if measures.is_inside_out:
        found.append("the surface is inside out: its volume is negative")
    if measures.degenerate_faces:
        found.append(f"{measures.degenerate_faces} faces have no area")
    return tuple(found)
