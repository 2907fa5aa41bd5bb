"""Parts that are another part turned, moved or mirrored: what was found of the one holds for the other."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace

from dryfit.app.geometry import Shapes
from dryfit.calc.health import HealthOptions, HealthReport, ProblemKind, distance_problem
from dryfit.calc.likeness import RigidCopy, find_copy
from dryfit.calc.thickness import ThicknessMap
from dryfit.model.mesh import TriangleMesh

# What these say rests on rounding, and so on where a mesh lies: such a mesh is examined where it is.
_RESTS_ON_ROUNDING: tuple[ProblemKind, ...] = (
    *("self-intersection", "touching", "degenerate faces", "far from origin"),
)


@dataclass(frozen=True, slots=True, eq=False)
class Copy:
    """of: the part that it is a copy of. motion: that brings it here; None where both are in one place."""

    of: str
    motion: RigidCopy | None


def find_copies(
    shapes: Shapes, hashes: Mapping[str, str], ask: Callable[[], None] = lambda: None
) -> dict[str, Copy]:
    """The parts that are rigid copies of a part before them, vertex by vertex within a micrometre.

    hashes : of the meshes by part; ask : called in between, what it raises ends the work
    """
    first_of: dict[tuple[int, int], list[str]] = {}
    copies: dict[str, Copy] = {}
    for name, shape in shapes.items():
        ask()
        mesh = shape.mesh
        others = first_of.setdefault((len(mesh.vertices), len(mesh.faces)), [])
        for other in others:
            motion = None if hashes[other] == hashes[name] else find_copy(shapes[other].mesh, mesh)
            if motion is not None or hashes[other] == hashes[name]:
                copies[name] = Copy(other, motion)
                break
        else:
            others.append(name)
    return copies


def may_carry(health: HealthReport, mesh: TriangleMesh, options: HealthOptions) -> bool:
    """Whether what was found of a mesh holds for its copy wherever that lies. mesh : the copy."""
    if any(health.find(kind) is not None for kind in _RESTS_ON_ROUNDING):
        return False
    return distance_problem(mesh.vertices, mesh.faces, options) is None


def carry_health(health: HealthReport, motion: RigidCopy) -> HealthReport:
    """The same faults at the places of the copy."""
    moved = [replace(item, places_mm=motion.move(item.places_mm)) for item in health.problems]
    return replace(health, problems=tuple(moved))


def carry_walls(walls: ThicknessMap, motion: RigidCopy) -> ThicknessMap:
    """The same walls at the places of the copy."""
    return replace(walls, points=motion.move(walls.points), normals=motion.turn(walls.normals))
