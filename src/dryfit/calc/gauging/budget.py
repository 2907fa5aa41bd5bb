"""The uncertainty budget of one reading: what it is made of, and what it comes to."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from dryfit.base.estimate import Estimate
from dryfit.base.freedom import effective_dof
from dryfit.model.instrument import Instrument
from dryfit.model.project import REFERENCE_TEMP_C

# Common practice, no source: a thermometer in the room tells the temperature of body and instrument within 1 K.
TEMP_STD_K = 1.0


@dataclass(frozen=True, slots=True)
class Component:
    """One cause of the uncertainty of a reading.

    std          standard uncertainty of the cause, in its own unit
    unit         of std: "mm", "mm/mm", "K", "1/K"
    sensitivity  by how much the reading moves, mm per unit of the cause
    dof          degrees of freedom of std; infinite where it was taken as known
    is_shared    all readings of the instrument have it alike, so that no repeat averages it out
    basis        how std was found, in words
    """

    name: str
    std: float
    unit: str
    sensitivity: float
    dof: float
    is_shared: bool
    basis: str

    @property
    def contribution_mm(self) -> float:
        """Standard uncertainty of the reading by this cause alone."""
        return abs(self.sensitivity) * self.std


@dataclass(frozen=True, slots=True)
class Budget:
    """The components of a reading, and their sum.

    std_mm  combined standard uncertainty [mm]
    dof     effective degrees of freedom of it
    """

    components: tuple[Component, ...]
    std_mm: float
    dof: float

    @property
    def own_std_mm(self) -> float:
        """The part that is each reading's own, so that repeats average it out [mm]."""
        own = [item.contribution_mm for item in self.components if not item.is_shared]
        return math.hypot(*own)

    def share(self, component: Component) -> float:
        """Share of a component in the variance; 0 where there is no uncertainty at all."""
        return 0.0 if self.std_mm == 0.0 else (component.contribution_mm / self.std_mm) ** 2


def combine(components: Sequence[Component]) -> Budget:
    """The sum of independent components.

    Source: JCGM 100:2008, 5.1.2 (combined standard uncertainty) and G.4.1 (degrees of freedom).
    """
    contributions = np.array([item.contribution_mm for item in components], dtype=np.float64)
    std = float(np.sqrt((contributions**2).sum()))
    dof = np.array([item.dof for item in components], dtype=np.float64)
    return Budget(tuple(components), std, effective_dof(contributions, dof) if std > 0.0 else math.inf)


def reading_budget(
    instrument: Instrument,
    length_mm: float,
    expansion_per_k: Estimate | None = None,
    temp_c: float | None = None,
    temp_std_k: float = TEMP_STD_K,
) -> Budget:
    """The uncertainty of one reading of a length with an instrument; of a square its height.

    expansion_per_k : of the body that is read; None: no component of temperature
    temp_c : of body and instrument; None: not taken, so the reading is not corrected and the components of
        temperature are left out, which the caller has to say
    Raises ValueError where the length is not positive.
    Source: JCGM 100:2008, 4.3.7 (limits as a rectangular distribution), F.2.2.1 (resolution), 5.1.2.
    """
    if not length_mm > 0:
        raise ValueError("a reading is of a length above zero")
    components = [
        Component(
            "resolution",
            instrument.resolution_mm / math.sqrt(12.0),
            "mm",
            1.0,
            math.inf,
            False,
            f"step of {instrument.resolution_mm:g} mm, rectangular",
        ),
        Component(
            "repeatability",
            instrument.repeatability_mm,
            "mm",
            1.0,
            instrument.repeatability_dof,
            False,
            instrument.repeatability_from,
        ),
        *_instrument_components(instrument, length_mm),
    ]
    if temp_c is not None and expansion_per_k is not None and "square" not in instrument.measures:
        components += _temperature_components(instrument, length_mm, expansion_per_k, temp_c, temp_std_k)
    return combine(components)


def _instrument_components(instrument: Instrument, length_mm: float) -> list[Component]:
    """The maximum permissible error as limits of rectangular distributions: at zero, and by length."""
    is_square = "square" in instrument.measures
    zero = Component(
        "departure of the square" if is_square else "zero of the instrument",
        instrument.mpe_mm / math.sqrt(3.0),
        "mm",
        length_mm / instrument.range_mm if is_square else 1.0,
        math.inf,
        True,
        f"permissible error {instrument.mpe_mm:g} mm{' at the tip' if is_square else ''}, rectangular",
    )
    if instrument.mpe_per_m_mm == 0.0:
        return [zero]
    scale = Component(
        "scale of the instrument",
        instrument.mpe_per_m_mm / 1000.0 / math.sqrt(3.0),
        "mm/mm",
        length_mm,
        math.inf,
        True,
        f"permissible error {instrument.mpe_per_m_mm:.3g} mm per m, rectangular",
    )
    return [zero, scale]


def _temperature_components(
    instrument: Instrument, length_mm: float, body: Estimate, temp_c: float, temp_std_k: float
) -> list[Component]:
    """Of value (1 + (a_instrument - a_body) (T - 20)): by the temperature, and by the body's expansion."""
    return [
        Component(
            "temperature",
            temp_std_k,
            "K",
            length_mm * (instrument.expansion_per_k - body.value),
            math.inf,
            True,
            f"temperature known within {temp_std_k:g} K (common practice, no source)",
        ),
        Component(
            "expansion of the body",
            body.std,
            "1/K",
            -length_mm * (temp_c - REFERENCE_TEMP_C),
            math.inf,
            True,
            f"expansion {body.value:.3g} 1/K, {temp_c - REFERENCE_TEMP_C:+.1f} K from 20 C",
        ),
    ]
