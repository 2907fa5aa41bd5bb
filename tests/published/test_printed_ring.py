"""Printed ring: a ring of N segments from a machine out of square.

The exact figures come from an independent Gauss-Newton placement made apart from this program (no
publication), printed to three decimals. The closed forms are first order and derived as follows. A segment
whose middle lies at the angle m from the machine's X axis turns, seen as a rigid link, its end face against
its first face by g sin(360/N) sin(2m); N such turns at radius r open the ring by N g r sin(360/N) sin(2m).
An XZ fault leans the upright line through a tall pin and slot by g cos(angle of the face); the difference
over one segment makes the next one climb, N g r (1 - cos(360/N)) in all when the first face lies along X.
"""

import numpy as np
import pytest

from building import by_id, forecast, machine, ring
from building.ring import MEAN_MM, Layout, Pose
from published.registry import check

EXACT = "Printed ring, independent Gauss-Newton placement"
CLOSED = "Printed ring, closed form to first order"
FAULT_DEG = 0.5
HALF_DIGIT = 0.0005001

# N, pose, layout, fault: mean gap, step along the radius, height at the closing joint [mm]
FIGURES: list[tuple[int, str, Pose, Layout, float, float | None, float | None]] = [
    (4, "skew_xy_deg", "same", "radial", 20.245, -0.177, 0.0),
    (6, "skew_xy_deg", "same", "radial", 22.818, -0.263, 0.0),
    (8, "skew_xy_deg", "same", "radial", 20.289, -0.204, 0.0),
    (4, "skew_xy_deg", "assembled", "radial", 0.0, None, None),
    (6, "skew_xy_deg", "assembled", "radial", 0.0, None, None),
    (8, "skew_xy_deg", "assembled", "radial", 0.0, None, None),
    (4, "skew_xy_deg", "alternate", "radial", 0.0, None, None),
    (6, "skew_xy_deg", "alternate", "radial", 0.0, None, None),
    (8, "skew_xy_deg", "alternate", "radial", 0.0, None, None),
    (4, "skew_xz_deg", "same", "radial", -0.044, None, 0.0),
    (6, "skew_xz_deg", "same", "radial", -0.086, None, 0.0),
    (8, "skew_xz_deg", "same", "radial", -0.107, None, 0.0),
    (4, "skew_xz_deg", "same", "tall", -0.353, None, 20.243),
    (6, "skew_xz_deg", "same", "tall", -0.287, None, 15.182),
    (8, "skew_xz_deg", "same", "tall", -0.235, None, 11.858),
]


@pytest.mark.parametrize(("count", "fault", "pose", "layout", "gap", "step", "climb"), FIGURES)
def test_exact_closure(
    count: int, fault: str, pose: Pose, layout: Layout, gap: float, step: float | None, climb: float | None
) -> None:
    report = by_id(forecast(ring(count, machine(**{fault: FAULT_DEG}), pose, layout)))
    case = f"N {count}, {fault[5:7].upper()}, {pose}, {layout}"
    for name, theirs in (("gap", gap), ("step", step), ("climb", climb)):
        if theirs is not None:
            check(EXACT, f"{name}, {case}", theirs, report[name].predicted, HALF_DIGIT, seen=False, unit="mm")


def test_corners_of_the_closing_gap() -> None:
    from dryfit.app.forecast import place_chain

    chain = ring(4, machine(skew_xy_deg=FAULT_DEG)).chain
    poses = place_chain(chain)
    table = chain.structure.table
    rows = np.nonzero((table.joint == 3) & table.is_face)[0]
    carried = table.direction[rows] @ poses.rotation[3].T
    gaps = np.einsum("ij,ij->i", carried, poses.x_second[rows] - poses.x_first[rows])
    check(EXACT, "smallest corner gap, N 4", 19.547, gaps.min(), HALF_DIGIT, seen=False, unit="mm")
    check(EXACT, "largest corner gap, N 4", 20.943, gaps.max(), HALF_DIGIT, seen=False, unit="mm")


def linear_value(report_id: str, *args: object, **kwargs: object) -> float:
    item = by_id(forecast(ring(*args, **kwargs)))[report_id]  # type: ignore[arg-type]
    return item.predicted + item.linear_minus_exact


@pytest.mark.parametrize("count", [4, 6, 8])
@pytest.mark.parametrize("turn_deg", [0.0, 20.0, 45.0, 100.0])
def test_gap_of_an_xy_fault_to_first_order(count: int, turn_deg: float) -> None:
    ours = linear_value("gap", count, machine(skew_xy_deg=FAULT_DEG), turn_deg=turn_deg)
    middle = np.radians(180.0 / count + turn_deg)
    theirs = count * np.radians(FAULT_DEG) * MEAN_MM * np.sin(2 * np.pi / count) * np.sin(2 * middle)
    check(CLOSED, f"gap, N {count}, turned by {turn_deg:g}", theirs, ours, 1e-9, seen=False, unit="mm")


@pytest.mark.parametrize("count", [4, 6, 8])
def test_climb_of_an_xz_fault_to_first_order(count: int) -> None:
    ours = linear_value("climb", count, machine(skew_xz_deg=FAULT_DEG), "same", "tall")
    theirs = count * np.radians(FAULT_DEG) * MEAN_MM * (1.0 - np.cos(2 * np.pi / count))
    check(CLOSED, f"climb, N {count}", theirs, ours, 1e-9, seen=False, unit="mm")
