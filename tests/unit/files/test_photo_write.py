"""A picture written as a camera stores it, and read again."""

import io

import numpy as np
import PIL.Image
import PIL.ImageOps
import pytest

from dryfit.calc.picture import ORIENTATIONS, Taken
from dryfit.files.photo import encode_photograph, parse_picture, reduced_copy

TAKEN = Taken(focal_mm=4.3, focal_35_mm=26.0, width_px=320, height_px=240)


def picture():
    """Four plain quarters, each of another colour, wider than high."""
    array = np.zeros((240, 320, 3), dtype=np.uint8)
    array[:120, :160] = (200, 40, 40)
    array[:120, 160:] = (40, 200, 40)
    array[120:, :160] = (40, 40, 200)
    array[120:, 160:] = (220, 220, 60)
    return array


@pytest.mark.parametrize("orientation", ORIENTATIONS)
def test_turned_as_it_says_it_stands_upright_again(orientation):
    data = encode_photograph(picture(), orientation, TAKEN)
    read = parse_picture(data, "a.jpg", "a.jpg")
    assert read.orientation == orientation
    assert (read.width_px, read.height_px) == (320, 240)
    assert (read.stored_width_px, read.stored_height_px) == ((240, 320) if orientation > 4 else (320, 240))
    assert read.taken == TAKEN
    assert not read.is_private
    # by a general-purpose library, and by the project's own reader
    by_library = PIL.ImageOps.exif_transpose(PIL.Image.open(io.BytesIO(data)))
    shown = PIL.Image.open(io.BytesIO(reduced_copy(read, data, "a.jpg")))
    for image in (by_library, shown):
        found = np.asarray(image).astype(int)
        inner = np.abs(found - picture().astype(int))[np.ix_([60, 180], [80, 240])]
        assert inner.max() < 12


def test_the_same_picture_gives_the_same_bytes():
    assert encode_photograph(picture(), 6, TAKEN) == encode_photograph(picture(), 6, TAKEN)


@pytest.mark.parametrize("shape", [(240, 320), (240, 320, 4)])
def test_what_is_no_picture_is_refused(shape):
    with pytest.raises(ValueError, match="height, width, 3"):
        encode_photograph(np.zeros(shape, dtype=np.uint8))
    with pytest.raises(ValueError, match="height, width, 3"):
        encode_photograph(np.zeros((240, 320, 3)))


def test_an_orientation_that_does_not_exist_is_refused():
    with pytest.raises(ValueError, match="orientation 9"):
        encode_photograph(picture(), 9)
