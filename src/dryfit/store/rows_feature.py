"""Rows of [[dimension]] and [[feature]]: which keys belong to which kind, and one form of limits."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from types import MappingProxyType
from typing import Annotated, ClassVar

from pydantic import Field

from dryfit.base.estimate import Estimate
from dryfit.model.feature import ANGLE_FEATURES, Dimension, Feature, FeatureKind, Form, Pick
from dryfit.store.feature_kinds import KEYS_OF_SOME_KIND, KIND_KEYS, ROUND_FORMS, FeatureKeys
from dryfit.store.feature_limits import LimitKeys
from dryfit.store.row import Finding, Id, NotNegative, Positive, Row, UnitVector, Vector, make_estimate
from dryfit.store.words import count_things, join_words

_PICK = '{ part = "ring-1", point_mm = [520, 0, 40], normal = [0, 0, 1] }'

HalfTurn = Annotated[float, Field(ge=0, le=180)]


class DimensionRow(Row):
    """A governing size of the prototype."""

    examples: ClassVar[Mapping[str, str]] = MappingProxyType({"id": 'id = "drum.height"'})

    id: Id
    prototype_mm: Positive | None = None
    prototype_std_mm: NotNegative | None = None
    source: str | None = None

    def findings(self) -> Iterator[Finding]:
        """A standard uncertainty belongs to a size."""
        if self.prototype_mm is None and self.prototype_std_mm is not None:
            what = "prototype_std_mm is stated without prototype_mm"
            yield Finding(
                ("prototype_std_mm",), what, "add prototype_mm, or state an [[observation]] instead"
            )

    def to_model(self) -> Dimension:
        """The record; without a standard uncertainty the size is taken as exact, without a size it is open."""
        if self.prototype_mm is None:
            return Dimension(self.id, None, self.source or "", unknown=f"nothing measures {self.id}")
        size = make_estimate(self.prototype_mm, self.prototype_std_mm, None)
        return Dimension(self.id, size, self.source or "")


class PickRow(Row):
    """Which face of a part is meant: by a point on it, or by the direction that it faces."""

    part: str
    point_mm: Vector | None = None
    normal: UnitVector | None = None
    form: Form | None = None
    size_mm: Positive | None = None
    direction: UnitVector | None = None

    def findings(self) -> Iterator[Finding]:
        """Point and direction exclude one another; what was recorded at a pick belongs to its point."""
        if self.point_mm is None and self.direction is None:
            do = "add point_mm, a point on the face, or direction, the way that the face looks"
            yield Finding((), "the face is named neither by a point nor by a direction", do)
        if self.direction is None:
            return
        for key in ("point_mm", "normal", "form", "size_mm"):
            if getattr(self, key) is not None:
                what = f'the key "{key}" does not belong to a face that is found by direction'
                yield Finding((key,), what, f"remove {key} or direction")

    def to_model(self) -> Pick:
        """The record."""
        return Pick(
            part=self.part,
            point_mm=self.point_mm,  # type: ignore[arg-type]
            normal=self.normal,  # type: ignore[arg-type]
            form=self.form,
            size_mm=self.size_mm,
            direction=self.direction,  # type: ignore[arg-type]
        )


class FeatureRow(LimitKeys):
    """A measurable thing on one part, or between two parts in the assembly."""

    examples: ClassVar[Mapping[str, str]] = MappingProxyType(
        {
            "id": 'id = "crown.bore"',
            "kind": 'kind = "diameter"',
            "part": 'part = "ring-1"',
            "faces": f"faces = [{_PICK}]",
        }
    )

    id: Id
    kind: FeatureKind
    part: str | None = None
    parts: Annotated[list[str], Field(min_length=1)] | None = None
    faces: list[PickRow] | None = None
    direction: UnitVector | None = None
    at_mm: Vector | None = None
    normal: UnitVector | None = None
    nominal_mm: NotNegative | None = None
    nominal_std_mm: NotNegative | None = None
    nominal_deg: HalfTurn | None = None
    nominal_std_deg: NotNegative | None = None
    dimension: str | None = None

    @property
    def unit(self) -> str:
        """The unit of the feature: "mm" or "deg"."""
        return "deg" if self.kind in ANGLE_FEATURES else "mm"

    @property
    def nominal(self) -> float | None:
        """The stated nominal in the unit of the feature; None where a dimension gives it, or none is."""
        value: float | None = getattr(self, f"nominal_{self.unit}")
        return value

    @property
    def has_nominal(self) -> bool:
        return self.nominal is not None or self.dimension is not None

    def findings(self) -> Iterator[Finding]:
        """Keys, faces, nominal and limits against the kind."""
        keys = KIND_KEYS[self.kind]
        yield from self._key_findings(keys)
        for index, pick in enumerate(self.faces or ()):
            for finding in pick.findings():
                yield finding._replace(path=("faces", index, *finding.path))
        if keys.faces:
            yield from self._face_findings(keys)
        yield from self._nominal_findings()
        yield from self.limit_findings(self.kind, self.unit, self.nominal, self.has_nominal)

    def _key_findings(self, keys: FeatureKeys) -> Iterator[Finding]:
        needed, optional = keys.needed, keys.optional
        if keys.by_datum_point and len(self.faces or ()) < 2:
            needed += keys.by_datum_point
        stated = [key for key in KEYS_OF_SOME_KIND if getattr(self, key) is not None]
        for key in needed:
            if key not in stated:
                yield Finding((), f'a feature of kind {self.kind} needs the key "{key}"', f"add {key}")
        for key in stated:
            if key in needed + optional:
                continue
            what = f'the key "{key}" does not belong to a feature of kind {self.kind}'
            if key in keys.by_datum_point:
                what = f'the key "{key}" does not belong to a position whose datum is a face'
            yield Finding((key,), what, f"remove it; it takes {join_words(needed + optional)}")
        if not keys.faces:
            yield from self._part_findings(keys, stated)

    def _part_findings(self, keys: FeatureKeys, stated: list[str]) -> Iterator[Finding]:
        if "part" in stated and "parts" in stated:
            yield Finding(("parts",), "both part and parts are stated", "keep one of the two")
        if "part" not in stated and "parts" not in stated:
            what = f"a feature of kind {self.kind} needs the part that is measured"
            yield Finding((), what, 'add part = "..."' + (" or parts = [...]" if keys.many_parts else ""))
        if self.parts is not None and len(self.parts) > 1 and not keys.many_parts:
            what = f"{count_things(len(self.parts), 'part')} for a feature of kind {self.kind}"
            yield Finding(("parts",), what, "give 1")
        for index, part in enumerate(self.parts or ()):
            if part in (self.parts or ())[:index]:
                yield Finding(("parts", index), f'the part "{part}" is named twice', "name each part once")

    def _face_findings(self, keys: FeatureKeys) -> Iterator[Finding]:
        if self.faces is None:
            return
        count = len(self.faces)
        if count not in keys.faces:
            wanted = " or ".join(str(number) for number in keys.faces)
            what = f"{count_things(count, 'face')} for a feature of kind {self.kind}"
            yield Finding(("faces",), what, f"give {wanted}")
            return
        for index, (pick, forms) in enumerate(zip(self.faces, keys.forms, strict=False)):
            if pick.direction is not None and not forms & {"plane"}:
                what = "only a plane can be found by direction, and a round face is needed here"
                yield Finding(("faces", index, "direction"), what, "give point_mm, a point on the face")
            elif pick.direction is not None and forms >= ROUND_FORMS:
                what = "a thickness is measured at a point"
                yield Finding(("faces", index, "direction"), what, "give point_mm instead of direction")
            if pick.form is not None and pick.form not in forms:
                what = f"the face is a {pick.form}, and a {self.kind} needs here {' or '.join(sorted(forms))}"
                yield Finding(("faces", index, "form"), what, "pick another face, or state another kind")

    def _nominal_findings(self) -> Iterator[Finding]:
        unit = self.unit
        other = "mm" if unit == "deg" else "deg"
        for key in (f"nominal_{other}", f"nominal_std_{other}"):
            if getattr(self, key) is not None:
                what = f"the nominal of a feature of kind {self.kind} is in {unit}"
                yield Finding((key,), what, f"write {key.removesuffix(other)}{unit}")
        nominal, std = f"nominal_{unit}", f"nominal_std_{unit}"
        if self.dimension is not None:
            if unit == "deg":
                what = "a dimension is a length and gives no angle"
                yield Finding(("dimension",), what, "state nominal_deg instead")
            for key in (nominal, std):
                if getattr(self, key) is not None:
                    yield Finding((key,), f"both dimension and {key} are stated", "keep one of the two")
        elif self.nominal is None and getattr(self, std) is not None:
            yield Finding((std,), f"{std} is stated without {nominal}", f"add {nominal}, or remove {std}")

    def to_model(self) -> Feature:
        """The record; a nominal without a standard uncertainty is taken as exact."""
        nominal = None
        if self.nominal is not None:
            nominal = Estimate(self.nominal, getattr(self, f"nominal_std_{self.unit}") or 0.0)
        picks = tuple(pick.to_model() for pick in self.faces or ())
        parts = [self.part] if self.part is not None else self.parts or [pick.part for pick in picks]
        return Feature(
            id=self.id,
            kind=self.kind,
            parts=tuple(dict.fromkeys(parts)),
            faces=picks,
            direction=self.direction,  # type: ignore[arg-type]
            at_mm=self.at_mm,  # type: ignore[arg-type]
            normal=self.normal,  # type: ignore[arg-type]
            nominal=nominal,
            dimension=self.dimension,
            limits=self.make_limits(self.unit),
        )
