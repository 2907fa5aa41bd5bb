"""Height of a thing in a single view: formula of Criminisi, Reid and Zisserman, IJCV 40 (2000) 123 (memory).

The figures were made for the project's list of published checks by an independent projection.
"""

from __future__ import annotations

import numpy as np

from dryfit.calc.photo import Horizon, KnownHeight, VanishingPoint, measure_heights, upright_view
from published.registry import check

SOURCE = "Criminisi and others 2000, single view (figures made for the list)"


def test_height_of_the_target() -> None:
    place = np.array([640.0, 6151.28182, 1.0])
    vertical = VanishingPoint(place / np.linalg.norm(place), np.zeros((3, 3)), np.zeros(1), 0.0, 0, None)
    horizon = Horizon(np.array([0.0, 1.0, -303.673019]), np.zeros((3, 3)))
    known = np.array([[[510.69000915, 566.28263107], [503.5066935, 256.02963512]]])
    target = np.array([[[757.43375565, 515.66477151], [762.39215816, 277.71225502]]])
    found = measure_heights(upright_view(vertical, horizon), known, [KnownHeight(1.875, 1e-9)], target, 1e-6)
    check(SOURCE, "height", 1.788, found.sizes.values_mm[0], 1e-6, seen=False)
