"""Rows of [[photo]]: a picture file, and what is stated of the camera."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from pathlib import PurePosixPath
from types import MappingProxyType
from typing import Annotated, ClassVar

from pydantic import AfterValidator, Field

from dryfit.base.estimate import Estimate
from dryfit.model.photo import Photo
from dryfit.store.row import Finding, Id, NotNegative, Positive, Row, Sha256, check_mesh, refusal
from dryfit.store.rows_evidence import Date
from dryfit.store.words import quote

DISTORTION = ("k1", "k2", "p1", "p2", "k3")


def check_picture(text: str) -> str:
    """A relative file that stays inside the project folder."""
    if "#" in text or not text or not text.isprintable() or text.endswith("/"):
        raise refusal(f"{quote(text)} names no picture file", 'write file = "photos/front.jpg", without #')
    check_mesh(text)  # the same rules for a path
    return PurePosixPath(text).as_posix()


FileName = Annotated[str, AfterValidator(check_picture)]
# A coordinate in pixels: pictures of a million pixels a side do not exist, slips of a unit do.
Pixel = Annotated[float, Field(ge=-1e6, le=1e6)]
PixelPoint = Annotated[list[Pixel], Field(min_length=2, max_length=2)]
Five = Annotated[list[float], Field(min_length=5, max_length=5)]
FiveStd = Annotated[list[NotNegative], Field(min_length=5, max_length=5)]


class PhotoRow(Row):
    """One photograph."""

    examples: ClassVar[Mapping[str, str]] = MappingProxyType(
        {
            "id": 'id = "front"',
            "file": 'file = "photos/front.jpg"',
            "lens": 'lens = "my-50"',
            "focal_px": "focal_px = 4120.0",
            "focal_std_px": "focal_std_px = 40.0",
            "sensor_width_mm": "sensor_width_mm = 36.0",
            "centre_px": "centre_px = [2015.0, 1510.0]",
            "centre_std_px": "centre_std_px = 8.0",
            "distortion": "distortion = [-0.12, 0.03, 0, 0, 0] (k1, k2, p1, p2, k3)",
            "distortion_std": "distortion_std = [0.01, 0.02, 0, 0, 0]",
            "distance_mm": "distance_mm = 24000",
            "distance_std_mm": "distance_std_mm = 500",
            "least_distance_mm": "least_distance_mm = 15000",
            "cropped": "cropped = true",
            "mirrored": "mirrored = true",
            "source": 'source = "county archive, box 12"',
        }
    )

    id: Id
    file: FileName
    sha256: Sha256 | None = None
    lens: Id | None = None
    focal_px: Positive | None = None
    focal_std_px: NotNegative | None = None
    sensor_width_mm: Positive | None = None
    centre_px: PixelPoint | None = None
    centre_std_px: NotNegative | None = None
    distortion: Five | None = None
    distortion_std: FiveStd | None = None
    distance_mm: Positive | None = None
    distance_std_mm: NotNegative | None = None
    least_distance_mm: Positive | None = None
    cropped: bool | None = None
    mirrored: bool | None = None
    source: Annotated[str, Field(min_length=1)] | None = None
    date: Date | None = None

    def findings(self) -> Iterator[Finding]:
        """A value and its standard uncertainty come together; a distance is known or a least one is."""
        for key, std in (
            ("focal_px", "focal_std_px"),
            ("centre_px", "centre_std_px"),
            ("distortion", "distortion_std"),
            ("distance_mm", "distance_std_mm"),
        ):
            if getattr(self, std) is not None and getattr(self, key) is None:
                yield Finding((std,), f"{std} is stated without {key}", f"add {key}, or remove {std}")
            if getattr(self, key) is not None and getattr(self, std) is None:
                what = f"{key} is stated without its standard uncertainty"
                yield Finding((key,), what, f"add {self.examples[std]}; 0 says that it is exact")
        if self.distance_mm is not None and self.least_distance_mm is not None:
            what = "distance_mm and least_distance_mm are both stated"
            yield Finding(("least_distance_mm",), what, "keep one of the two")
        if self.distortion is not None and self.focal_px is None:
            what = "distortion is stated without the focal length that it belongs to"
            yield Finding(("distortion",), what, f"add {self.examples['focal_px']}")

    def to_model(self) -> Photo:
        """The record."""
        return Photo(
            id=self.id,
            file=self.file,
            sha256=self.sha256 or "",
            lens=self.lens or "",
            focal_px=_estimate(self.focal_px, self.focal_std_px),
            sensor_width_mm=self.sensor_width_mm,
            centre_px=None if self.centre_px is None else (self.centre_px[0], self.centre_px[1]),
            centre_std_px=self.centre_std_px or 0.0,
            distortion=tuple(self.distortion or ()),
            distortion_std=tuple(self.distortion_std or ()),
            distance_mm=_estimate(self.distance_mm, self.distance_std_mm),
            least_distance_mm=self.least_distance_mm,
            is_cropped=self.cropped,
            is_mirrored=bool(self.mirrored),
            source=self.source or "",
            date=self.date or "",
        )


def _estimate(value: float | None, std: float | None) -> Estimate | None:
    return None if value is None else Estimate(value, std or 0.0)
