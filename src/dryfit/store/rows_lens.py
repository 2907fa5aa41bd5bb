"""Rows of [[lens]]: a lens at one setting, found from photographs of a board."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from types import MappingProxyType
from typing import Annotated, ClassVar

import numpy as np
from pydantic import Field

from dryfit.model.photo import CalibratedLens
from dryfit.store.row import Finding, Id, NotNegative, Positive, Row
from dryfit.store.rows_evidence import Date
from dryfit.store.rows_photo import Five, FiveStd, PixelPoint

_COUNT = 8
# Correlations are written to nine digits: a matrix may be this far from one that can be.
_SLACK = 1e-6

Side = Annotated[int, Field(ge=16, le=1_000_000)]
TwoStd = Annotated[list[NotNegative], Field(min_length=2, max_length=2)]
Share = Annotated[float, Field(ge=-1.0, le=1.0)]


class LensRow(Row):
    """One lens at one setting."""

    examples: ClassVar[Mapping[str, str]] = MappingProxyType(
        {
            "id": 'id = "workshop-50"',
            "width_px": "width_px = 6000",
            "height_px": "height_px = 4000",
            "focal_px": "focal_px = 8340.2",
            "focal_std_px": "focal_std_px = 4.1",
            "centre_px": "centre_px = [3011.4, 1988.0]",
            "centre_std_px": "centre_std_px = [2.0, 2.2]",
            "distortion": "distortion = [-0.12, 0.03, 0, 0, 0] (k1, k2, p1, p2, k3)",
            "distortion_std": "distortion_std = [0.01, 0.02, 0, 0, 0]",
            "correlation": "correlation = [[0.1], [0, 0.2], ...]: seven rows, below the diagonal",
            "focal_mm": "focal_mm = 50",
            "source": 'source = "14 photographs of a board, 9 x 6 corners, 25 mm"',
        }
    )

    id: Id
    width_px: Side
    height_px: Side
    focal_px: Positive
    focal_std_px: NotNegative
    centre_px: PixelPoint
    centre_std_px: TwoStd
    distortion: Five
    distortion_std: FiveStd
    correlation: Annotated[list[list[Share]], Field(min_length=_COUNT - 1, max_length=_COUNT - 1)] | None = (
        None
    )
    focal_mm: Positive | None = None
    source: Annotated[str, Field(min_length=1)] | None = None
    date: Date | None = None

    def findings(self) -> Iterator[Finding]:
        """Correlations are those of figures that can be."""
        if self.correlation is None:
            return
        for number, row in enumerate(self.correlation):
            if len(row) != number + 1:
                what = f"row {number + 1} of the correlations has {len(row)} values, not {number + 1}"
                yield Finding(("correlation", number), what, f"write {self.examples['correlation']}")
                return
        if float(np.linalg.eigvalsh(self._matrix()).min()) < -_SLACK:
            what = "no eight figures can have these correlations"
            yield Finding(("correlation",), what, "copy them whole, or remove the key: none is then taken")

    def to_model(self) -> CalibratedLens:
        """The record; without correlation the figures are independent."""
        std = np.array([self.focal_std_px, *self.centre_std_px, *self.distortion_std])
        values, vectors = np.linalg.eigh(self._matrix())
        root = vectors * np.sqrt(np.maximum(values, 0.0)) * std[:, None]
        covariance = root @ root.T
        return CalibratedLens(
            id=self.id,
            width_px=self.width_px,
            height_px=self.height_px,
            figures=(self.focal_px, *self.centre_px, *self.distortion),
            covariance=tuple(tuple(float(value) for value in row) for row in covariance),
            focal_mm=self.focal_mm,
            source=self.source or "",
            date=self.date or "",
        )

    def _matrix(self) -> np.ndarray:
        matrix = np.eye(_COUNT)
        for number, row in enumerate(self.correlation or ()):
            matrix[number + 1, : number + 1] = row
            matrix[: number + 1, number + 1] = row
        return matrix
