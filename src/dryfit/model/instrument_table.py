"""Common instruments of a builder: ranges, resolutions, maximum permissible errors, repeatability.

A maximum permissible error (MPE) has a part that shifts every reading alike and a part that grows with the
length. The first is the limit for the shortest lengths, or for the end of a rule; the rest of the limit at
full range is taken as growing with the length. So the sum at full range is the limit of the source, and a
scale that is off is allowed for, which is the case that matters when the scale of a machine is sought. (A
rule shorter than a metre is taken as a piece of a metre rule, whose limit the source gives it in full.)

Where the text of a standard was not at hand, its figures are put down from memory or from a copied table,
and the source says which. A repeatability depends on its user: the figures here are common practice, no
source, and a gauge study (dryfit gauge) replaces them.
"""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

from dryfit.model.instrument import Instrument, InstrumentKind

# European directive 2014/32/EU, annex X (MI-008), class II, seen as schedule 1I of the United Kingdom's
# instrument 2016/1153: a + b L with L in m rounded up to the next metre, a 0.3 and b 0.2 mm, and c 0.2 mm
# more where an end of the measure takes part.
_CLASS_II = (
    "2014/32/EU annex X class II (seen): +-(0.3 + 0.2 L) mm, L in m rounded up, and 0.2 mm at an end; the "
    "0.2 mm shift every reading, the rest is taken as growing with the length"
)
_CALIPER = (
    "DIN 862 (a copied table seen, not the standard): 0.01 mm display, 0.02 mm up to 100 mm and 0.03 mm above, "
    "0.02 mm more for inside lengths and depths, which is not counted here"
)
_SQUARE = (
    "DIN 875-1 class 2 (from memory): 20 um + L/10000 at the tip, read with feeler gauges in steps of 0.05 mm"
)
_HEIGHT = (
    "ISO 13225 leaves the limits to the maker; 0.04 mm at 300 mm is typical of makers' sheets (from memory)"
)
_DIAL = (
    "dial of 0.01 mm: 0.02 mm over 10 mm (DIN 878, from memory); run up a square of 300 mm, class 2: 0.05 mm at "
    "300 mm (DIN 875-1, from memory)"
)
_MICROMETER = "DIN 863 (a copied table seen, not the standard): 0.004 mm up to 50 mm, 0.005 mm up to 100 mm"

# One standard deviation of one reading on a printed part. Common practice, no source.
DEFAULT_REPEATABILITY_MM: Mapping[InstrumentKind, float] = MappingProxyType(
    {
        "caliper": 0.03,
        "steel rule": 0.2,
        "tape": 0.4,
        "square": 0.03,
        "height gauge": 0.03,
        "dial indicator": 0.02,
        "micrometer": 0.01,
    }
)
DEFAULT_REPEATABILITY_SOURCE = "common practice, no source"


def _common(
    id: str,
    kind: InstrumentKind,
    range_mm: float,
    resolution_mm: float,
    mpe: tuple[float, float],
    source: str,
    least_mm: float = 0.0,
) -> Instrument:
    """mpe: mm, and mm per m of length."""
    return Instrument(
        id=id,
        kind=kind,
        range_mm=range_mm,
        resolution_mm=resolution_mm,
        mpe_mm=mpe[0],
        mpe_per_m_mm=mpe[1],
        repeatability_mm=DEFAULT_REPEATABILITY_MM[kind],
        repeatability_from=f"assumed ({DEFAULT_REPEATABILITY_SOURCE})",
        least_mm=least_mm,
        source=source,
    )


_ROWS = (
    _common("caliper-150", "caliper", 150.0, 0.01, (0.02, 0.01 / 0.15), _CALIPER),
    _common("caliper-200", "caliper", 200.0, 0.01, (0.02, 0.01 / 0.2), _CALIPER),
    _common("caliper-300", "caliper", 300.0, 0.01, (0.02, 0.01 / 0.3), _CALIPER),
    _common("steel-rule-300", "steel rule", 300.0, 0.5, (0.2, 0.5), _CLASS_II),
    _common("steel-rule-600", "steel rule", 600.0, 0.5, (0.2, 0.5), _CLASS_II),
    _common("steel-rule-1000", "steel rule", 1000.0, 0.5, (0.2, 0.5), _CLASS_II),
    _common("tape-3m", "tape", 3000.0, 1.0, (0.2, 0.3), _CLASS_II, least_mm=50.0),
    _common("square-100", "square", 100.0, 0.05, (0.030, 0.0), _SQUARE),
    _common("square-150", "square", 150.0, 0.05, (0.035, 0.0), _SQUARE),
    _common("square-300", "square", 300.0, 0.05, (0.050, 0.0), _SQUARE),
    _common("height-gauge-300", "height gauge", 300.0, 0.01, (0.03, 0.01 / 0.3), _HEIGHT),
    _common("dial-indicator", "dial indicator", 300.0, 0.01, (0.07, 0.0), _DIAL),
    _common("micrometer-25", "micrometer", 25.0, 0.01, (0.004, 0.0), _MICROMETER),
    _common("micrometer-50", "micrometer", 50.0, 0.01, (0.004, 0.0), _MICROMETER, least_mm=25.0),
    _common("micrometer-75", "micrometer", 75.0, 0.01, (0.005, 0.0), _MICROMETER, least_mm=50.0),
    _common("micrometer-100", "micrometer", 100.0, 0.01, (0.005, 0.0), _MICROMETER, least_mm=75.0),
)

COMMON_INSTRUMENTS: Mapping[str, Instrument] = MappingProxyType({row.id: row for row in _ROWS})
