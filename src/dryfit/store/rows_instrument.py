"""Rows of [[instrument]]."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import replace
from types import MappingProxyType
from typing import Annotated, ClassVar

from pydantic import Field

from dryfit.model.instrument import Instrument, InstrumentKind
from dryfit.model.instrument_table import (
    COMMON_INSTRUMENTS,
    DEFAULT_REPEATABILITY_MM,
    DEFAULT_REPEATABILITY_SOURCE,
)
from dryfit.store.row import Finding, Id, NotNegative, Positive, Row
from dryfit.store.words import quote, suggest

# Metals and invar lie between; what lies outside is a slip of unit (11.5 for 11.5e-6).
ScaleExpansion = Annotated[float, Field(ge=0, lt=1e-3)]
# Without like, these have no common value that could be taken.
REQUIRED = ("range_mm", "resolution_mm", "mpe_mm")
_FIGURES = (
    "range_mm",
    "least_mm",
    "resolution_mm",
    "mpe_mm",
    "mpe_per_m_mm",
    "expansion_per_k",
    "source",
)


class InstrumentRow(Row):
    """An instrument: a kind with its figures, or like a common one with own figures over it."""

    examples: ClassVar[Mapping[str, str]] = MappingProxyType(
        {
            "id": 'id = "my-caliper"',
            "kind": 'kind = "caliper"',
            "repeatability_mm": "repeatability_mm = 0.03",
            "source": 'source = "calibration sheet of 2026"',
        }
    )

    id: Id
    kind: InstrumentKind | None = None
    like: str | None = None
    range_mm: Positive | None = None
    least_mm: NotNegative | None = None
    resolution_mm: Positive | None = None
    mpe_mm: NotNegative | None = None
    mpe_per_m_mm: NotNegative | None = None
    repeatability_mm: NotNegative | None = None
    repeatability_dof: Positive | None = None
    expansion_per_k: ScaleExpansion | None = None
    source: Annotated[str, Field(min_length=1)] | None = None

    def findings(self) -> Iterator[Finding]:
        """A kind or a common instrument, not both nor neither; figures that contradict one another."""
        common = None if self.like is None else COMMON_INSTRUMENTS.get(self.like)
        if self.like is not None and common is None:
            what = f"there is no common instrument {quote(self.like)}"
            yield Finding(("like",), what, suggest(self.like, COMMON_INSTRUMENTS, "common instruments"))
        if self.like is not None and self.kind is not None:
            do = "remove kind: like already gives it"
            yield Finding(("kind",), "kind and like are both stated", do)
        if self.like is None:
            yield from self._find_missing()
        if self.repeatability_dof is not None and self.repeatability_mm is None:
            what = "repeatability_dof is stated without repeatability_mm"
            yield Finding(("repeatability_dof",), what, "add repeatability_mm, or remove repeatability_dof")
        yield from self._find_contradictions(common)

    def _find_missing(self) -> Iterator[Finding]:
        if self.kind is None:
            do = 'add kind = "caliper" with its figures, or like = "caliper-300" for a common one'
            yield Finding((), "neither kind nor like is stated", do)
            return
        for key in REQUIRED:
            if getattr(self, key) is None:
                do = f'add {key}, or write like = "caliper-300" instead of kind for a common one'
                yield Finding((key,), f'the key "{key}" is missing', do)

    def _find_contradictions(self, common: Instrument | None) -> Iterator[Finding]:
        longest = self.range_mm if self.range_mm is not None or common is None else common.range_mm
        least = self.least_mm if self.least_mm is not None or common is None else common.least_mm
        step = (
            self.resolution_mm if self.resolution_mm is not None or common is None else common.resolution_mm
        )
        if longest is None:
            return
        if least is not None and least >= longest:
            key = "least_mm" if self.least_mm is not None else "range_mm"
            what = f"it reads from {least:g} mm, and no further than {longest:g} mm"
            yield Finding((key,), what, "write the shortest and the longest length that it reads")
        if step is not None and step >= longest:
            key = "resolution_mm" if self.resolution_mm is not None else "range_mm"
            what = f"a resolution of {step:g} mm is no less than the range of {longest:g} mm"
            yield Finding((key,), what, "write the step of its scale or display, such as 0.01")

    def to_model(self) -> Instrument:
        """The record; what was taken rather than stated is listed by assumed()."""
        base = self._base()
        given = {key: getattr(self, key) for key in _FIGURES if getattr(self, key) is not None}
        if self.repeatability_mm is not None:
            given["repeatability_mm"] = self.repeatability_mm
            given["repeatability_from"] = "stated"
            given["repeatability_dof"] = (
                math.inf if self.repeatability_dof is None else self.repeatability_dof
            )
        return replace(base, id=self.id, **given)

    def assumed(self) -> tuple[str, ...]:
        """What the row leaves open and what is taken for it."""
        lines: list[str] = []
        if self.like is not None:
            keys = [key for key in _FIGURES if getattr(self, key) is None]
            lines.append(f"{', '.join(keys)} taken from the common {self.like}" if keys else "")
        else:
            if self.mpe_per_m_mm is None:
                lines.append("mpe_per_m_mm not stated, taken as 0")
            if self.expansion_per_k is None:
                lines.append(f"expansion_per_k not stated, taken as {self._base().expansion_per_k:g} (steel)")
        if self.repeatability_mm is None:
            value = self._base().repeatability_mm
            lines.append(
                f"repeatability_mm not stated, taken as {value:g} ({DEFAULT_REPEATABILITY_SOURCE}) until a gauge study"
            )
        return tuple(line for line in lines if line)

    def _base(self) -> Instrument:
        if self.like is not None:
            return COMMON_INSTRUMENTS[self.like]
        if self.kind is None or self.range_mm is None or self.resolution_mm is None or self.mpe_mm is None:
            raise ValueError("a row with a fault has no record")
        return Instrument(
            id=self.id,
            kind=self.kind,
            range_mm=self.range_mm,
            resolution_mm=self.resolution_mm,
            mpe_mm=self.mpe_mm,
            repeatability_mm=DEFAULT_REPEATABILITY_MM[self.kind],
            repeatability_from=f"assumed ({DEFAULT_REPEATABILITY_SOURCE})",
            source="stated",
        )
