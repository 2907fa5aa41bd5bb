"""The document of the invented observatory."""

from __future__ import annotations

from collections.abc import Iterator

from dryfit.app.demo_files import write_error, write_numbers
from dryfit.app.demo_observatory_evidence import list_dimensions
from dryfit.app.demo_observatory_features import list_features
from dryfit.app.demo_observatory_joints import list_joints
from dryfit.app.demo_observatory_limits import list_characteristics
from dryfit.app.demo_observatory_sizes import (
    RAIL_OFFSET,
    RIBS,
    SEGMENTS,
    Heights,
    middle_deg,
    rib_deg,
)

MESH_FILE = "frame.glb"
SHELL_MM = {"tall": 2.7, "desk": 2.4}  # three lines of the tall machine, four of the desk machine


def write_observatory(sha256: str, photographs: str, heights: Heights) -> str:
    """The document; sha256 : of the mesh file; photographs : rows of its [[photo]] tables."""
    sections = [_HEAD, *list_dimensions(), photographs, *_parts(sha256, heights), *list_joints(heights)]
    return "\n".join([*sections, *list_characteristics(heights), *list_features(heights), _assembly()])


_HEAD = (
    """\
# Harrow Fell observatory, a 1:20 museum model. Everything here is invented for demonstration.
#
# Printed: a dome ring in six segments, twelve ribs, a crown ring, two shutter rails, six drum wall panels.
# Not printed and not in this document: the 4 mm acrylic covers and the welded steel trolley.
# Lengths in mm. The ring stands level with its underside at z = 0, and the shutter opens toward +X.
schema = 1

[project]
name = "Harrow Fell observatory"
scale = "1:20"
risk = 0.05
invented = true

[[material]]
id = "pla"
family = "PLA"
# The machines are set to make up for shrinkage, with the filament of one batch; what is left is its spread.
shrinkage = 0.0
shrinkage_std = 0.00005
density_g_per_cm3 = 1.24
density_std_g_per_cm3 = 0.01

# The tall machine prints all long parts. It was measured once: its bed axes are out of square by 0.1
# degrees, and its upright leans by 0.6 degrees toward +X.
[[machine]]
id = "tall"
build_volume_mm = [500, 500, 600]
extrusion_width_mm = 0.9
overhang_deg = 50
clearance_mm = 1
"""
    + write_error(0.1, 0.6, ["0.00005"] * 3, ["0.01"] * 3, "0.02")
    + """
# The desk machine prints the crown ring only.
[[machine]]
id = "desk"
build_volume_mm = [300, 300, 300]
extrusion_width_mm = 0.6
overhang_deg = 45
clearance_mm = 2
"""
    + write_error(0.02, -0.05, ["0.0002"] * 3, ["0.02"] * 3, "0.02")
)


def _part(id: str, mesh: str, machine: str, sha256: str, *lines: str) -> str:
    rows = [
        "[[part]]",
        f'id = "{id}"',
        f'mesh = "meshes/{MESH_FILE}#{mesh}"',
        f'machine = "{machine}"',
        'material = "pla"',
        *lines,
        f'sha256 = "{sha256}"',
        f"shell_mm = {SHELL_MM[machine]}",
        "infill = 0.15",
    ]
    return "\n".join(rows) + "\n"


def _parts(sha256: str, heights: Heights) -> Iterator[str]:
    yield "# Ring: one file six times, all in the one pose in which it fits, along the diagonal of the bed."
    for number in range(1, SEGMENTS + 1):
        yield _part(
            f"ring-{number}",
            "segment",
            "tall",
            sha256,
            "bed = { euler_xyz_deg = [0, 0, 45] }",
            _turned(middle_deg(number)),
        )
    yield "# Ribs: standing on both ends, as arches, along the diagonal; several stand side by side in one run."
    for number in range(1, RIBS + 1):
        yield _part(
            f"rib-{number}",
            "rib",
            "tall",
            sha256,
            f"bed = {{ euler_xyz_deg = {write_numbers([0.0, -heights.rib_tilt_deg, 45.0], 2)} }}",
            _turned(rib_deg(number)),
        )
    yield _part("crown", "crown", "desk", sha256, "bed = { euler_xyz_deg = [0, 0, 0] }")
    yield "# Shutter rails, one to each side of the slit; printed as the ribs are."
    for side, offset in (("left", RAIL_OFFSET), ("right", -RAIL_OFFSET)):
        yield _part(
            f"rail-{side}",
            "rail",
            "tall",
            sha256,
            "bed = { euler_xyz_deg = [0, -45, 45] }",
            f"placement = {{ translation_mm = {write_numbers([0.0, offset, 0.0])} }}",
        )
    yield "# Drum wall: panels printed standing, along the diagonal as well."
    for number in range(1, SEGMENTS + 1):
        yield _part(
            f"wall-{number}",
            "wall",
            "tall",
            sha256,
            "bed = { euler_xyz_deg = [0, 0, 45] }",
            _turned(middle_deg(number)),
        )


def _turned(azimuth_deg: float) -> str:
    return f"placement = {{ euler_xyz_deg = {write_numbers([0.0, 0.0, azimuth_deg])} }}"


def _assembly() -> str:
    order = [f"ring-{n}" for n in range(1, SEGMENTS + 1)] + [f"rib-{n}" for n in range(1, RIBS + 1)]
    order += ["crown", "rail-left", "rail-right"] + [f"wall-{n}" for n in range(1, SEGMENTS + 1)]
    lines = [order[start : start + 6] for start in range(0, len(order), 6)]
    body = "".join("  " + " ".join(f'"{name}",' for name in line) + "\n" for line in lines)
    return f"""\
[assembly]
# The ring is bonded on the plate, the dome on the ring; then all is turned over and the wall hung.
datum = "ground"
order = [
{body}]
temp_c = 20.0
temp_std_c = 0.5
"""
