"""Evidence: what was measured or quoted of dimensions, and what must hold between them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, get_args

import numpy as np

from dryfit.base.arrays import Array
from dryfit.base.estimate import Estimate

GivenAt = Literal["prototype", "model"]
RelationKind = Literal["sum", "equal", "symmetric", "spacing", "ratio"]
RELATION_KINDS: tuple[RelationKind, ...] = get_args(RelationKind)


@dataclass(frozen=True, slots=True)
class Observation:
    """One measured or quoted value of a dimension, of a sum of dimensions, or of their ratio.

    terms        (dimension, coefficient): what was measured is their sum; of a ratio the one above
    over         the dimension below, of a ratio; "" of a length
    value        [mm], of a ratio [-]; std 0: exact
    given_at     whether the value is a size of the prototype or of the model
    source, date, reliability  as the user has them; "" where not given
    stated       the value as it was written
    """

    id: str
    terms: tuple[tuple[str, float], ...]
    value: Estimate
    over: str = ""
    given_at: GivenAt = "prototype"
    source: str = ""
    date: str = ""
    reliability: str = ""
    stated: str = ""

    @property
    def dimensions(self) -> tuple[str, ...]:
        """What it is about, each dimension once."""
        return tuple(dict.fromkeys((*(name for name, _ in self.terms), *([self.over] if self.over else []))))


@dataclass(frozen=True, slots=True)
class Relation:
    """What must hold between dimensions.

    of        sum: the parts; equal: the members; spacing: positions in order; ratio: above, below
    whole     of a sum
    pairs     of a symmetry: equal by pairs
    value     of a ratio [-]; None where same_as names two others of the same ratio
    std       0: exact. Sum [mm]: of the whole less its parts. Equal, symmetric, spacing [mm]: how far one member
              scatters about the common size or place. Ratio [-]
    """

    id: str
    kind: RelationKind
    of: tuple[str, ...] = ()
    whole: str = ""
    pairs: tuple[tuple[str, str], ...] = ()
    value: float | None = None
    same_as: tuple[str, ...] = ()
    std: float = 0.0
    source: str = ""

    @property
    def dimensions(self) -> tuple[str, ...]:
        """What it is about, each dimension once."""
        paired = [name for pair in self.pairs for name in pair]
        return tuple(dict.fromkeys([*([self.whole] if self.whole else []), *self.of, *paired, *self.same_as]))


@dataclass(frozen=True, slots=True)
class ScaleFrom:
    """The scale is that at which one dimension has a fixed size in the model [mm]."""

    dimension: str
    model_mm: float


@dataclass(frozen=True, slots=True, eq=False)
class JointObservations:
    """Lengths that were measured together, such as on one photograph, with what their uncertainties share.

    id          such as "photo:front"; decisions and traces name it
    ids         (k,) of each length
    terms       (k,) as of an observation
    values_mm   (k,) at the size of the prototype
    covariance  (k, k) [mm2]
    """

    id: str
    ids: tuple[str, ...]
    terms: tuple[tuple[tuple[str, float], ...], ...]
    values_mm: Array
    covariance: Array
    source: str = ""

    def __post_init__(self) -> None:
        count = len(self.ids)
        for name, shape in (("values_mm", (count,)), ("covariance", (count, count))):
            value = np.array(getattr(self, name), dtype=np.float64)
            if value.shape != shape or not np.isfinite(value).all() or len(self.terms) != count:
                raise ValueError(f"{self.id}: {count} lengths need {name} of shape {shape}, finite")
            value.setflags(write=False)
            object.__setattr__(self, name, value)
