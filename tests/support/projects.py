"""A small portal on disk: a base, two posts and a lintel that closes over them, with everything stated."""

from __future__ import annotations

import io
import json
from pathlib import Path
from typing import Any

import numpy as np
import trimesh

from support.mesh_files import box, stl_binary

# id -> (size, lowest corner) in mm: the posts stand on the base, the lintel lies on both.
PORTAL = {
    "base": ((200.0, 60.0, 20.0), (0.0, 0.0, 0.0)),
    "post-1": ((20.0, 60.0, 100.0), (0.0, 0.0, 20.0)),
    "post-2": ((20.0, 60.0, 100.0), (180.0, 0.0, 20.0)),
    "lintel": ((200.0, 60.0, 20.0), (0.0, 0.0, 120.0)),
}
MACHINE = """
[[machine]]
id = "tall"
build_volume_mm = [500, 500, 600]
[machine.error]
scale_x = 0.0
scale_y = 0.0
scale_z = 0.0
skew_xy_deg = 0.0
skew_xz_deg = 0.4  # measured last winter
skew_yz_deg = 0.0
boundary_offset_mm = 0.0
first_layer_flare_mm = 0.0
first_layer_height_mm = 0.3
repeatability_mm = 0.03
std = { scale_x = 0.0005, scale_y = 0.0005, scale_z = 0.0005, skew_xy_deg = 0.02, skew_xz_deg = 0.02, \
skew_yz_deg = 0.02, boundary_offset_mm = 0.02, first_layer_flare_mm = 0.01 }
"""
MATERIAL = """
[[material]]
id = "pla"
family = "PLA"
shrinkage = 0.0
shrinkage_std = 0.0002
"""
HEAD = 'schema = 1\n[project]\nname = "Portal"\nscale = "1:20"\n'


def glb_bytes(bodies=None) -> bytes:
    """One GLB with an object per body; lengths in metres, as its standard demands."""
    scene = trimesh.Scene()
    for name, (size, origin) in (bodies or PORTAL).items():
        vertices, faces = box(size, origin)
        mesh = trimesh.Trimesh(np.asarray(vertices) / 1000.0, faces, process=False)
        scene.add_geometry(mesh, node_name=name, geom_name=name)
    return bytes(scene.export(file_type="glb"))


def stl_bytes(size=(20.0, 60.0, 100.0), origin=(0.0, 0.0, 0.0)) -> bytes:
    return stl_binary(*box(size, origin))


def open_stl_bytes(size=(20.0, 60.0, 100.0)) -> bytes:
    """A box without its last two triangles."""
    vertices, faces = box(size)
    buffer = io.BytesIO()
    buffer.write(stl_binary(vertices, faces[:-2]))
    return buffer.getvalue()


def part_row(name: str, mesh: str = "meshes/portal.glb", **keys: Any) -> str:
    reference = keys.pop("reference", f"{mesh}#{name}")
    rows = [f'[[part]]\nid = "{name}"', f"mesh = {json.dumps(reference)}"]
    keys = {"machine": '"tall"', "material": '"pla"', **keys}
    return "\n".join([*rows, *(f"{key} = {value}" for key, value in keys.items())]) + "\n"


def joint_row(first: str, second: str, locators: str = "pin-and-slot", id: str = "", **keys: Any) -> str:
    rows = [f'[[joint]]\nid = "{id or f"{first}:{second}"}"', f'parts = ["{first}", "{second}"]']
    keys = {
        "locators": f'"{locators}"',
        "bond_line_mm": "0.0",
        "contact_play_mm": "0.03",
        "locator_play_mm": "0.05",
        **keys,
    }
    return "\n".join([*rows, *(f"{key} = {value}" for key, value in keys.items())]) + "\n"


JOINTS = (
    joint_row("base", "post-1")
    + joint_row("base", "post-2")
    + joint_row("post-1", "lintel")
    + joint_row("post-2", "lintel", role='"closing"')
)
CHARACTERISTICS = """
[[characteristic]]
id = "lintel-height"
kind = "height"
parts = ["lintel"]
points_mm = [[100, 30, 140]]
limits_mm = [139, 141]

[[characteristic]]
id = "closing-step"
kind = "step"
joint = "post-2:lintel"
direction = [1, 0, 0]
limits_mm = [-0.5, 0.5]

[[characteristic]]
id = "plumb"
kind = "squareness"
parts = ["base", "post-1"]
axes = [[1, 0, 0], [0, 0, 1]]
limits_deg = [-0.2, 0.2]
"""
ASSEMBLY = '[assembly]\ndatum = "base"\norder = ["base", "post-1", "post-2", "lintel"]\n'


def document(
    head=HEAD,
    machine=MACHINE,
    material=MATERIAL,
    parts=None,
    joints=JOINTS,
    characteristics=CHARACTERISTICS,
    assembly=ASSEMBLY,
) -> str:
    rows = "".join(part_row(name) for name in PORTAL) if parts is None else parts
    return "\n".join([head, machine, material, rows, joints, characteristics, assembly])


def write_project(folder: Path, text: str | None = None, meshes=None) -> Path:
    """A project folder; meshes: content by path in the folder."""
    (folder / "meshes").mkdir(parents=True, exist_ok=True)
    for name, data in ({"meshes/portal.glb": glb_bytes()} if meshes is None else meshes).items():
        (folder / name).write_bytes(data)
    (folder / "project.toml").write_text(document() if text is None else text, encoding="utf-8")
    return folder


def contents(folder: Path) -> dict[str, bytes]:
    """Every file below a folder by its path, so that a test can see that nothing changed."""
    return {
        str(path.relative_to(folder)): path.read_bytes()
        for path in sorted(folder.rglob("*"))
        if path.is_file()
    }
