"""A plain set of measures, as a body of blocks and uprights would offer them, and readings of a simulated print.

Invented: no body, machine or reading of anybody's.
"""

import numpy as np

from dryfit.app.reading_model import Taken, model_readings
from dryfit.base.estimate import Estimate
from dryfit.model.artefact import Measure
from dryfit.model.instrument import Instrument
from dryfit.model.machine import FIGURES
from dryfit.model.material import Material

CALIPER = Instrument("caliper", "caliper", 320.0, 0.01, 0.03, repeatability_mm=0.02)
RULE = Instrument("rule", "steel rule", 1000.0, 0.5, 0.15, 0.1, repeatability_mm=0.2)
SQUARE = Instrument("square", "square", 300.0, 0.05, 0.03, repeatability_mm=0.02)
PLA = Material("pla", "PLA", Estimate(0.0, 0.0002), Estimate(7e-5, 7e-6), (), Estimate(1.24, 0.01))
AXES = np.eye(3)


def measures(size=(460.0, 460.0, 560.0), caliper=300.0):
    """Outside, inside and step lengths in each axis, diagonals in each plane, and gaps of a square both ways."""
    found = []

    def add(kind, ends, first, second, **keys):
        number = len(found) + 1
        points = {
            name: tuple(map(float, value))
            for name, value in keys.items()
            if name.endswith("out") or name == "toward"
        }
        flags = {name: value for name, value in keys.items() if name not in points}
        found.append(
            Measure(
                number,
                f"{kind}-{number}",
                kind,
                ends,
                tuple(map(float, first)),
                tuple(map(float, second)),
                **points,
                **flags,
            )
        )

    for axis in (0, 1):
        u = AXES[axis]
        for share in (0.1, 0.25, 0.45, 0.65):
            length = min(share * size[axis], caliper)
            start = 20 * AXES[1 - axis]
            add("outside", "faces", start, start + length * u, first_out=-u, second_out=u)
            add("inside", "faces", start, start + 0.9 * length * u, first_out=u, second_out=-u)
            add("step", "faces", start, start + 0.8 * length * u, first_out=u, second_out=u)
        add(
            "outside",
            "faces",
            0 * u,
            60 * u,
            first_out=-u,
            second_out=u,
            first_is_low=True,
            second_is_low=True,
        )
        add(
            "outside",
            "faces",
            0 * u,
            150 * u,
            first_out=-u,
            second_out=u,
            first_is_low=True,
            second_is_low=True,
        )
        add("outside", "faces", 0 * u, size[axis] * u, first_out=-u, second_out=u)
    for share in (0.1, 0.2, 0.3, 0.5):
        height = min(share * size[2], caliper)
        add("height", "faces", (0, 0, 0), (0, 0, height), from_bed=True)
        add("step", "faces", (0, 0, 10), (0, 0, 10 + 0.9 * height))
    add("height", "faces", (0, 0, 10), (0, 0, size[2]))
    for one, other in ((0, 1), (0, 2), (1, 2)):
        for sign in (1, -1):
            reach = 0.68 * caliper
            span = reach * AXES[one] + sign * reach * AXES[other]
            add("diagonal", "points", (0, 0, 0), span)
            long = size[one] * AXES[one] + sign * size[other] * AXES[other]
            add("diagonal", "points", (0, 0, 0), long)
    for axis in (0, 1):
        for sign in (1, -1):
            for height in (150.0, 290.0):
                add("square", "points", (0, 0, 0), (0, 0, height), toward=sign * AXES[axis])
    return tuple(found)


def plan(found, repeats=2, temp_c=20.0, instruments=(CALIPER, RULE, SQUARE)):
    """Every measure with the first instrument that reads it."""
    taken = []
    for measure in found:
        able = [item for item in instruments if item.can_read(measure.kind, measure.length_mm)]
        taken += [Taken(measure, able[0], temp_c)] * repeats
    return taken


def simulate(taken, figures, scatter, rng, material=PLA, round_off=True):
    """Displayed values (n,): instruments depart within their permissible error, points and hands scatter."""
    model = model_readings(taken, material)
    unknowns = np.zeros(len(model.names))
    unknowns[: len(FIGURES)] = figures
    for place, mean, std, name in zip(
        model.prior_index, model.prior_mean, model.prior_std, model.names[len(FIGURES) :], strict=True
    ):
        if name.endswith((" zero", " scale")):
            unknowns[place] = rng.uniform(-1, 1) * std * np.sqrt(3.0)
        else:
            unknowns[place] = mean + std * rng.standard_normal()
    values, _ = model.predict(unknowns)
    values = values + np.sqrt(2.0) * scatter * rng.standard_normal(len(model.measures))[model.measure]
    steps = np.array([item.instrument.resolution_mm for item in taken])
    # What an instrument is said to repeat within is what it displays, rounding and all.
    rounding = steps**2 / 12 - np.diag(model.shared)
    hand = np.sqrt(np.maximum(model.alone - rounding, 0.0))
    values = values / model.correction + hand * rng.standard_normal(len(values))
    if round_off:
        values = np.round(values / steps) * steps
    return values
