"""What a picture's own data says: checked against the geometry of known cameras, and Pillow for orientations."""

from __future__ import annotations

import math

import numpy as np
import PIL.Image
import PIL.ImageOps
import pytest
from hypothesis import given
from hypothesis import strategies as st

from dryfit.calc.picture import ORIENTATIONS, Taken, find_crop, focal_from_data, upright_point, upright_size


def focal(width, height, taken, sensor_width_mm=None):
    return focal_from_data(width, height, taken, find_crop(width, height, taken), sensor_width_mm)


@pytest.mark.parametrize(
    ("taken", "sensor_width_mm", "whence"),
    [
        (Taken(focal_mm=50.0), 36.0, "sensor width"),
        (Taken(focal_mm=50.0, px_per_mm=6000 / 36.0), None, "focal plane"),
        (Taken(focal_35_mm=50.0), None, "35 mm equivalent"),
    ],
)
def test_a_50_mm_lens_before_a_36_by_24_sensor_of_6000_pixels(taken, sensor_width_mm, whence):
    # similar triangles: 50 mm over 36 mm of sensor is 50/36 of its 6000 pixels, whichever way it is written down
    found = focal(6000, 4000, taken, sensor_width_mm)
    assert found.focal_px == pytest.approx(50.0 / 36.0 * 6000.0, rel=1e-6)
    assert found.whence == whence
    assert 0.02 < found.std_px / found.focal_px < 0.04


def test_a_picture_held_upright_has_the_same_focal_length():
    taken = Taken(focal_mm=50.0)
    assert focal(4000, 6000, taken, 36.0).focal_px == pytest.approx(focal(6000, 4000, taken, 36.0).focal_px)


@given(st.floats(0.1, 1.0))
def test_a_reduced_picture_has_its_focal_length_reduced_with_it(share):
    taken = Taken(focal_mm=28.0, px_per_mm=200.0, width_px=6000, height_px=4000)
    width, height = round(6000 * share), round(4000 * share)
    found = focal(width, height, taken)
    assert found.focal_px == pytest.approx(28.0 * 200.0 * width / 6000, rel=1e-9)


def test_a_short_equivalent_is_less_sure_because_it_is_rounded_to_a_millimetre():
    short, long = focal(6000, 4000, Taken(focal_35_mm=5.0)), focal(6000, 4000, Taken(focal_35_mm=200.0))
    assert short.std_px / short.focal_px > 1.5 * long.std_px / long.focal_px
    # JCGM 100:2008, F.2.2.1: a step of one has a standard uncertainty of 1/sqrt(12)
    assert short.std_px / short.focal_px == pytest.approx(
        math.hypot(0.05 / 3**0.5, 1 / 12**0.5 / 5.0), rel=1e-9
    )


def test_figures_that_contradict_one_another_are_told_and_bound_nothing():
    found = focal(6000, 4000, Taken(focal_mm=50.0, focal_35_mm=75.0), 36.0)
    assert found.is_contradicted
    assert found.std_px == pytest.approx(found.other_px - found.focal_px)
    assert not focal(6000, 4000, Taken(focal_mm=50.0, focal_35_mm=50.0), 36.0).is_contradicted


def test_digital_zoom_lengthens_what_the_sensor_width_gives():
    plain, zoomed = (focal(6000, 4000, Taken(focal_mm=50.0, zoom=zoom), 36.0) for zoom in (None, 2.0))
    assert zoomed.focal_px == pytest.approx(2.0 * plain.focal_px)


def test_a_cropped_picture_and_one_without_figures_tell_no_focal_length():
    cropped = Taken(focal_mm=50.0, px_per_mm=166.7, width_px=6000, height_px=4000)
    assert focal(3000, 3000, cropped) is None
    assert focal(6000, 4000, Taken(focal_mm=50.0)) is None
    assert focal(6000, 4000, Taken()) is None


@pytest.mark.parametrize(
    ("size", "was", "kind"),
    [
        ((6000, 4000), (6000, 4000), "none seen"),
        ((4000, 6000), (6000, 4000), "none seen"),
        ((1500, 1000), (6000, 4000), "reduced"),
        ((1000, 667), (6000, 4000), "reduced"),
        ((6000, 3000), (6000, 4000), "cropped"),
        ((1000, 640), (6000, 4000), "cropped"),
        ((4928, 3264), None, "none seen"),
        ((4032, 3024), None, "none seen"),
        ((5000, 3100), None, "doubtful"),
        ((5000, 3100), (5000, 3100), "doubtful"),
    ],
)
def test_a_crop_shows_where_the_sides_do_not_fit(size, was, kind):
    taken = Taken() if was is None else Taken(width_px=was[0], height_px=was[1])
    assert find_crop(*size, taken).kind == kind


@given(st.integers(16, 9000), st.integers(16, 9000), st.floats(0.05, 1.0))
def test_a_picture_reduced_as_a_whole_is_never_called_cropped(width, height, share):
    now = max(1, round(width * share)), max(1, round(height * share))
    assert find_crop(*now, Taken(width_px=width, height_px=height)).kind != "cropped"


def test_a_picture_without_pixels_is_refused():
    with pytest.raises(ValueError):
        find_crop(0, 10, Taken())


@pytest.mark.parametrize("orientation", ORIENTATIONS)
def test_a_point_goes_where_pillow_puts_its_pixel(orientation):
    array = np.zeros((5, 7), dtype=np.uint8)
    array[1, 4] = 255
    image = PIL.Image.fromarray(array)
    image.getexif()[0x0112] = orientation
    upright = np.asarray(PIL.ImageOps.exif_transpose(image))
    (row,), (column,) = np.nonzero(upright)
    assert upright_point(4, 1, 7, 5, orientation) == (column, row)
    assert upright_size(7, 5, orientation) == (upright.shape[1], upright.shape[0])


def test_an_orientation_that_does_not_exist_is_refused():
    with pytest.raises(ValueError):
        upright_size(7, 5, 9)
    with pytest.raises(ValueError):
        upright_point(1, 1, 7, 5, 0)
