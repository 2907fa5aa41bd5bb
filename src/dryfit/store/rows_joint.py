"""Rows of [[joint]] with its stated faces."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Annotated, Literal

import numpy as np
from pydantic import Field

from dryfit.base.estimate import Distribution
from dryfit.model.joint import GROUND, FaceContacts, Joint, Locators, Role
from dryfit.store.row import (
    Finding,
    Id,
    NotNegative,
    Points,
    Row,
    UnitVector,
    Vector,
    make_estimate,
    make_play,
)
from dryfit.store.words import count_things

POINTS_NEEDED: dict[Locators, int] = {"none": 0, "pin": 1, "pin-and-slot": 2, "two-pins": 2}


class FacesRow(Row):
    """Stated contacts: points, and one normal for all or one for each."""

    points_mm: Points
    normal: UnitVector | None = None
    normals: Annotated[list[UnitVector], Field(min_length=1)] | None = None
    points_on_second_mm: Points | None = None
    area_mm2: NotNegative = 0.0

    def findings(self) -> Iterator[Finding]:
        """Either normal or normals; as many of each list as there are points."""
        count = len(self.points_mm)
        if self.normal is None and self.normals is None:
            do = "add normal = [x, y, z], from the first part to the second"
            yield Finding((), "the faces have no normal", do)
        if self.normal is not None and self.normals is not None:
            yield Finding(("normals",), "both normal and normals are stated", "keep one of them")
        for key in ("normals", "points_on_second_mm"):
            values = getattr(self, key)
            if values is not None and len(values) != count:
                what = f"{count_things(len(values), 'entry', 'entries')} for {count_things(count, 'point')}"
                yield Finding((key,), what, f"give one per entry of points_mm: {count}")

    def to_model(self) -> FaceContacts:
        """The record; the facing points are the same where they are not stated."""
        points = np.array(self.points_mm, dtype=np.float64)
        facing = self.points_on_second_mm
        second = points if facing is None else np.array(facing, dtype=np.float64)
        normals = self.normals if self.normals is not None else [self.normal] * len(points)
        return FaceContacts(points, second, np.array(normals, dtype=np.float64), self.area_mm2)


class JointRow(Row):
    """Two parts that meet."""

    id: Id
    parts: Annotated[list[str], Field(min_length=2, max_length=2)]
    locators: Locators = "none"
    locator_points_mm: list[Vector] | None = None
    locator_axis: Literal["long", "short"] = "long"
    bond_line_mm: NotNegative | None = None
    bond_line_std_mm: NotNegative | None = None
    bond_line_distribution: Distribution | None = None
    contact_play_mm: NotNegative | None = None
    contact_play_distribution: Distribution | None = None
    locator_play_mm: NotNegative | None = None
    locator_play_distribution: Distribution | None = None
    role: Role | None = None
    proposed: bool = False
    press_mm: Annotated[float, Field(gt=0)] | None = None
    adhesive: str | None = None
    faces: FacesRow | None = None

    def findings(self) -> Iterator[Finding]:
        """Pairing, the jig, locator points, bond line, and the stated faces."""
        first, second = self.parts
        if first == second:
            yield Finding(("parts",), f'both sides are "{first}"', "name two different parts")
        elif second == GROUND:
            yield Finding(("parts",), '"ground" stands second', f'write parts = ["ground", "{first}"]')
        if GROUND in self.parts and self.faces is None:
            what = "a joint with the ground has no stated faces"
            yield Finding(("parts",), what, "add a [joint.faces] table")
        if self.bond_line_std_mm is not None and self.bond_line_mm is None:
            what = "an uncertainty is stated for a bond line that is not"
            yield Finding(("bond_line_std_mm",), what, "add bond_line_mm")
        yield from self._locator_findings()
        if self.faces is not None:
            for finding in self.faces.findings():
                yield finding._replace(path=("faces", *finding.path))

    def _locator_findings(self) -> Iterator[Finding]:
        points = self.locator_points_mm
        if points is None:
            return
        needed, path = POINTS_NEEDED[self.locators], ("locator_points_mm",)
        if needed == 0:
            do = 'state locators = "pin", "pin-and-slot" or "two-pins", or remove the points'
            yield Finding(path, "locator points are stated for a joint without locators", do)
        elif len(points) != needed:
            what = f"{count_things(len(points), 'locator point')} for {self.locators}"
            yield Finding(path, what, f"give {needed}")
        elif needed == 2 and points[0] == points[1]:
            yield Finding(path, "both locators lie at one point", "give two different points")

    def to_model(self) -> Joint:
        """The record."""
        bond = self.bond_line_mm
        return Joint(
            id=self.id,
            parts=(self.parts[0], self.parts[1]),
            locators=self.locators,
            locator_points_mm=self.locator_points_mm,  # type: ignore[arg-type]
            locator_axis=self.locator_axis,
            bond_line_mm=None
            if bond is None
            else make_estimate(bond, self.bond_line_std_mm, self.bond_line_distribution),
            contact_play_mm=make_play(self.contact_play_mm, self.contact_play_distribution),
            locator_play_mm=make_play(self.locator_play_mm, self.locator_play_distribution),
            role=self.role,
            faces=None if self.faces is None else self.faces.to_model(),
            proposed=self.proposed,
            press_mm=self.press_mm,
            adhesive=self.adhesive,
        )
