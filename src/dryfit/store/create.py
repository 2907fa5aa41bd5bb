"""A new project folder: a commented document that is valid as it stands, and empty folders."""

from __future__ import annotations

import os
import secrets
import shutil
from pathlib import Path

from dryfit.base.errors import NotWritten
from dryfit.store.atomic import sync_folder, write_atomically
from dryfit.store.document import DOCUMENT_NAME, parse_document
from dryfit.store.toml_values import render_value

FOLDERS = ("meshes", "photos", "released")

TEMPLATE = """\
# The project document: what is meant to be. Edit it by hand; the program keeps your comments.
# Lengths are in millimetres, angles in degrees, temperatures in degrees Celsius. Texts stand in quotes.
schema = 1

[project]
name = {name}
scale = {scale}            # model : prototype
risk = 0.05                # how often a characteristic may be out of limits before the program says stop
invented = false           # true for demonstration data

# How mating faces are found on the meshes: how far apart and how far out of parallel they may lie.
[search]
max_gap_mm = 0.5
max_angle_deg = 2.0
min_area_mm2 = 4.0

# One [[material]] for each plastic. The family looks up the thermal expansion and the density, where they
# are not stated: PLA, PETG, ABS, ASA, PC, PA or TPU. Shrinkage 0.002 means that prints come out 0.2 % smaller.
#
# [[material]]
# id = "pla"
# family = "PLA"
# shrinkage = 0.002
# shrinkage_std = 0.0005

# One [[machine]] for each printer. Without [machine.error] the program reckons with a machine that was
# never qualified: square within 0.3 degrees and to scale within 0.3 %, one standard deviation each.
# In [machine.error], a figure that is left out is taken as exactly 0. A positive skew_xz_deg means that
# the print leans toward +X as it grows in Z. The width of a printed line, the steepest overhang from the
# vertical and the distance to keep from the sides of the bed are for the checks of the parts.
#
# [[machine]]
# id = "tall"
# build_volume_mm = [500, 500, 600]
# extrusion_width_mm = 0.45
# overhang_deg = 45
# clearance_mm = 5
# [machine.error]
# scale_x = 0.0
# skew_xz_deg = 0.4
# repeatability_mm = 0.08
# std = {{ scale_x = 0.0005, skew_xz_deg = 0.02 }}

# One [[dimension]] for each governing size of the prototype, full size, with how well it is known.
#
# [[dimension]]
# id = "drum.height"
# prototype_mm = 4000
# prototype_std_mm = 20
# source = "surveyed with two tapes"

# One [[observation]] for each measured or quoted value of a dimension, and one [[relation]] for what must
# hold between dimensions: `dryfit schedule` weighs them all, and the dimension needs no size of its own.
#
# [[observation]]
# id = "guide"
# of = "drum.height"
# value = "12 ft 3 1/2 in"
# std = "1/2 in"
# source = "printed guide"

# One [[part]] for each printed piece. The mesh is "file#object", in assembly coordinates. The unit is
# needed where the mesh format states none. The bed pose turns the part about x, then y, then z. Shell and
# infill are for its weight; without them it is weighed as solid.
#
# [[part]]
# id = "ring-1"
# mesh = "meshes/frame.stl"
# unit = "mm"
# machine = "tall"
# material = "pla"
# bed = {{ euler_xyz_deg = [0, 0, 90] }}
# shell_mm = 1.6
# infill = 0.15

# One [[joint]] for each pair of faces that meet. Locators: none, pin, pin-and-slot or two-pins.
# The first of the parts may be "ground": a jig without error, which needs stated [joint.faces].
#
# [[joint]]
# id = "ring-1:ring-2"
# parts = ["ring-1", "ring-2"]
# locators = "pin-and-slot"
# bond_line_mm = 0.1

# One [[characteristic]] for each size, gap, angle or flatness with limits. Kinds: gap, taper, step (of a
# joint), distance, height, diameter, flatness (of points), angle, squareness (of two directions).
#
# [[characteristic]]
# id = "ring-closure"
# kind = "gap"
# joint = "ring-6:ring-1"
# limits_mm = [-0.1, 0.4]

# One [[feature]] for each size of a mesh that must be as the drawing says. Kinds: distance, angle, centres
# (of two faces), diameter, position, flatness, thickness (of one), extent, section (of a part). What it
# should be is a dimension, or nominal_mm and nominal_std_mm; `dryfit feature add` writes one for you.
#
# [[feature]]
# id = "drum height"
# kind = "extent"
# part = "ring-1"
# direction = [0, 0, 1]
# dimension = "drum.height"
# deviations_mm = [-0.5, 0.5]

# The part that stands still, the order of bonding, and the temperature at which all must be right.
[assembly]
# datum = "ring-1"
# order = ["ring-1", "ring-2"]
temp_c = 20.0
temp_std_c = 0.0
"""


def new_project(directory: Path, name: str, scale: str) -> Path:
    """Make a project folder and return the path of its document.

    directory must not exist, or be empty; the folder above it must exist.
    Raises DocumentRefused for a name or scale that no document could hold, NotWritten otherwise; nothing
    half-made is left.
    """
    text = TEMPLATE.format(name=render_value(name), scale=render_value(scale))
    parse_document(text, DOCUMENT_NAME)
    try:
        if directory.exists():
            _fill_empty(directory, text)
        else:
            _make_whole(directory, text)
    except OSError as error:
        what = f"the project folder cannot be made: {error.strerror}"
        raise NotWritten(what, str(directory), "name a folder that can be made") from error
    return directory / DOCUMENT_NAME


def _fill_empty(directory: Path, text: str) -> None:
    if not directory.is_dir() or any(directory.iterdir()):
        what = "the folder is not empty" if directory.is_dir() else "a file of that name exists"
        raise NotWritten(what, str(directory), "name a new or empty folder")
    try:
        _fill(directory, text)
    except BaseException:
        for made in directory.iterdir():
            shutil.rmtree(made) if made.is_dir() else made.unlink()
        raise


def _make_whole(directory: Path, text: str) -> None:
    """Fill a folder beside the one wanted, then rename it: the project appears whole or not at all."""
    staging = directory.with_name(f".{directory.name}.{secrets.token_hex(6)}.tmp")
    staging.mkdir()
    try:
        _fill(staging, text)
        os.rename(staging, directory)
    except BaseException:
        shutil.rmtree(staging, ignore_errors=True)
        raise
    sync_folder(directory.parent)


def _fill(directory: Path, text: str) -> None:
    for folder in FOLDERS:
        (directory / folder).mkdir()
    write_atomically(directory / DOCUMENT_NAME, text.encode("utf-8"))
