"""Recorded values: what the program gave when they were written down, not what is right.

A change here is either a fault or a line under "Numbers that changed" in the changelog.
"""

import pytest

from building import Assembled, box_frame, by_id, forecast, machine, ring
from dryfit.base.estimate import Estimate

FRAME = box_frame(
    (
        machine(
            "one", 0.05, skew_xy_deg=Estimate(0.3, 0.05), skew_xz_deg=Estimate(0.2, 0.03), scale_z=-0.002
        ),
        machine(
            "two",
            0.08,
            skew_yz_deg=Estimate(0.25, 0.1),
            scale_x=0.003,
            boundary_offset_mm=Estimate(0.1, 0.02),
        ),
    ),
    ((0.0, 0.0, 0.0), (90.0, 0.0, 0.0), (0.0, 0.0, 90.0)),
)
RING = ring(
    6, machine("m", 0.05, skew_xy_deg=Estimate(0.1, 0.02)), "same", "tall", turn_deg=10.0, play_mm=0.05
)
# predicted, std
RECORDED: dict[str, dict[str, tuple[float, float]]] = {
    "frame": {
        "diagonal": (877.549617, 1.251038),
        "height": (500.891628, 0.555430),
        "square": (0.004968, 0.216538),
    },
    "ring": {
        "gap": (5.180763, 3.909151),
        "step": (-0.013963, 2.179163),
        "climb": (0.0, 10.876954),
    },
}


@pytest.mark.parametrize(("name", "assembled"), [("frame", FRAME), ("ring", RING)])
def test_forecast_is_as_recorded(name: str, assembled: Assembled) -> None:
    items = by_id(forecast(assembled))
    assert set(items) == set(RECORDED[name])
    for id, (value, std) in RECORDED[name].items():
        assert items[id].predicted == pytest.approx(value, abs=2e-6)
        assert items[id].std == pytest.approx(std, abs=2e-6)
