"""What if: the project with some of its values changed, without touching the document."""

from __future__ import annotations

import difflib
import math
import re
from collections.abc import Sequence
from dataclasses import replace
from typing import TypeVar, get_args

from dryfit.base.errors import DryfitError, ReferenceUnknown
from dryfit.base.estimate import Estimate
from dryfit.model.joint import Joint, Locators
from dryfit.model.machine import FIGURES, ErrorModel, Machine
from dryfit.model.material import Material
from dryfit.model.part import Bed, Part
from dryfit.model.project import COLDEST_C, HOTTEST_C, Project

_MACHINE_KEYS = (*FIGURES, "repeatability_mm")
_MATERIAL_KEYS = ("shrinkage", "expansion_per_k")
_PART_KEYS = ("bed", "machine", "material")
_JOINT_KEYS = ("bond_line_mm", "contact_play_mm", "locator_play_mm", "locators", "locator_axis", "role")
_ASSEMBLY_KEYS = ("temp_c",)

# Open ranges, the same as the document allows: beyond them a figure is a slip of the pen.
_RANGES: dict[str, tuple[float, float]] = {
    **dict.fromkeys(("scale_x", "scale_y", "scale_z", "shrinkage"), (-0.5, 0.5)),
    **dict.fromkeys(("skew_xy_deg", "skew_xz_deg", "skew_yz_deg"), (-45.0, 45.0)),
    "expansion_per_k": (-0.01, 0.01),
}

_T = TypeVar("_T")


class WhatIfRefused(DryfitError):
    """A what-if that names nothing in the project or gives no usable value."""


def apply_what_if(project: Project, changes: Sequence[str]) -> Project:
    """The project with changes like "tall.skew_xz_deg=0", "ring:crown.bond_line_mm=0.1+-0.02", "ring-1.bed=0,0,90".

    A value alone keeps the standard uncertainty of the document; "value+-std" changes both.
    Raises ReferenceUnknown or WhatIfRefused.
    """
    for change in changes:
        project = _apply(project, change)
    return project


def _apply(project: Project, change: str) -> Project:
    address, mark, value = change.partition("=")
    if not mark or not value.strip():
        raise WhatIfRefused(
            "a what-if needs a name and a value", f'what-if "{change}"', "write it like tall.skew_xz_deg=0"
        )
    owner, key = _find(project, address.strip(), change)
    return _set(project, owner, key, value.strip(), change)


_Owner = Machine | Material | Part | Joint | None


def _candidates(project: Project) -> dict[str, tuple[_Owner, str]]:
    found: dict[str, tuple[_Owner, str]] = {f"assembly.{key}": (None, key) for key in _ASSEMBLY_KEYS}
    groups: tuple[tuple[Sequence[Machine | Material | Part | Joint], Sequence[str]], ...] = (
        (project.machines, _MACHINE_KEYS),
        (project.materials, _MATERIAL_KEYS),
        (project.parts, _PART_KEYS),
        (project.joints, _JOINT_KEYS),
    )
    for owners, keys in groups:
        for owner in owners:
            found.update({f"{owner.id}.{key}": (owner, key) for key in keys})
    return found


def _find(project: Project, address: str, change: str) -> tuple[_Owner, str]:
    found = _candidates(project)
    if address in found:
        return found[address]
    nearest = difflib.get_close_matches(address, list(found), n=3, cutoff=0.4)
    raise ReferenceUnknown(
        f'"{address}" names nothing that can be varied',
        f'what-if "{change}"',
        f"nearest: {', '.join(nearest)}"
        if nearest
        else "name a machine, material, part or joint and its key",
    )


def _set(project: Project, owner: _Owner, key: str, value: str, change: str) -> Project:
    if owner is None:
        old = project.assembly.temp_c
        temp = _estimate(value, old, change)
        if not COLDEST_C <= temp.value <= HOTTEST_C:
            raise _refuse(
                f"no printed part is at less than {COLDEST_C:g} C or more than {HOTTEST_C:g} C", change
            )
        return replace(project, assembly=replace(project.assembly, temp_c=temp))
    if isinstance(owner, Machine):
        machine = replace(owner, error=_set_figure(owner.error, key, value, change))
        return replace(project, machines=_swap(project.machines, owner, machine))
    if isinstance(owner, Material):
        if key == "shrinkage":
            material = replace(
                owner, shrinkage=_within(key, _estimate(value, owner.shrinkage, change), change)
            )
        else:
            expansion = _within(key, _estimate(value, owner.expansion_per_k, change), change)
            material = replace(owner, expansion_per_k=expansion)
        return replace(project, materials=_swap(project.materials, owner, material))
    if isinstance(owner, Part):
        return replace(
            project, parts=_swap(project.parts, owner, _set_part(project, owner, key, value, change))
        )
    return replace(project, joints=_swap(project.joints, owner, _set_joint(owner, key, value, change)))


