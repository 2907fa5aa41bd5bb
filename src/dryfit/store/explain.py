"""Validation errors of the rows in plain words, each with what to do."""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Any, get_args

from pydantic import BaseModel, ValidationError

from dryfit.store.row import Finding, Path, Row
from dryfit.store.words import describe_value, suggest

# How each key is written, for what to do about a missing or mistyped one.
EXAMPLES = {
    "name": 'name = "Harrow Fell observatory"',
    "scale": 'scale = "1:20"',
    "risk": "risk = 0.05",
    "invented": "invented = true",
    "max_gap_mm": "max_gap_mm = 0.5",
    "max_angle_deg": "max_angle_deg = 2.0",
    "min_area_mm2": "min_area_mm2 = 4.0",
    "id": 'id = "ring-1"',
    "family": 'family = "PLA"',
    "shrinkage": "shrinkage = 0.002 (0.2 % smaller)",
    "shrinkage_std": "shrinkage_std = 0.0005",
    "expansion_per_k": "expansion_per_k = 70e-6",
    "expansion_std_per_k": "expansion_std_per_k = 8e-6",
    "build_volume_mm": "build_volume_mm = [500, 500, 600]",
    "error": "a [machine.error] table below the machine",
    "scale_x": "scale_x = 0.001 (0.1 % too long)",
    "scale_y": "scale_y = 0.001 (0.1 % too long)",
    "scale_z": "scale_z = 0.001 (0.1 % too long)",
    "skew_xy_deg": "skew_xy_deg = 0.4",
    "skew_xz_deg": "skew_xz_deg = 0.4",
    "skew_yz_deg": "skew_yz_deg = 0.4",
    "boundary_offset_mm": "boundary_offset_mm = 0.05",
    "first_layer_flare_mm": "first_layer_flare_mm = 0.1",
    "repeatability_mm": "repeatability_mm = 0.08",
    "first_layer_height_mm": "first_layer_height_mm = 0.3",
    "std": "std = { scale_x = 0.0005 }",
    "distribution": 'distribution = { scale_x = "uniform" }',
    "mesh": 'mesh = "meshes/frame.glb#ring-1"',
    "machine": 'machine = "tall"',
    "material": 'material = "pla"',
    "unit": 'unit = "mm"',
    "bed": "bed = { euler_xyz_deg = [0, 0, 90] }",
    "compensated": "the table that `dryfit compensate --write` writes",
    "upright_feet_mm": "upright_feet_mm = [400, 380] (spacing along X and along Y)",
    "foot_pitch_mm": "foot_pitch_mm = 1.25",
    "gantry_width_mm": "gantry_width_mm = 520",
    "rests": "rests = [{ euler_xyz_deg = [0, 0, 90] }]",
    "placement": "placement = { euler_xyz_deg = [0, 0, 90], translation_mm = [0, 0, 0] }",
    "euler_xyz_deg": "euler_xyz_deg = [0, 0, 90]",
    "translation_mm": "translation_mm = [0, 0, 0]",
    "like": 'like = "caliper-300"',
    "range_mm": "range_mm = 300",
    "least_mm": "least_mm = 25",
    "resolution_mm": "resolution_mm = 0.01",
    "mpe_mm": "mpe_mm = 0.03",
    "mpe_per_m_mm": "mpe_per_m_mm = 0.1",
    "repeatability_dof": "repeatability_dof = 18",
    "extrusion_width_mm": "extrusion_width_mm = 0.45",
    "overhang_deg": "overhang_deg = 45 (from the vertical)",
    "clearance_mm": "clearance_mm = 5",
    "density_g_per_cm3": "density_g_per_cm3 = 1.24",
    "density_std_g_per_cm3": "density_std_g_per_cm3 = 0.01",
    "shell_mm": "shell_mm = 1.6",
    "infill": "infill = 0.15 (15 % filled)",
    "prototype_mm": "prototype_mm = 4000",
    "prototype_std_mm": "prototype_std_mm = 20",
    "source": 'source = "surveyed, two tapes"',
    "scale_from": 'scale_from = { dimension = "overall.height", model_mm = 1350 }',
    "model_mm": "model_mm = 1350",
    "of": 'of = "drum.height"',
    "ratio": 'ratio = ["drum.height", "dome.rise"]',
    "value": 'value = "12 ft 3 1/2 in", or value = 3746.5 with unit = "mm"',
    "within": 'within = "1/2 in"',
    "limits": 'limits = ["3.64 m", "3.70 m"]',
    "given_at": 'given_at = "model"',
    "date": 'date = "1987-06-12"',
    "reliability": 'reliability = "A"',
    "whole": 'whole = "overall.height"',
    "pairs": 'pairs = [["bay.left", "bay.right"]]',
    "same_as": 'same_as = ["door.width", "door.height"]',
    "part": 'part = "ring-1"',
    "point_mm": "point_mm = [520, 0, 40]",
    "at_mm": "at_mm = [520, 0, 20]",
    "form": 'form = "plane"',
    "size_mm": "size_mm = 12.5",
    "nominal_mm": "nominal_mm = 200",
    "nominal_std_mm": "nominal_std_mm = 0.5",
    "nominal_deg": "nominal_deg = 90",
    "nominal_std_deg": "nominal_std_deg = 0.2",
    "dimension": 'dimension = "drum.height"',
    "deviations_mm": "deviations_mm = [-0.2, 0.2]",
    "deviations_deg": "deviations_deg = [-0.2, 0.2]",
    "iso_286": 'iso_286 = "H8"',
    "iso_2768": 'iso_2768 = "m"',
    "parts": 'parts = ["ring-1", "ring-2"]',
    "locators": 'locators = "pin-and-slot"',
    "locator_points_mm": "locator_points_mm = [[0, 0, 0], [20, 0, 0]]",
    "bond_line_mm": "bond_line_mm = 0.1",
    "press_mm": "press_mm = 0.1",
    "adhesive": 'adhesive = "slow-epoxy"',
    "faces": "a [joint.faces] table below the joint",
    "points_mm": "points_mm = [[0, 0, 0], [20, 0, 0]]",
    "points_on_second_mm": "points_on_second_mm = [[0, 0.1, 0], [20, 0.1, 0]]",
    "normal": "normal = [0, 1, 0]",
    "normals": "normals = [[0, 1, 0], [0, 1, 0]]",
    "kind": 'kind = "gap"',
    "joint": 'joint = "ring-6:ring-1"',
    "direction": "direction = [0, 0, 1]",
    "axis": "axis = [0, 0, 1]",
    "axes": "axes = [[1, 0, 0], [0, 1, 0]]",
    "limits_mm": "limits_mm = [-0.1, 0.4]",
    "limits_deg": "limits_deg = [-0.2, 0.2]",
    "datum": 'datum = "ring-1"',
    "order": 'order = ["ring-1", "ring-2"]',
    "temp_c": "temp_c = 20.0",
    "temp_std_c": "temp_std_c = 2.0",
}

