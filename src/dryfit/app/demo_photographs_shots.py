"""The five pictures of the invented observatory.

The seeds are of draws in which every size lies within its 95 % interval and nothing is suspect. Of other draws about
one size in twenty lies outside, as it should, and one set of pictures in ten has something that is named by chance.
"""

from __future__ import annotations

import numpy as np

from dryfit.app.demo_photographs_camera import Shot, look_at
from dryfit.calc.photo import Lens
from dryfit.calc.picture import Taken

# A telephone writes 26 mm for 1202 px; what its lens really has is one per cent more.
_PHONE_PX = 1214.0
_PHONE = ('lens = "telephone"',)
_PACED = (
    "# From the face of the stair tower to the gate, where the camera stood.",
    "distance_mm = 42700",
    "distance_std_mm = 500",
)
_PHONE_BENT = (-0.052, 0.018, 0.0004, -0.0003)


def _phone(width_px: int, height_px: int) -> Lens:
    middle = np.array([0.5 * (width_px - 1) + 6.0, 0.5 * (height_px - 1) - 4.0])
    return Lens(_PHONE_PX, middle, *_PHONE_BENT)


def _at(x: float, y: float, z: float) -> np.ndarray:
    return 1000.0 * np.array([x, y, z])


def list_shots() -> tuple[Shot, ...]:
    """Three by one telephone, a postcard and an old print, both scanned."""
    telephone = Taken(focal_mm=4.3, focal_35_mm=26.0, width_px=1600, height_px=1200)
    return (
        Shot(
            "left",
            "left.jpg",
            1600,
            1200,
            _phone(1600, 1200),
            look_at(_at(30.0, -13.0, 1.6), _at(3.0, 2.8, 5.6), 0.7),
            "2024-06-02",
            _PHONE,
            taken=telephone,
            seed=101,
        ),
        Shot(
            "right",
            "right.jpg",
            1600,
            1200,
            _phone(1600, 1200),
            look_at(_at(29.0, 19.0, 1.7), _at(3.0, 3.6, 5.6), -0.9),
            "2024-06-02",
            _PHONE,
            taken=telephone,
            seed=102,
        ),
        Shot(
            "steps",
            "steps.jpg",
            1200,
            1600,
            _phone(1200, 1600),
            look_at(_at(35.0, 5.0, 4.2), _at(3.0, 5.2, 6.4), 0.5),
            "2024-06-02",
            _PHONE,
            6,
            telephone,
            seed=103,
        ),
        Shot(
            "postcard",
            "postcard.jpg",
            1600,
            1200,
            Lens(1930.0, np.array([806.0, 594.0]), -0.03),
            look_at(_at(46.0, 8.0, 2.0), _at(3.0, 6.6, 6.3), 0.3),
            "1962",
            _PACED,
            is_toned=True,
            seed=104,
        ),
        Shot(
            "print",
            "print.jpg",
            1600,
            1200,
            Lens(1480.0, np.array([796.0, 604.0]), -0.04),
            look_at(_at(26.0, 30.0, 1.5), _at(4.0, 6.0, 6.0), -0.4),
            "1934",
            is_toned=True,
            seed=106,
        ),
    )
