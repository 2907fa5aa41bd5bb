"""Rows of [[observation]] and [[relation]]: what was measured or quoted, and what must hold between dimensions."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from types import MappingProxyType
from typing import Annotated, ClassVar, Literal

from pydantic import Field

from dryfit.base.estimate import HALF_WIDTHS, Estimate
from dryfit.model.evidence import GivenAt, Observation, Relation, RelationKind
from dryfit.store.evidence_values import Date, Measured, Quantity, Terms, Two
from dryfit.store.row import Finding, Id
from dryfit.store.words import join_words, quote

__all__ = ["Date", "ObservationRow", "RelationRow"]

# Two-sided 95 % of a normal distribution, JCGM 100:2008, table G.2 in the limit.
NORMAL_95 = 1.959963984540054


class ObservationRow(Measured):
    """One measured or quoted value."""

    examples: ClassVar[Mapping[str, str]] = MappingProxyType(
        {"id": 'id = "survey.drum"', "std": 'std = "20 mm"', "distribution": 'distribution = "uniform"'}
    )

    id: Id
    of: Terms | None = None
    ratio: Two | None = None
    value: Quantity | None = None
    std: Quantity | None = None
    within: Quantity | None = None
    limits: Annotated[list[Quantity], Field(min_length=2, max_length=2)] | None = None
    distribution: Literal["normal", "uniform", "triangular"] | None = None
    given_at: GivenAt = "prototype"
    source: str | None = None
    date: Date | None = None
    reliability: Annotated[str, Field(min_length=1, max_length=60)] | None = None

    def findings(self) -> Iterator[Finding]:
        """What is measured, its value and its uncertainty: each stated once."""
        yield from self._subject_findings()
        yield from self._form_findings()
        figures, faults = self._figures()
        yield from faults
        if not faults:
            yield from self._size_findings(figures)

    def _subject_findings(self) -> Iterator[Finding]:
        if (self.of is None) == (self.ratio is None):
            what = "both of and ratio are stated" if self.of is not None else "nothing says what was measured"
            do = 'state of = "drum.height", or ratio = ["drum.height", "dome.rise"]'
            yield Finding(("ratio",) if self.of is not None else (), what, do)
        if self.ratio is not None:
            if self.ratio[0] == self.ratio[1]:
                yield Finding(("ratio",), "the ratio of a dimension to itself is 1", "name two dimensions")
            if self.given_at == "model":
                yield Finding(("given_at",), "a ratio is the same at either size", "remove given_at")
            if self.unit is not None:
                yield Finding(("unit",), "a ratio has no unit", "remove unit")

    def _form_findings(self) -> Iterator[Finding]:
        """value with std or within, or limits alone."""
        spread = [key for key in ("std", "within", "limits") if getattr(self, key) is not None]
        if not spread:
            what = "nothing says how well the value is known"
            yield Finding(
                (), what, "add std, or within or limits with their distribution; std = 0 says exact"
            )
        if len(spread) > 1:
            yield Finding((spread[1],), f"{join_words(spread)} are stated together", "keep one of them")
        if self.limits is not None and self.value is not None:
            yield Finding(
                ("value",), "limits are stated beside a value", "keep limits, or write value and within"
            )
        if self.limits is None and self.value is None:
            yield Finding((), "the value is missing", "add value, or limits")
        if spread and spread[0] != "std" and self.distribution is None:
            what = f"{spread[0]} says nothing of where between the limits the value lies"
            do = 'add distribution = "uniform" (anywhere), "triangular", or "normal" (limits at 95 %)'
            yield Finding((spread[0],), what, do)
        if spread == ["std"] and self.distribution is not None:
            what = "a standard uncertainty needs no distribution here"
            yield Finding(("distribution",), what, "remove distribution, or write within instead of std")

    def _figures(self) -> tuple[dict[str, float], list[Finding]]:
        """Values of the keys that are quantities, in mm or as ratios."""
        is_length = self.ratio is None
        stated: list[tuple[str, float | str]] = []
        for key in ("value", "std", "within"):
            value = getattr(self, key)
            if value is not None:
                stated.append((key, value))
        if self.limits is not None:
            stated += [("limits", self.limits[0]), ("limits", self.limits[1])]
        figures, faults = {}, []
        for place, (key, value) in enumerate(stated):
            figure, fault = self.read(key, value, is_length)
            figures[key if key != "limits" else f"limits{place}"] = figure
            if fault is not None:
                faults.append(fault)
        return figures, faults

    def _size_findings(self, figures: dict[str, float]) -> Iterator[Finding]:
        for key in ("std", "within"):
            if figures.get(key, 0.0) < 0 or (key == "within" and figures.get(key) == 0.0):
                do = "write a number above 0" + (", or std = 0 for an exact value" if key == "within" else "")
                yield Finding(
                    (key,), f"{key} is not above zero" if key == "within" else f"{key} is negative", do
                )
        low, high = (
            (figures[key] for key in figures if key.startswith("limits")) if self.limits else (0.0, 1.0)
        )
        if not low < high:
            yield Finding(
                ("limits",), "the lower limit does not lie below the upper", "write the smaller first"
            )
        is_single = self.ratio is not None or (self.of is not None and min(self.of.values()) > 0)
        if is_single and self.value is not None and not figures["value"] > 0:
            what = "a size is above zero" if self.ratio is None else "a ratio of sizes is above zero"
            yield Finding(("value",), what, "write a value above zero")

    def to_model(self) -> Observation:
        """The record: limits become a standard uncertainty by their distribution."""
        figures, _ = self._figures()
        if self.limits is not None:
            low, high = (figures[key] for key in figures if key.startswith("limits"))
            middle, half = 0.5 * (low + high), 0.5 * (high - low)
        else:
            middle, half = figures["value"], figures.get("within", 0.0)
        std = figures.get("std", 0.0)
        shape = self.distribution or "normal"
        if half > 0.0:
            std = half / (NORMAL_95 if shape == "normal" else HALF_WIDTHS[shape])
        terms = ((self.ratio[0], 1.0),) if self.ratio else tuple((self.of or {}).items())
        return Observation(
            id=self.id,
            terms=terms,
            value=Estimate(middle, std, shape),
            over=self.ratio[1] if self.ratio else "",
            given_at=self.given_at,
            source=self.source or "",
            date=self.date or "",
            reliability=self.reliability or "",
            stated=self._stated(),
        )

    def _stated(self) -> str:
        """As it was written, such as "12 ft 3 1/2 in within 1/2 in, uniform"."""

        def write(value: float | str | None) -> str:
            if isinstance(value, str) or value is None:
                return value or ""
            return f"{value:g} {self.unit}" if self.unit else f"{value:g}"

        if self.limits is not None:
            text = f"{write(self.limits[0])} to {write(self.limits[1])}"
        elif self.within is not None:
            text = f"{write(self.value)} within {write(self.within)}"
        else:
            return f"{write(self.value)}, " + ("exact" if self.std == 0 else f"std {write(self.std)}")
        return f"{text}, {'normal at 95 %' if self.distribution == 'normal' else self.distribution}"


# Keys of each kind of relation beside id, kind, std, unit and source: those that it needs, those that it may have.
_KEYS: Mapping[RelationKind, tuple[tuple[str, ...], tuple[str, ...]]] = MappingProxyType(
    {
        "sum": (("whole", "of"), ()),
        "equal": (("of",), ()),
        "symmetric": (("pairs",), ()),
        "spacing": (("of",), ()),
        "ratio": (("of",), ("value", "same_as")),
    }
)
_LEAST: Mapping[RelationKind, int] = MappingProxyType({"sum": 1, "equal": 2, "spacing": 3, "ratio": 2})


class RelationRow(Measured):
    """What must hold between dimensions."""

    examples: ClassVar[Mapping[str, str]] = MappingProxyType(
        {
            "id": 'id = "heights add up"',
            "kind": 'kind = "sum"',
            "of": 'of = ["drum.height", "dome.rise"]',
            "value": "value = 0.5",
            "whole": 'whole = "overall.height"',
            "pairs": 'pairs = [["bay.left", "bay.right"]]',
            "std": 'std = "5 mm"',
        }
    )

    id: Id
    kind: RelationKind
    of: list[str] | None = None
    whole: str | None = None
    pairs: Annotated[list[Two], Field(min_length=1)] | None = None
    value: float | None = None
    same_as: Two | None = None
    std: Quantity | None = None
    source: str | None = None

    def findings(self) -> Iterator[Finding]:
        """Which keys belong to the kind, and whether they can hold at all."""
        needed, optional = _KEYS[self.kind]
        for key in ("of", "whole", "pairs", "value", "same_as"):
            stated = getattr(self, key) is not None
            if stated and key not in needed + optional:
                what = f'the key "{key}" does not belong to a relation of kind {self.kind}'
                yield Finding((key,), what, f"remove it; it takes {join_words(needed + optional)}")
            if not stated and key in needed:
                yield Finding((), f'the key "{key}" is missing', f"add {self.examples[key]}")
        yield from self._member_findings()
        if self.kind == "ratio":
            yield from self._ratio_findings()
        if self.std is not None:
            size, fault = self.read("std", self.std, self.kind != "ratio")
            if fault is not None:
                yield fault
            elif size < 0:
                yield Finding(("std",), "std is negative", "write 0 or more")

    def _member_findings(self) -> Iterator[Finding]:
        least = _LEAST.get(self.kind, 0)
        if self.of is not None and len(self.of) < least:
            yield Finding(
                ("of",), f"a relation of kind {self.kind} needs at least {least} dimensions", "add them"
            )
        if self.kind == "ratio" and self.of is not None and len(self.of) > 2:
            yield Finding(("of",), "a ratio has two dimensions, above and below", "name two")
        names = [*([self.whole] if self.whole is not None else []), *(self.of or [])]
        names += [name for pair in self.pairs or () for name in pair]
        if self.kind == "ratio":
            names = list(self.of or [])
        for name in dict.fromkeys(name for name in names if names.count(name) > 1):
            if self.whole == name:
                what = f"{quote(name)} is the whole and one of its own parts: the others would be zero"
            else:
                what = f"{quote(name)} is named twice"
            yield Finding(("of" if self.of is not None else "pairs",), what, "name each dimension once")

    def _ratio_findings(self) -> Iterator[Finding]:
        if (self.value is None) == (self.same_as is None):
            what = "a ratio is stated by its value, or as the same as that of two others"
            yield Finding((), what, 'state value = 0.5, or same_as = ["door.width", "door.height"]')
        if self.value is not None and not 0 < self.value < 1e9:
            yield Finding(("value",), "a ratio of sizes is above zero", "write a value above zero")
        if self.same_as is not None and self.same_as[0] == self.same_as[1]:
            yield Finding(("same_as",), "the ratio of a dimension to itself is 1", "name two dimensions")
        if self.same_as is not None and self.of == self.same_as:
            yield Finding(("same_as",), "a ratio is always the same as itself", "name two others")
        if self.unit is not None:
            yield Finding(("unit",), "a ratio has no unit", "remove unit")

    def to_model(self) -> Relation:
        """The record; without std it is exact."""
        std = 0.0 if self.std is None else self.read("std", self.std, self.kind != "ratio")[0]
        return Relation(
            id=self.id,
            kind=self.kind,
            of=tuple(self.of or ()),
            whole=self.whole or "",
            pairs=tuple((pair[0], pair[1]) for pair in self.pairs or ()),
            value=self.value,
            same_as=tuple(self.same_as or ()),
            std=std,
            source=self.source or "",
        )