def _swap(items: tuple[_T, ...], old: _T, new: _T) -> tuple[_T, ...]:
    return tuple(new if item is old else item for item in items)


def _set_figure(model: ErrorModel, key: str, value: str, change: str) -> ErrorModel:
    if key == "repeatability_mm":
        std = _number(value, change)
        if std < 0:
            raise _refuse("a repeatability cannot be negative", change)
        return replace(model, repeatability_mm=std)
    estimate = _within(key, _estimate(value, model.figures[key], change), change)
    if key == "first_layer_flare_mm" and estimate != Estimate(0.0) and not model.first_layer_height_mm:
        raise _refuse("a flare needs first_layer_height_mm", change, "state it in [machine.error]")
    # The figure counts as stated now, or the list of assumptions would deny it.
    exact = tuple(name for name in FIGURES if name in (*model.exact, *model.unstated))
    return replace(
        model,
        figures={**model.figures, key: estimate},
        unstated=tuple(name for name in model.unstated if name != key),
        exact=tuple(name for name in exact if _is_exact(name, key, estimate, model)),
    )


def _is_exact(name: str, key: str, estimate: Estimate, model: ErrorModel) -> bool:
    return estimate.std == 0.0 if name == key else name in model.exact


def _set_part(project: Project, part: Part, key: str, value: str, change: str) -> Part:
    if key == "bed":
        angles = [_number(piece, change) for piece in value.split(",")]
        if len(angles) != 3:
            raise _refuse("a bed pose has three angles", change, "write it like ring-1.bed=0,0,90")
        x, y, z = angles
        return replace(part, bed=Bed((x, y, z)), bed_stated=True)
    ids = [item.id for item in (project.machines if key == "machine" else project.materials)]
    _choose(value, ids, change)
    return replace(part, machine=value) if key == "machine" else replace(part, material=value)


def _set_joint(joint: Joint, key: str, value: str, change: str) -> Joint:
    if key == "locators":
        _choose(value, get_args(Locators), change)
        return replace(joint, locators=value, locator_points_mm=None)  # type: ignore[arg-type]
    if key == "locator_axis":
        _choose(value, ("long", "short"), change)
        return replace(joint, locator_axis=value, locator_points_mm=None)  # type: ignore[arg-type]
    if key == "role":
        _choose(value, ("locating", "closing"), change)
        return replace(joint, role=value)  # type: ignore[arg-type]
    if key == "bond_line_mm":
        bond = _estimate(value, joint.bond_line_mm or Estimate(0.0), change)
        if bond.value < 0:
            raise _refuse("a bond line cannot be negative", change)
        return replace(joint, bond_line_mm=bond)
    std = _number(value, change)
    if std < 0:
        raise _refuse("a play cannot be negative", change)
    play = Estimate(0.0, std)
    if key == "contact_play_mm":
        return replace(joint, contact_play_mm=play)
    return replace(joint, locator_play_mm=play)


def _choose(value: str, allowed: Sequence[str], change: str) -> None:
    if value not in allowed:
        raise _refuse(f'"{value}" is not possible here', change, f"choose one of {', '.join(allowed)}")


def _estimate(value: str, old: Estimate, change: str) -> Estimate:
    center, mark, std = re.sub("±", "+-", value).partition("+-")
    if not mark:
        return replace(old, value=_number(center, change))
    spread = _number(std, change)
    if spread < 0:
        raise _refuse("a standard uncertainty cannot be negative", change)
    return replace(old, value=_number(center, change), std=spread)


def _within(key: str, estimate: Estimate, change: str) -> Estimate:
    low, high = _RANGES.get(key, (-math.inf, math.inf))
    if not low < estimate.value < high:
        raise _refuse(f"{key} must lie between {low:g} and {high:g}", change)
    return estimate


def _number(text: str, change: str) -> float:
    try:
        number = float(text)
    except ValueError as error:
        raise _refuse(f'"{text.strip()}" is not a number', change) from error
    if not math.isfinite(number):
        raise _refuse(f'"{text.strip()}" is not a finite number', change)
    return number


def _refuse(what: str, change: str, do: str = "write it like tall.skew_xz_deg=0 or 0+-0.02") -> WhatIfRefused:
    return WhatIfRefused(what, f'what-if "{change}"', do)
