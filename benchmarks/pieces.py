"""A drum of finely meshed wall pieces in a project folder: as many, and as fine, as a benchmark wants them."""

from __future__ import annotations

from pathlib import Path

import numpy as np
from test_mating import cube

from support.mesh_files import stl_binary
from support.projects import MACHINE, MATERIAL

# Heights of the storeys.
STOREYS_MM = (200.0, 220.0, 240.0)
INNER_MM = 560.0
HEAD = 'schema = 1\n[project]\nname = "Drum"\nscale = "1:20"\n'
FEATURES = """
[[feature]]
id = "storey"
kind = "extent"
part = "p0"
direction = [0, 0, 1]
nominal_mm = 200
nominal_std_mm = 0.1
deviations_mm = [-0.5, 0.5]

[[feature]]
id = "bed-to-top"
kind = "distance"
faces = [{ part = "p1", direction = [0, 0, 1] }, { part = "p1", direction = [0, 0, -1] }]
nominal_mm = 200
nominal_std_mm = 0.1
deviations_mm = [-0.5, 0.5]

[[feature]]
id = "foot"
kind = "flatness"
faces = [{ part = "p2", direction = [0, 0, -1] }]
limits_mm = [0, 0.2]
nominal_mm = 0
"""


def piece(number: int, count: int, cells: int, alike: bool = False, over_mm: float = 0.0):
    """Vertices and 12 x cells x cells triangles of one piece of the drum; its outside is rippled.

    alike   pieces differ by the phase of their ripples alone, else by their depth as well
    over_mm by how much it is longer than its place, and so runs into both neighbours
    """
    around = count // len(STOREYS_MM)
    column, storey = number % around, number // around
    points, faces = cube(cells)
    depth = 40.0 if alike else 24.0 + 1.9 * (len(STOREYS_MM) * column + storey)
    along, up = points[:, 1], points[:, 2]
    ripple = 1.5 * np.sin(9.0 * along + 0.7 * number) * np.cos(7.0 * up + 0.3 * number)
    ripple *= (1.0 - along**2) * (1.0 - up**2)
    share = 0.5 * (1.0 + points[:, 0])
    radius = INNER_MM + share * depth + share**4 * ripple
    half = np.pi / around + 0.5 * over_mm / INNER_MM
    angle = 2.0 * np.pi * (column + 0.5) / around + half * along
    height = sum(STOREYS_MM[:storey]) + 0.5 * STOREYS_MM[storey] * (1.0 + up)
    bent = np.column_stack([radius * np.cos(angle), radius * np.sin(angle), height])
    return bent.astype(np.float32), faces


def write_drum(folder: Path, count: int, cells: int, alike: bool = False, over_mm: float = 0.0) -> Path:
    """A project of so many pieces, an STL file each; those of the lowest storey are joined to one another."""
    (folder / "meshes").mkdir(parents=True)
    rows = [HEAD, MACHINE.replace("[machine.error]", "extrusion_width_mm = 0.6\n[machine.error]"), MATERIAL]
    for number in range(count):
        write_piece(folder, number, count, cells, alike, over_mm)
        rows.append(
            f'[[part]]\nid = "p{number}"\nmesh = "meshes/p{number}.stl"\nunit = "mm"\n'
            'machine = "tall"\nmaterial = "pla"\n'
        )
    around = count // len(STOREYS_MM)
    rows += [_joint(number, around) for number in range(around - 1)]
    (folder / "project.toml").write_text("\n".join(rows) + FEATURES, encoding="utf-8")
    return folder


def write_piece(
    folder: Path, number: int, count: int, cells: int, alike: bool = False, over_mm: float = 0.0
) -> None:
    """One of its mesh files."""
    points, faces = piece(number, count, cells, alike, over_mm)
    (folder / "meshes" / f"p{number}.stl").write_bytes(stl_binary(points, faces))


def _joint(number: int, around: int) -> str:
    """Two neighbours in the lowest storey, their contacts stated: a square of the radial plane between them."""
    angle = 2.0 * np.pi * (number + 1) / around
    out, normal = np.array([np.cos(angle), np.sin(angle)]), [-np.sin(angle), np.cos(angle), 0.0]
    corners = [(INNER_MM + r, z) for r, z in ((4, 40), (20, 40), (20, 160), (4, 160))]
    points = [[*(radius * out).tolist(), float(z)] for radius, z in corners]
    first, second = f"p{number}", f"p{number + 1}"
    return (
        f'[[joint]]\nid = "{first}:{second}"\nparts = ["{first}", "{second}"]\nlocators = "none"\n'
        f"[joint.faces]\npoints_mm = {points}\nnormal = {[float(x) for x in normal]}\n"
    )
