"""What all rows of the document share: strictness, the types of their fields, and findings."""

from __future__ import annotations

import math
import re
from collections.abc import Iterator, Mapping
from fractions import Fraction
from pathlib import PurePosixPath
from types import MappingProxyType
from typing import Annotated, ClassVar, NamedTuple

from pydantic import AfterValidator, BaseModel, ConfigDict, Field
from pydantic_core import PydanticCustomError

from dryfit.base.estimate import Distribution, Estimate
from dryfit.model.joint import GROUND
from dryfit.store.words import quote

Step = str | int
Path = tuple[Step, ...]


class Finding(NamedTuple):
    """A fault before its place in the text is known.

    path  keys and 0-based indices, relative to the row or from the top of the document
    """

    path: Path
    what: str
    do: str


class Row(BaseModel):
    """One table of the document: unknown keys, wrong types, NaN and infinities are refused.

    examples: how a key of this table is written, where it differs from the same key elsewhere
    """

    examples: ClassVar[Mapping[str, str]] = MappingProxyType({})

    model_config = ConfigDict(extra="forbid", strict=True, frozen=True, allow_inf_nan=False)

    def findings(self) -> Iterator[Finding]:
        """Faults that show only when the fields are seen together; each field by itself is valid."""
        yield from ()


def refusal(what: str, do: str) -> PydanticCustomError:
    """A refusal of one field, to be raised inside a validator."""
    return PydanticCustomError("refused", "{what}", {"what": what, "do": do})


_ID = re.compile(r"[A-Za-z0-9][A-Za-z0-9 _.:+-]*")
_SCALE = re.compile(r"(\d{1,9}(?:\.\d{1,9})?):(\d{1,9}(?:\.\d{1,9})?)", re.ASCII)
_SHA256 = re.compile(r"[0-9A-Fa-f]{64}")
_DRIVE = re.compile(r"[A-Za-z]:")
NORM_SLACK = 1e-3  # typed directions have three or four decimals


def check_id(text: str) -> str:
    """A name that can stand in a reference, a file name and a command line."""
    if text == GROUND:
        raise refusal('"ground" is reserved: it is the jig or floor', "give the row another id")
    if not _ID.fullmatch(text):
        raise refusal(
            f"{quote(text)} cannot be an id",
            "begin with a letter or digit, then letters, digits, spaces and _ . : + - only",
        )
    return text


def check_mesh(text: str) -> str:
    """A relative "file#object" that stays inside the project folder."""
    file, mark, name = text.partition("#")
    if not file or (mark and not name) or not text.isprintable():
        do = 'write "file#object", or "file" where it holds one object'
        raise refusal(f"{quote(text)} names no mesh", do)
    if "\\" in file:
        raise refusal(f"{quote(text)} has a backslash", 'separate folders by "/"')
    if file.startswith("/") or _DRIVE.match(file):
        raise refusal(f"{quote(text)} is not relative to the project folder", "copy the file into meshes/")
    depth = 0
    for step in PurePosixPath(file).parts:
        depth += -1 if step == ".." else 1
        if depth < 0:
            raise refusal(f"{quote(text)} leaves the project folder", "copy the file into meshes/")
    return text


def parse_scale(text: str) -> Fraction:
    """The scale "model : prototype" as an exact ratio: "1:20" is 1/20.

    Raises a refusal where the text is no such ratio or a side is zero.
    """
    match = _SCALE.fullmatch(text)
    sides = [Fraction(side) for side in match.groups()] if match else []
    if not sides or 0 in sides:
        raise refusal(
            f"{quote(text)} is not a scale", 'write model:prototype with two positive numbers, such as "1:20"'
        )
    return sides[0] / sides[1]


def check_scale(text: str) -> str:
    """The text itself, where it is a scale."""
    parse_scale(text)
    return text


def check_sha256(text: str) -> str:
    """64 hexadecimal digits, in lower case."""
    if not _SHA256.fullmatch(text):
        raise refusal(f"{quote(text)} is not a SHA-256", "give 64 hexadecimal digits, or remove the key")
    return text.lower()


def normalise(vector: list[float]) -> list[float]:
    """A direction made exactly one long; refused where it is not nearly so as typed."""
    norm = math.hypot(*vector)
    if not abs(norm - 1.0) <= NORM_SLACK:
        raise refusal(f"the direction is {norm:.6g} long, not 1", "write a unit vector, such as [0, 0, 1]")
    # Adding zero turns -0.0 into 0.0, which would otherwise print as "-0".
    return [component / norm + 0.0 for component in vector]


Id = Annotated[str, AfterValidator(check_id)]
MeshName = Annotated[str, AfterValidator(check_mesh)]
ScaleText = Annotated[str, AfterValidator(check_scale)]
Sha256 = Annotated[str, AfterValidator(check_sha256)]
NotNegative = Annotated[float, Field(ge=0)]
Positive = Annotated[float, Field(gt=0)]
Vector = Annotated[list[float], Field(min_length=3, max_length=3)]
UnitVector = Annotated[Vector, AfterValidator(normalise)]
Points = Annotated[list[Vector], Field(min_length=1)]


def make_estimate(value: float, std: float | None, distribution: Distribution | None) -> Estimate:
    """An estimate from stated keys: no std is exact, no distribution is normal."""
    return Estimate(value, std or 0.0, distribution or "normal")


def make_play(std: float | None, distribution: Distribution | None) -> Estimate | None:
    """A play about zero, or None where none is stated."""
    return None if std is None else Estimate(0.0, std, distribution or "normal")
