"""The limits of a feature: stated in one of several forms, each checked as far as the row alone allows."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Annotated

from pydantic import Field

from dryfit.base.errors import ComputationRefused
from dryfit.calc.limits import CLASSES, iso_286_limits, iso_2768_linear, parse_class
from dryfit.model.feature import FeatureLimits
from dryfit.store.row import Finding, Row
from dryfit.store.words import join_words, quote

# Sizes have a grade; an angle has none, and the standard knows no grade of flatness.
KINDS_WITHOUT_GRADES = frozenset({"angle", "flatness"})

Pair = Annotated[list[float], Field(min_length=2, max_length=2)]


class LimitKeys(Row):
    """The keys that state limits; a row of features adds its own."""

    limits_mm: Pair | None = None
    lower_mm: float | None = None
    upper_mm: float | None = None
    deviations_mm: Pair | None = None
    limits_deg: Pair | None = None
    lower_deg: float | None = None
    upper_deg: float | None = None
    deviations_deg: Pair | None = None
    iso_286: str | None = None
    iso_2768: str | None = None

    def limit_findings(
        self, kind: str, unit: str, nominal: float | None, has_nominal: bool
    ) -> Iterator[Finding]:
        """Wrong units, more than one form, forms without the nominal that they need, and order."""
        stated = [key for key in LimitKeys.model_fields if getattr(self, key) is not None]
        for key in stated:
            if key.endswith(("_mm", "_deg")) and not key.endswith(f"_{unit}"):
                right = key.rpartition("_")[0] + "_" + unit
                what = f"the limits of a feature of kind {kind} are in {unit}"
                yield Finding((key,), what, f"write {right}")
        forms: dict[str, str] = {}
        for key in stated:
            forms.setdefault(_name_form(key), key)
        if len(forms) > 1:
            yield Finding(
                (list(forms.values())[1],),
                f"limits are stated in {len(forms)} forms: {join_words(stated)}",
                "keep one form",
            )
        for key in stated:
            if _name_form(key) in ("deviations", "iso_286", "iso_2768") and not has_nominal:
                do = f"add nominal_{unit}" + (" or dimension" if unit == "mm" else "")
                yield Finding((key,), f"{key} is stated without a nominal", do + ", or state limits")
        yield from self._order_findings(stated, unit)
        yield from self._grade_findings(kind, unit, nominal)

    def _order_findings(self, stated: list[str], unit: str) -> Iterator[Finding]:
        pairs = [(key, getattr(self, key)) for key in stated if key.startswith(("limits_", "deviations_"))]
        pairs += [
            (f"upper_{suffix}", [getattr(self, f"lower_{suffix}"), getattr(self, f"upper_{suffix}")])
            for suffix in ("mm", "deg")
            if f"lower_{suffix}" in stated and f"upper_{suffix}" in stated
        ]
        for key, (lower, upper) in pairs:
            if not lower < upper:
                what = f"the lower limit {lower:g} is not below the upper limit {upper:g}"
                yield Finding((key,), what, "write the lower limit first, and leave room between them")

    def _grade_findings(self, kind: str, unit: str, nominal: float | None) -> Iterator[Finding]:
        for key in ("iso_286", "iso_2768"):
            text = getattr(self, key)
            if text is None:
                continue
            if kind in KINDS_WITHOUT_GRADES:
                what = f'the key "{key}" does not belong to a feature of kind {kind}'
                yield Finding((key,), what, f"state limits_{unit}, lower_{unit} or upper_{unit}")
                continue
            try:
                _check_class(key, text, nominal)
            except ComputationRefused as error:
                yield Finding((key,), error.what, error.do)

    def make_limits(self, unit: str) -> FeatureLimits:
        """The record of a row without findings."""
        lower, upper = getattr(self, f"limits_{unit}") or (
            getattr(self, f"lower_{unit}"),
            getattr(self, f"upper_{unit}"),
        )
        lower_deviation, upper_deviation = getattr(self, f"deviations_{unit}") or (None, None)
        return FeatureLimits(
            lower, upper, lower_deviation, upper_deviation, self.iso_286 or "", self.iso_2768 or ""
        )


def _name_form(key: str) -> str:
    """The form of limits that a key belongs to: lower and upper are one."""
    if key.startswith("iso_"):
        return key
    form = key.rpartition("_")[0]
    return "one by one" if form in ("lower", "upper") else form


def is_class(key: str, text: str) -> bool:
    """Whether a text is a class of the standard of its key at all, whatever the size."""
    try:
        _check_class(key, text, None)
    except ComputationRefused:
        return False
    return True


def _check_class(key: str, text: str, nominal: float | None) -> None:
    """Raises ComputationRefused for a class unknown, or not covered at the nominal where it is stated."""
    if key == "iso_286":
        parse_class(text)
        if nominal is not None:
            iso_286_limits(nominal, text)
    elif nominal is not None:
        iso_2768_linear(nominal, text)
    elif text not in CLASSES:
        what = f"{quote(text)} is no class of ISO 2768-1"
        raise ComputationRefused(what, key, f"write one of {join_words(CLASSES)}")
