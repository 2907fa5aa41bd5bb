"""The Wend lighter, the hull frame of an invented river boat, 1.8 m long.

Why the numbers are as they are. All of them are invented; none was taken from a boat or a machine.

* Three keel lengths of 600 mm lie along X, the only way in which they fit the bed of 700 x 450. A scale
  error of X therefore goes into the overall length whole, 3.6 mm of it, and no turn on the bed helps.
  It was measured once, on a short test piece: its standard uncertainty is half of itself. So the answer is
  to measure it again over the length of the bed, and then to make up for it on the machine.
* The seven frames are printed standing, as they will stand. The upright leans toward X, and so does every
  frame on the keel; seen from the side all lean alike, which spoils their squareness and not their spacing.
* The keel is bonded on a straight slip with a fence, or the short butt faces would set its straightness.
* Frames are 30 mm thick on a keel of 60 mm, so that a seat holds them upright within about 0.1 degrees.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping

import numpy as np

from dryfit.app.demo_files import (
    DemoFiles,
    hash_of,
    to_stl,
    write_characteristic,
    write_dimension,
    write_faces,
    write_feature,
    write_joint,
    write_look,
    write_numbers,
    write_points,
)
from dryfit.calc.shapes import band, box
from dryfit.model.mesh import TriangleMesh

KEEL_LENGTH, KEEL_HALF_WIDTH, KEEL_TOP = 600.0, 30.0, 50.0
KEELS = 3
LENGTH = KEELS * KEEL_LENGTH
FRAME_THICKNESS = 30.0
FRAME_X = (60.0, 340.0, 620.0, 900.0, 1180.0, 1460.0, 1740.0)  # none on a butt
HALF_BREADTH = (110.0, 160.0, 180.0, 180.0, 180.0, 160.0, 110.0)  # fuller amidships
GUNWALE_Z = (240.0, 220.0, 210.0, 210.0, 210.0, 220.0, 240.0)  # the sheer rises to both ends
FRAMES = len(FRAME_X)


def lighter_files() -> DemoFiles:
    """Document and meshes of the lighter: one STL file per part, which states no unit of its own."""
    meshes = {mesh.name: to_stl(mesh) for mesh in lighter_meshes()}
    hashes = {name: hash_of(data) for name, data in meshes.items()}
    return DemoFiles(_document(hashes), {f"{name}.stl": data for name, data in meshes.items()})


def lighter_meshes() -> tuple[TriangleMesh, ...]:
    """Keel lengths and frames, in assembly coordinates: x from the stern, y to port, z up from the slip."""
    keels = [_keel(number) for number in range(1, KEELS + 1)]
    return (*keels, *(_frame(number) for number in range(1, FRAMES + 1)))


def _keel(number: int) -> TriangleMesh:
    start = KEEL_LENGTH * (number - 1)
    return box(
        (start, -KEEL_HALF_WIDTH, 0.0), (start + KEEL_LENGTH, KEEL_HALF_WIDTH, KEEL_TOP), f"keel-{number}"
    )


def _frame(number: int) -> TriangleMesh:
    """A trough with a chine to either side, open at the top, 25 mm deep in its section."""
    half, gunwale = HALF_BREADTH[number - 1], GUNWALE_Z[number - 1]
    outer = [[half, gunwale], [half, KEEL_TOP + 60.0], [half - 50.0, KEEL_TOP]]
    inner = [[half - 25.0, gunwale], [half - 25.0, KEEL_TOP + 70.0], [half - 60.0, KEEL_TOP + 25.0]]
    mirror = np.array([-1.0, 1.0])
    outside = np.vstack([np.array(outer) * mirror, np.array(outer[::-1])])
    inside = np.vstack([np.array(inner) * mirror, np.array(inner[::-1])])
    start = FRAME_X[number - 1] - 0.5 * FRAME_THICKNESS
    # Drawn in (y, z) and thick along x: turning the axes in a ring keeps the faces facing outward.
    flat = band(inside, outside, start, start + FRAME_THICKNESS, f"frame-{number}")
    return TriangleMesh(flat.vertices[:, [2, 0, 1]], flat.faces, flat.name)


def keel_under(number: int) -> int:
    """Number of the keel length that carries a frame."""
    return int(FRAME_X[number - 1] // KEEL_LENGTH) + 1


def _document(hashes: Mapping[str, str]) -> str:
    sections = [_HEAD, *_dimensions(), *_parts(hashes), *_joints(), *_characteristics(), *_features()]
    return "\n".join([*sections, _assembly()])


_HEAD = """\
# Wend lighter, hull frame of a river boat, a 1:10 model of 1.8 m. Everything here is invented for
# demonstration. Lengths in mm; x from the stern, y to port, z up from the building slip.
schema = 1

