"""Alignment by stated datums, one after another: each takes what those before it left free."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from dryfit.base.arrays import Array
from dryfit.calc.scans.rigid import STILL, RigidMotion, small_motion

DatumForm = Literal["plane", "cylinder", "sphere"]
_ROUNDS = 12
_HELD = 1e-3  # singular value over the largest below which a datum holds nothing in a direction


@dataclass(frozen=True, slots=True, eq=False)
class DatumElement:
    """A datum as the part has it and as the scan shows it, both in the part's frame.

    point_mm, direction          (3,) of the part: on the plane or axis, or the centre; unit normal or axis
    found_point_mm, found_direction  (3,) the same on the scan
    size_mm      of the face: turns of its direction count as this times the angle
    point_std_mm, tilt_std_rad   standard uncertainties of what was found
    """

    form: DatumForm
    point_mm: Array
    direction: Array
    found_point_mm: Array
    found_direction: Array
    size_mm: float
    point_std_mm: float
    tilt_std_rad: float


@dataclass(frozen=True, slots=True, eq=False)
class DatumAlignment:
    """The motion that brings the datums of the scan to those of the part.

    motion      from the scan as it was laid to where the datums put it
    covariance  (6, 6) [mm2] of a step about the middle, turns times length_mm
    free        (6, k) directions that the datums leave; the scan stays as it was in those
    held        (d,) how many motions each datum took
    """

    motion: RigidMotion
    covariance: Array
    free: Array
    held: tuple[int, ...]


def align_by_datums(
    elements: Sequence[DatumElement], middle: Array, length_mm: float, start: RigidMotion = STILL
) -> DatumAlignment:
    """Lay the scan on the part by its datums: the first as well as it goes, the next in what that leaves.

    middle (3,) [mm] about which turns are counted; length_mm: a turn of 1 / length_mm counts as 1 mm
    Source: order of precedence of datums, ISO 5459 (memory); least squares step by step in the space that the
    datums before leave.
    """
    motion = start
    solved = _solve(elements, motion, middle, length_mm)
    for _ in range(_ROUNDS):
        step = np.concatenate([solved[0][:3] / length_mm, solved[0][3:]])
        motion = small_motion(step, middle).after(motion)
        solved = _solve(elements, motion, middle, length_mm)
        if float(np.linalg.norm(solved[0])) < 1e-10 * length_mm:
            break
    _, gain, std, free, held = solved
    covariance = (gain * std**2) @ gain.T
    return DatumAlignment(motion, covariance, free, held)


def _solve(
    elements: Sequence[DatumElement], motion: RigidMotion, middle: Array, length: float
) -> tuple[Array, Array, Array, Array, tuple[int, ...]]:
    """Step (6,), its gain on the departures, their std, what is left free, and what each datum took."""
    space, step = np.eye(6), np.zeros(6)
    stds = [_stds(element) for element in elements]
    total = sum(len(item) for item in stds)
    gain, held, at = np.zeros((6, total)), [], 0
    for element in elements:
        rows, departure = _rows(element, motion, middle, length)
        mine = np.zeros((len(departure), total))
        mine[:, at : at + len(departure)] = np.eye(len(departure))
        left, values, right = np.linalg.svd(rows @ space, full_matrices=True)
        rank = int((values > _HELD).sum()) if len(values) else 0
        inverse = right[:rank].T @ (left[:, :rank] / values[:rank]).T
        step = step - space @ inverse @ (departure + rows @ step)
        gain = gain - space @ inverse @ (mine + rows @ gain)
        space = space @ right[rank:].T
        held.append(rank)
        at += len(departure)
    return step, gain, np.concatenate(stds), space, tuple(held)


def _stds(element: DatumElement) -> Array:
    tilt, place = element.tilt_std_rad * element.size_mm, element.point_std_mm
    counts = {"plane": [tilt, tilt, place], "cylinder": [tilt, tilt, place, place], "sphere": [place] * 3}
    return np.array(counts[element.form])


def _rows(element: DatumElement, motion: RigidMotion, middle: Array, length: float) -> tuple[Array, Array]:
    """How the departures (k,) [mm] of a datum from its place go with a step, and the departures."""
    point = motion.apply(element.found_point_mm[None])[0]
    direction = motion.rotation @ element.found_direction
    if element.form == "sphere":
        axes = np.eye(3)
    else:
        guide = np.eye(3)[int(np.argmin(np.abs(element.direction)))]
        u = np.cross(element.direction, guide)
        u = u / np.linalg.norm(u)
        axes = np.array([u, np.cross(element.direction, u)])
    rows, departures = [], []
    if element.form != "sphere":
        scale = element.size_mm
        for axis in axes:
            rows.append(np.concatenate([scale * np.cross(direction, axis) / length, np.zeros(3)]))
            departures.append(scale * float(axis @ direction))
    along = element.direction[None] if element.form == "plane" else axes
    for axis in along:
        rows.append(np.concatenate([np.cross(point - middle, axis) / length, axis]))
        departures.append(float((point - element.point_mm) @ axis))
    return np.array(rows), np.array(departures)
