"""Rows of [[adhesive]]: what fills the joints."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from types import MappingProxyType
from typing import Annotated, ClassVar

from pydantic import Field

from dryfit.model.adhesive import Adhesive, AdhesiveKind
from dryfit.store.row import Finding, Id, NotNegative, Positive, Row

Degrees = Annotated[float, Field(ge=-50.0, le=300.0)]


class AdhesiveRow(Row):
    """One product, as its own sheet describes it."""

    examples: ClassVar[Mapping[str, str]] = MappingProxyType(
        {
            "id": 'id = "slow-epoxy"',
            "kind": 'kind = "epoxy"',
            "fills_mm": "fills_mm = [0.05, 0.2]",
            "pot_life_min": "pot_life_min = 40",
            "cure_h": "cure_h = 16",
            "temp_c": "temp_c = [15, 30]",
            "source": 'source = "data sheet of the product"',
        }
    )

    id: Id
    kind: AdhesiveKind
    fills_mm: Annotated[list[NotNegative], Field(min_length=2, max_length=2)]
    pot_life_min: Positive | None = None
    cure_h: Positive | None = None
    temp_c: Annotated[list[Degrees], Field(min_length=2, max_length=2)] | None = None
    source: Annotated[str, Field(min_length=1)] | None = None

    def findings(self) -> Iterator[Finding]:
        """Both pairs run from the lower to the higher value."""
        for key in ("fills_mm", "temp_c"):
            pair = getattr(self, key)
            if pair is not None and pair[1] <= pair[0]:
                yield Finding((key,), "the second value is not above the first", self.examples[key])

    def to_model(self) -> Adhesive:
        """The record."""
        low, high = self.fills_mm
        temp = None if self.temp_c is None else (float(self.temp_c[0]), float(self.temp_c[1]))
        return Adhesive(
            self.id, self.kind, (low, high), self.pot_life_min, self.cure_h, temp, self.source or ""
        )
