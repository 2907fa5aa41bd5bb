"""Rows of [[characteristic]]: which keys belong to which kind, and limits in the right unit."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Annotated, NamedTuple

from pydantic import Field

from dryfit.model.characteristic import ANGLE_KINDS, Characteristic, Kind
from dryfit.store.row import Finding, Id, Points, Row, UnitVector
from dryfit.store.words import count_things, join_words

UPWARD = [0.0, 0.0, 1.0]
LIMIT_KEYS = ("limits_mm", "lower_mm", "upper_mm", "limits_deg", "lower_deg", "upper_deg")


class KindKeys(NamedTuple):
    """needed and optional keys of a kind; how many parts it takes (None: no upper bound)."""

    needed: tuple[str, ...]
    optional: tuple[str, ...] = ()
    fewest_parts: int = 0
    most_parts: int | None = None


KIND_KEYS: dict[Kind, KindKeys] = {
    "gap": KindKeys(("joint",)),
    "taper": KindKeys(("joint", "axis")),
    "step": KindKeys(("joint", "direction")),
    "distance": KindKeys(("parts", "points_mm"), ("direction",), 2, 2),
    "height": KindKeys(("parts", "points_mm"), ("direction",), 1, 2),
    "diameter": KindKeys(("parts", "points_mm"), (), 3),
    "flatness": KindKeys(("parts", "points_mm"), (), 4),
    "angle": KindKeys(("parts", "axes"), (), 2, 2),
    "squareness": KindKeys(("parts", "axes"), (), 2, 2),
}
KEYS_OF_SOME_KIND = ("joint", "parts", "points_mm", "direction", "axis", "axes")

Limits = Annotated[list[float], Field(min_length=2, max_length=2)]


class CharacteristicRow(Row):
    """A size, gap, angle or flatness with limits."""

    id: Id
    kind: Kind
    joint: str | None = None
    parts: list[str] | None = None
    points_mm: Points | None = None
    direction: UnitVector | None = None
    axis: UnitVector | None = None
    axes: Annotated[list[UnitVector], Field(min_length=2, max_length=2)] | None = None
    limits_mm: Limits | None = None
    lower_mm: float | None = None
    upper_mm: float | None = None
    limits_deg: Limits | None = None
    lower_deg: float | None = None
    upper_deg: float | None = None

    @property
    def unit(self) -> str:
        """The unit of the limits: "mm" or "deg"."""
        return "deg" if self.kind in ANGLE_KINDS else "mm"

    def findings(self) -> Iterator[Finding]:
        """Keys, counts and limits against the kind."""
        keys = KIND_KEYS[self.kind]
        for key in KEYS_OF_SOME_KIND:
            stated = getattr(self, key) is not None
            if key in keys.needed and not stated:
                yield Finding((), f'a {self.kind} needs the key "{key}"', f"add {key}")
            if stated and key not in keys.needed + keys.optional:
                belonging = join_words(keys.needed + keys.optional)
                what = f'the key "{key}" does not belong to a {self.kind}'
                yield Finding((key,), what, f"remove it; a {self.kind} takes {belonging}")
        yield from self._count_findings(keys)
        yield from self._limit_findings()

    def _count_findings(self, keys: KindKeys) -> Iterator[Finding]:
        if self.parts is None or "parts" not in keys.needed:
            return
        fewest, most, count = keys.fewest_parts, keys.most_parts, len(self.parts)
        if count < fewest or (most is not None and count > most):
            wanted = f"at least {fewest}"
            if most is not None:
                wanted = f"{fewest}" if most == fewest else f"{fewest} or {most}"
            yield Finding(("parts",), f"{count_things(count, 'part')} for a {self.kind}", f"give {wanted}")
        if self.points_mm is not None and "points_mm" in keys.needed and len(self.points_mm) != count:
            what = f"{count_things(len(self.points_mm), 'point')} for {count_things(count, 'part')}"
            yield Finding(("points_mm",), what, "give one point per entry of parts")

    def _limit_findings(self) -> Iterator[Finding]:
        unit, stated = self.unit, [key for key in LIMIT_KEYS if getattr(self, key) is not None]
        for key in stated:
            if not key.endswith(unit):
                right = key.rpartition("_")[0] + "_" + unit
                yield Finding((key,), f"the limits of a {self.kind} are in {unit}", f"write {right}")
        if not stated:
            do = f"add limits_{unit} = [lower, upper], or lower_{unit} or upper_{unit} alone"
            yield Finding((), "the characteristic has no limits", do)
        for suffix in ("mm", "deg"):
            both = [key for key in (f"lower_{suffix}", f"upper_{suffix}") if key in stated]
            if both and f"limits_{suffix}" in stated:
                what = f"both limits_{suffix} and {join_words(both)} are stated"
                yield Finding((both[0],), what, "keep one form")
        lower, upper = self._find_limits()
        if lower is not None and upper is not None and not lower < upper:
            key = next(key for key in stated if key.endswith(unit))
            what = f"the lower limit {lower:g} is not below the upper limit {upper:g}"
            yield Finding((key,), what, "write the lower limit first, and leave room between them")

    def _find_limits(self) -> tuple[float | None, float | None]:
        both: list[float] | None = getattr(self, f"limits_{self.unit}")
        if both is not None:
            return both[0], both[1]
        return getattr(self, f"lower_{self.unit}"), getattr(self, f"upper_{self.unit}")

    def to_model(self) -> Characteristic:
        """The record; a height is measured upward where no direction is stated."""
        lower, upper = self._find_limits()
        direction = self.axis if self.kind == "taper" else self.direction
        if self.kind == "height" and direction is None:
            direction = UPWARD
        return Characteristic(
            id=self.id,
            kind=self.kind,
            joint=self.joint,
            parts=tuple(self.parts or ()),
            points_mm=self.points_mm,  # type: ignore[arg-type]
            direction=direction,  # type: ignore[arg-type]
            axes=self.axes,  # type: ignore[arg-type]
            lower=lower,
            upper=upper,
        )
