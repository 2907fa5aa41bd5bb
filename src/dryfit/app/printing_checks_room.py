"""Does a part fit the build volume in its pose, and if not, how would it?"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from dryfit.app.geometry import PartShape
from dryfit.calc.printability import Fit, fit_in_pose, poses_that_fit, room_of
from dryfit.model.finding import Finding
from dryfit.model.machine import Machine
from dryfit.model.part import Part

TOPIC = "build volume"


def check_room(machine: Machine, part: Part, shape: PartShape) -> Iterator[Finding]:
    """One finding: the part as modelled, in its pose, against the room that clearance leaves."""
    is_used = np.zeros(len(shape.mesh.vertices), dtype=np.bool_)
    is_used[shape.mesh.faces.ravel()] = True
    points = shape.mesh.vertices[is_used] @ part.placement.rotation
    clearance = machine.clearance_mm or 0.0
    room = room_of(machine.build_volume_mm, clearance)
    fit = fit_in_pose(points, part.bed.euler_xyz_deg, room)
    kept = _words_of_clearance(machine)
    size = " x ".join(f"{value:.1f}" for value in fit.extent_mm)
    if fit.fits:
        what = (
            f"{size} mm as modelled, {_positive(fit.spare_mm):.1f} mm to spare on machine {machine.id}{kept}"
        )
        yield Finding(TOPIC, (part.id,), "pass", what, amount=fit.spare_mm, unit="mm")
        return
    over = fit.extent_mm - room
    axes = ", ".join(
        f"{axis} by {value:.1f} mm" for axis, value in zip("XYZ", over, strict=True) if value > 0
    )
    yield Finding(
        TOPIC,
        (part.id,),
        "stop",
        f"in its pose, {size} mm as modelled, it is larger than machine {machine.id}: {axes}{kept}",
        _what_would_fit(
            poses_that_fit(points, machine.build_volume_mm, clearance, part.bed.euler_xyz_deg), machine
        ),
        amount=fit.spare_mm,
        unit="mm",
    )


def _words_of_clearance(machine: Machine) -> str:
    if machine.clearance_mm is None:
        return "; clearance_mm is not stated, so that none was kept from its sides"
    return f", {machine.clearance_mm:g} mm kept from its sides"


def _what_would_fit(fits: tuple[Fit, ...], machine: Machine) -> str:
    best = fits[0]
    pose = f"bed = {{ euler_xyz_deg = [{', '.join(f'{angle:g}' for angle in best.euler_xyz_deg)}] }}"
    if not best.fits:
        return (
            "it fits in none of the 24 right-angle turns and in no turn about the vertical; nearest is "
            f"{pose}, {-best.spare_mm:.1f} mm too long: divide it, or print it on a larger machine than {machine.id}"
        )
    others = len(fits) - 1
    more = f"; so do {others} more of the poses looked at" if others else ""
    return f"{pose} fits, {_positive(best.spare_mm):.1f} mm to spare{more}"


def _positive(spare_mm: float) -> float:
    """Rounding below zero shows as 0.0."""
    return max(spare_mm, 0.0)