[project]
name = "Wend lighter"
scale = "1:10"
risk = 0.05
invented = true

[[material]]
id = "petg"
family = "PETG"
shrinkage = 0.0
shrinkage_std = 0.0001
density_g_per_cm3 = 1.27
density_std_g_per_cm3 = 0.01

# Measured once, on a test piece of 100 mm: too short to know the scale of X well.
[[machine]]
id = "long"
build_volume_mm = [700, 450, 350]
extrusion_width_mm = 0.9
overhang_deg = 50
clearance_mm = 5
[machine.error]
scale_x = 0.002
scale_y = 0.0
scale_z = 0.0
skew_xy_deg = 0.0
skew_xz_deg = 0.5
skew_yz_deg = 0.0
boundary_offset_mm = 0.0
first_layer_flare_mm = 0.0
first_layer_height_mm = 0.3
repeatability_mm = 0.04
[machine.error.std]
scale_x = 0.001
scale_y = 0.0005
scale_z = 0.0005
skew_xy_deg = 0.02
skew_xz_deg = 0.05
skew_yz_deg = 0.02
boundary_offset_mm = 0.03
first_layer_flare_mm = 0.03
"""


def _dimensions() -> Iterator[str]:
    yield "# Governing sizes of the prototype, full size. Invented, as everything here."
    yield write_dimension("hull.length", 18000.0, 8.0, "invented: a builder's list")
    yield write_dimension("hull.breadth", 3600.0, 5.0, "invented: taken off with a rod")


def _parts(hashes: Mapping[str, str]) -> Iterator[str]:
    yield "# One STL file per part. STL states no unit, so it is stated here."
    for name, sha256 in hashes.items():
        rows = [
            "[[part]]",
            f'id = "{name}"',
            f'mesh = "meshes/{name}.stl"',
            'unit = "mm"',
            'machine = "long"',
            'material = "petg"',
            "bed = { euler_xyz_deg = [0, 0, 0] }",
            f'sha256 = "{sha256}"',
            "shell_mm = 2.7",
            "infill = 0.2",
        ]
        yield "\n".join(rows) + "\n"


def _joints() -> Iterator[str]:
    yield "# The building slip: floor, fence on the starboard side, and a stop at the stern."
    for number in range(1, KEELS + 1):
        yield _slip_joint(number)
    yield "# Butts of the keel: a bond line of a tenth; the slip keeps them in line."
    for number in range(1, KEELS):
        yield write_joint(
            f"keel-{number}",
            f"keel-{number + 1}",
            'role = "locating"',
            "bond_line_mm = 0.1",
            "bond_line_std_mm = 0.03",
            "contact_play_mm = 0.05",
        )
    yield "# Frames sit on the keel by pin and slot, one to either side of the middle line."
    for number in range(1, FRAMES + 1):
        yield write_joint(
            f"keel-{keel_under(number)}",
            f"frame-{number}",
            'locators = "pin-and-slot"',
            "bond_line_mm = 0.0",
            "bond_line_std_mm = 0.02",
            "contact_play_mm = 0.03",
            "locator_play_mm = 0.04",
        )


def _slip_joint(number: int) -> str:
    start, side = KEEL_LENGTH * (number - 1), KEEL_HALF_WIDTH
    ends = (start + 20.0, start + KEEL_LENGTH - 20.0)
    points = [[x, y, 0.0] for x in ends for y in (-side + 5.0, side - 5.0)]
    points += [[x, -side, 0.5 * KEEL_TOP] for x in ends]
    normals = [[0.0, 0.0, 1.0]] * 4 + [[0.0, 1.0, 0.0]] * 2
    if number == 1:
        points.append([0.0, 0.0, 0.5 * KEEL_TOP])
        normals.append([1.0, 0.0, 0.0])
    return write_joint(
        "ground",
        f"keel-{number}",
        "contact_play_mm = 0.03",
        "[joint.faces]",
        f"points_mm = {write_points(np.array(points))}",
        f"normals = {write_points(np.array(normals))}",
    )


def _distance(id: str, parts: tuple[str, str], points: list[list[float]], limit: float) -> str:
    length = float(np.linalg.norm(np.subtract(points[1], points[0])))
    return write_characteristic(
        id,
        "distance",
        f'parts = ["{parts[0]}", "{parts[1]}"]',
        f"points_mm = {write_points(np.array(points))}",
        f"limits_mm = {write_numbers([length - limit, length + limit])}",
    )


def _characteristics() -> Iterator[str]:
    yield "# The deck comes ready-made, 1800 mm long: the hull must meet it within 2 mm."
    middle = 0.5 * KEEL_TOP
    yield _distance(
        "overall-length", ("keel-1", f"keel-{KEELS}"), [[0.0, 0.0, middle], [LENGTH, 0.0, middle]], 2.0
    )
    yield _keel_straightness()
    for number in range(1, KEELS):
        yield write_characteristic(
            f"keel-step-{number}",
            "step",
            f'joint = "keel-{number}:keel-{number + 1}"',
            "direction = [0, 0, 1]",
            "limits_mm = [-0.3, 0.3]",
        )
    yield "# Frames: where planks and bulkheads meet them."
    for first, second, limit in ((1, 7, 2.0), (3, 4, 0.8), (4, 5, 0.8)):
        points = [[FRAME_X[number - 1], 0.0, KEEL_TOP + 25.0] for number in (first, second)]
        yield _distance(
            f"frame-spacing-{first}-{second}", (f"frame-{first}", f"frame-{second}"), points, limit
        )
    for number in (1, 4, 7):
        yield write_characteristic(
            f"frame-square-{number}",
            "squareness",
            f'parts = ["keel-{keel_under(number)}", "frame-{number}"]',
            "axes = [[1, 0, 0], [0, 0, 1]]",
            "limits_deg = [-0.4, 0.4]",
        )
    half, gunwale = HALF_BREADTH[3], GUNWALE_Z[3] - 5.0
    yield _distance(
        "breadth-midships",
        ("frame-4", "frame-4"),
        [[FRAME_X[3], -half, gunwale], [FRAME_X[3], half, gunwale]],
        0.8,
    )


def _features() -> Iterator[str]:
    yield "# What the meshes must measure before anything is printed."
    keels = ", ".join(f'"keel-{n}"' for n in range(1, KEELS + 1))
    yield write_feature(
        "keel-length",
        "extent",
        f"parts = [{keels}]",
        "direction = [1, 0, 0]",
        'dimension = "hull.length"',
        "deviations_mm = [-1, 1]",
    )
    yield write_feature(
        "breadth-of-frame-4",
        "extent",
        'part = "frame-4"',
        "direction = [0, 1, 0]",
        'dimension = "hull.breadth"',
        "deviations_mm = [-0.8, 0.8]",
    )
    sides = [write_look("frame-4", np.array([sign, 0.0, 0.0])) for sign in (-1.0, 1.0)]
    yield write_feature(
        "thickness-of-frame-4",
        "distance",
        write_faces(*sides),
        "nominal_mm = 30",
        "nominal_std_mm = 0.05",
        'iso_2768 = "m"',
    )


def _keel_straightness() -> str:
    points, parts = [], []
    for number in range(1, KEELS + 1):
        for x in (20.0, 0.5 * KEEL_LENGTH, KEEL_LENGTH - 20.0):
            for y in (-25.0, 25.0):
                points.append([KEEL_LENGTH * (number - 1) + x, y, KEEL_TOP])
                parts.append(f'"keel-{number}"')
    return write_characteristic(
        "keel-straight",
        "flatness",
        f"parts = [{', '.join(parts)}]",
        f"points_mm = {write_points(np.array(points))}",
        "upper_mm = 0.5",
    )


def _assembly() -> str:
    keels = ", ".join(f'"keel-{n}"' for n in range(1, KEELS + 1))
    frames = ", ".join(f'"frame-{n}"' for n in range(1, FRAMES + 1))
    return f"""\
[assembly]
datum = "ground"
order = [
  {keels},
  {frames},
]
temp_c = 20.0
temp_std_c = 1.0
"""
