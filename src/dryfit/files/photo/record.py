"""A picture as its header has it, and refusals."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from dryfit.base.errors import DryfitError
from dryfit.calc.picture import ORIENTATIONS, Taken

PictureFormat = Literal["JPEG", "PNG", "TIFF"]


class PhotoRefused(DryfitError):
    """A picture file cannot be read rightly."""


@dataclass(frozen=True, slots=True)
class Picture:
    """What the header says; no pixel was read, and nothing private is kept.

    width_px, height_px                of the upright picture, in which marks are counted
    stored_width_px, stored_height_px  as the file has it
    orientation   1 to 8: how the stored picture is turned to stand upright
    taken         figures of the camera
    is_private    the file holds a place, a name, a serial number or a comment
    notes         what could not be read and was left out
    """

    name: str
    format: PictureFormat
    sha256: str
    bytes: int
    width_px: int
    height_px: int
    stored_width_px: int
    stored_height_px: int
    orientation: int
    taken: Taken
    is_private: bool
    notes: tuple[str, ...] = ()

    @property
    def turned(self) -> str:
        """How the stored picture is made upright, in words."""
        return ORIENTATIONS[self.orientation]

    @property
    def megapixels(self) -> float:
        """Millions of pixels."""
        return self.width_px * self.height_px / 1e6