_EXPECTED = {
    "float_type": "a number",
    "int_type": "a whole number",
    "string_type": "a text in quotes",
    "bool_type": "true or false",
    "list_type": "a list in square brackets",
    "dict_type": "a table",
    "model_type": "a table",
    "model_attributes_type": "a table",
}


def explain(error: ValidationError, row: type[Row]) -> Iterator[Finding]:
    """One finding for each error of a row that could not be read, paths relative to the row."""
    for detail in error.errors(include_url=False):
        path: Path = detail["loc"]
        what, do = _explain_one(detail["type"], path, detail["input"], detail.get("ctx", {}), row)
        yield Finding(path, what, do)


def _explain_one(
    kind: str, path: Path, value: Any, context: dict[str, Any], row: type[Row]
) -> tuple[str, str]:
    keys = [step for step in path if isinstance(step, str)]
    # Figures under std or distribution are written in that one line.
    key = keys[-2] if keys[-2:-1] in (["std"], ["distribution"]) else keys[-1] if keys else ""
    if kind == "refused":
        return context["what"], context["do"]
    if kind == "extra_forbidden":
        return f'the key "{key}" is unknown', suggest(key, _find_keys(row, path[:-1]), "keys")
    if kind == "missing":
        return f'the key "{key}" is missing', "add " + (_find_example(key, row) or key)
    if kind in _EXPECTED:
        what = f"{_EXPECTED[kind]} is expected here, not {describe_value(value)}"
        return what, _advise(key, row)
    if kind == "literal_error":
        words = re.findall("'([^']*)'", context["expected"])
        what = f"{describe_value(value)} is not known here"
        return what, suggest(value if isinstance(value, str) else "", words, "possible words")
    return _explain_measure(kind, key, value, context, row)


def _explain_measure(
    kind: str, key: str, value: Any, context: dict[str, Any], row: type[Row]
) -> tuple[str, str]:
    """Numbers out of their range and lists or texts of the wrong length."""
    shown = describe_value(value)
    if kind == "finite_number":
        return f"{shown} is not a finite number", "write a finite number"
    if kind in ("too_short", "too_long"):
        least = "at least " if kind == "too_short" and key in ("points_mm", "normals") else ""
        count = context["min_length"] if kind == "too_short" else context["max_length"]
        noun = "entry is" if count == 1 else "entries are"
        return f"{least}{count} {noun} expected here, not {context['actual_length']}", _advise(key, row)
    if kind == "string_too_short":
        return "the text is empty", _advise(key, row)
    bounds = {
        "greater_than_equal": ("ge", "less than"),
        "greater_than": ("gt", "not more than"),
        "less_than_equal": ("le", "more than"),
        "less_than": ("lt", "not less than"),
    }
    name, words = bounds[kind]
    return f"{shown} is {words} {context[name]:g}", _advise(key, row)


def _find_example(key: str, row: type[Row]) -> str | None:
    return row.examples.get(key) or EXAMPLES.get(key)


def _advise(key: str, row: type[Row]) -> str:
    example = _find_example(key, row)
    return f"write it like {example}" if example else f"mend {key}"


def _find_keys(row: type[BaseModel], path: Path) -> list[str]:
    """The keys that are known in the table at path inside a row."""
    for step in path:
        if isinstance(step, str):
            row = _find_row(row.model_fields[step].annotation)
    return list(row.model_fields)


def _find_row(annotation: Any) -> type[BaseModel]:
    """The row type inside list[...] and ... | None."""
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation
    for inner in get_args(annotation):
        if inner is not type(None):
            return _find_row(inner)
    raise TypeError(f"{annotation} holds no row")
