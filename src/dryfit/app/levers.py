"""What can be varied on a page: machine figures, turns on the bed and bond lines, each with a range."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from dryfit.model.machine import FIGURES, Machine
from dryfit.model.part import Part
from dryfit.model.project import Project

LeverKind = Literal["machine", "turn", "bond line"]

# Least reach of a slider to either side of zero, so that a figure stated as 0 can be varied: what a
# machine that was never qualified may have (common practice, no source), rounded up.
_LEAST_REACH = {
    "scale_x": 0.003,
    "scale_y": 0.003,
    "scale_z": 0.003,
    "skew_xy_deg": 0.3,
    "skew_xz_deg": 0.3,
    "skew_yz_deg": 0.3,
    "boundary_offset_mm": 0.2,
    "first_layer_flare_mm": 0.3,
}
_LEAST_BOND_MM = 0.5
_STEPS = 200
_TURN_STEP_DEG = 5.0


@dataclass(frozen=True, slots=True)
class Lever:
    """One value that a slider moves.

    owner    id of the machine, part or joint
    key      of the document
    address  as a what-if names it
    value    of the document; low, high and step of the slider, all in unit
    before   what stands before the value in a what-if: the other two angles of a bed pose
    """

    kind: LeverKind
    owner: str
    key: str
    unit: str
    value: float
    low: float
    high: float
    step: float
    before: str = ""

    @property
    def address(self) -> str:
        return f"{self.owner}.{self.key}"

    @property
    def place(self) -> float:
        """Where the document's value lies along the slider, 0 to 1."""
        return (self.value - self.low) / (self.high - self.low)

    def change_to(self, value: float) -> str:
        """The what-if that sets this value."""
        return f"{self.address}={self.before}{value:.10g}"


def list_levers(project: Project) -> tuple[Lever, ...]:
    """Everything that a page can vary, machines first."""
    used = {part.machine for part in project.parts}
    machines = [machine for machine in project.machines if machine.id in used]
    return (
        *(lever for machine in machines for lever in _machine_levers(machine)),
        *(_turn(part) for part in project.parts),
        *(
            _bond_line(joint.id, joint.bond_line_mm.value)
            for joint in project.joints
            if joint.bond_line_mm is not None and not joint.proposed
        ),
    )


def _machine_levers(machine: Machine) -> list[Lever]:
    """A flare needs the height of the first layer, so that there is no lever for it without."""
    levers = []
    for name in FIGURES:
        if name == "first_layer_flare_mm" and not machine.error.first_layer_height_mm:
            continue
        value = machine.error.figures[name].value
        reach = max(3.0 * abs(value), _LEAST_REACH[name])
        unit = "deg" if name.endswith("_deg") else "mm" if name.endswith("_mm") else "-"
        levers.append(Lever("machine", machine.id, name, unit, value, -reach, reach, 2.0 * reach / _STEPS))
    return levers


def _turn(part: Part) -> Lever:
    """The last of the extrinsic angles turns the part about the machine's vertical, as it lies on the bed."""
    x, y, z = part.bed.euler_xyz_deg
    low, high = min(-180.0, z), max(180.0, z)
    return Lever("turn", part.id, "bed", "deg", z, low, high, _TURN_STEP_DEG, f"{x:g},{y:g},")


def _bond_line(joint: str, value: float) -> Lever:
    high = max(3.0 * value, _LEAST_BOND_MM)
    return Lever("bond line", joint, "bond_line_mm", "mm", value, 0.0, high, high / _STEPS)
