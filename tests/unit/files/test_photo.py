"""Reading pictures: upright sizes, figures of the camera, private data, and files that are not what they say."""

from __future__ import annotations

import io
import zlib

import numpy as np
import PIL.Image
import PIL.ImageOps
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from dryfit.files.photo import (
    PhotoRefused,
    check_pixels,
    cleaned,
    cut_out,
    cut_tiles,
    parse_picture,
    read_picture,
    reduced_copy,
)
from dryfit.files.photo import read as reading
from support.pictures import ENDING, camera_data, picture_bytes, pixels, write_picture

FORMATS = ("JPEG", "PNG", "TIFF")
SEEDS = {format: picture_bytes(format, exif=camera_data(6, focal_mm=35)) for format in FORMATS}


def parse(data: bytes, format: str = "JPEG"):
    name = f"front{ENDING[format]}"
    return parse_picture(data, name, f"photos/{name}")


def shown(data: bytes) -> np.ndarray:
    return np.asarray(PIL.Image.open(io.BytesIO(data)).convert("RGB"))


@pytest.mark.parametrize("format", FORMATS)
def test_a_picture_is_known_by_its_header(format):
    picture = parse(picture_bytes(format), format)
    assert (picture.format, picture.width_px, picture.height_px) == (format, 120, 80)
    assert picture.turned == "as stored"
    assert not picture.is_private


@pytest.mark.parametrize("format", FORMATS)
@pytest.mark.parametrize("orientation", range(1, 9))
def test_the_upright_picture_is_the_one_that_pillow_makes(format, orientation):
    data = picture_bytes(format, exif=camera_data(orientation))
    picture = parse(data, format)
    stored = PIL.Image.fromarray(pixels())
    stored.getexif()[0x0112] = orientation
    expected = np.asarray(PIL.ImageOps.exif_transpose(stored)).astype(int)
    assert (picture.height_px, picture.width_px) == expected.shape[:2]
    assert (picture.stored_width_px, picture.stored_height_px) == (120, 80)
    assert picture.orientation == orientation
    result = shown(reduced_copy(picture, data, "here")).astype(int)
    assert result.shape == expected.shape
    assert np.abs(result - expected).mean() < 6.0  # two rounds of JPEG


@pytest.mark.parametrize("format", ["JPEG", "PNG"])
def test_figures_of_the_camera_are_read(format):
    figures = camera_data(focal_mm=23.5, focal_35_mm=35, size=(6000, 4000), per_cm=2551.0, zoom=1.5)
    taken = parse(picture_bytes(format, exif=figures), format).taken
    assert taken.focal_mm == pytest.approx(23.5)
    assert taken.focal_35_mm == 35
    assert (taken.width_px, taken.height_px) == (6000, 4000)
    assert taken.px_per_mm == pytest.approx(255.1)
    assert taken.zoom == pytest.approx(1.5)


def test_senseless_figures_are_left_out():
    figures = camera_data(focal_35_mm=0, size=(0, 4000), zoom=0.0)
    figures.get_ifd(0x8769)[0x920A] = (0, 0)
    taken = parse(picture_bytes(exif=figures)).taken
    assert taken.focal_mm is None
    assert taken.focal_35_mm is None
    assert taken.width_px is None
    assert taken.zoom is None


def test_an_orientation_that_does_not_exist_is_told():
    picture = parse(picture_bytes(exif=camera_data(11)))
    assert picture.orientation == 1
    assert "orientation" in picture.notes[0]


def test_damaged_camera_data_is_told_and_the_picture_read():
    data = picture_bytes(exif=camera_data(6, focal_mm=35))
    at = data.index(b"Exif\0\0") + 6
    picture = parse(data[:at] + b"XX" * 8 + data[at + 16 :])
    assert picture.orientation == 1
    assert "whichever way it stands" in " ".join(picture.notes)


def test_orientation_behind_the_pixels_of_a_png_counts():
    data = picture_bytes("PNG")
    body = b"eXIf" + camera_data(6).tobytes().removeprefix(b"Exif\0\0")
    chunk = (len(body) - 4).to_bytes(4, "big") + body + zlib.crc32(body).to_bytes(4, "big")
    end = data.index(b"IEND") - 4
    assert parse(data[:end] + chunk + data[end:], "PNG").orientation == 6


@pytest.mark.parametrize("orientation", [1, 6])
@pytest.mark.parametrize("format", ["JPEG", "PNG"])
def test_a_clean_copy_has_the_same_pixels_and_camera_and_nothing_private(format, orientation):
    figures = camera_data(
        orientation, private=True, focal_mm=35, focal_35_mm=52, size=(120, 80), per_cm=2551.0
    )
    data = picture_bytes(format, exif=figures)
    picture = parse(data, format)
    assert picture.is_private
    copy = cleaned(picture, data)
    again = parse(copy.data, format)
    assert copy.is_clean
    assert not again.is_private
    assert again.taken == picture.taken
    assert again.orientation == orientation
    for secret in (b"Invented", b"SERIAL"):
        assert secret in data
        assert secret not in copy.data
    assert np.array_equal(shown(copy.data), shown(data))
    assert cleaned(again, copy.data).data == copy.data


@pytest.mark.parametrize("progressive", [False, True])
def test_comments_and_what_lies_behind_the_picture_go(progressive):
    data = picture_bytes(comment=b"taken at home", progressive=progressive)
    whole = data + picture_bytes(exif=camera_data(private=True))
    picture = parse(whole)
    copy = cleaned(picture, whole)
    assert b"home" not in copy.data
    assert b"Invented" not in copy.data
    assert len(copy.data) < len(data) + 100
    assert np.array_equal(shown(copy.data), shown(data))


def test_a_tiff_is_not_written_anew():
    exif = camera_data(private=True)
    data = picture_bytes("TIFF", exif=exif)
    picture = parse(data, "TIFF")
    assert picture.is_private
    assert not cleaned(picture, data).is_clean


def test_a_reduced_copy_is_as_long_as_asked_and_says_nothing():
    data = picture_bytes(exif=camera_data(6, private=True), array=pixels(1200, 800))
    picture = parse(data)
    copy = reduced_copy(picture, data, "here", 200)
    assert PIL.Image.open(io.BytesIO(copy)).size == (133, 200)
    assert b"Exif" not in copy
    assert b"Invented" not in copy


def test_a_piece_for_the_magnifier_is_exact():
    data = picture_bytes("PNG", exif=camera_data(6))
    picture = parse(data, "PNG")
    whole = np.rot90(pixels(), -1)
    assert np.array_equal(shown(cut_out(picture, data, "here", 70, 110, 40, 40)), whole[110:120, 70:80])
    with pytest.raises(PhotoRefused, match="outside"):
        cut_out(picture, data, "here", 200, 200, 10, 10)


def test_squares_for_the_magnifier_make_up_the_upright_picture():
    data = picture_bytes("PNG", exif=camera_data(6))
    tiles = cut_tiles(parse(data, "PNG"), data, "here", 50)
    assert sorted(tiles) == [(column, row) for column in range(2) for row in range(3)]
    rows = [np.hstack([shown(tiles[column, row]) for column in range(2)]) for row in range(3)]
    whole = np.vstack(rows).astype(float)
    truth = np.rot90(pixels(), -1).astype(float)
    assert whole.shape == truth.shape
    # JPEG of noise: a few grey levels off, none of them out of place
    assert np.abs(whole - truth).mean() < 4.0


@pytest.mark.parametrize(
    "array",
    [
        pixels()[:, :, 0],
        np.dstack([pixels(), np.full((80, 120), 128, dtype=np.uint8)]),
        (pixels()[:, :, 0].astype(np.uint16) << 8),
    ],
    ids=["grey", "transparent", "16 bits"],
)
def test_grey_transparent_and_deep_pictures_are_shown(array):
    data = picture_bytes("PNG", array=array)
    picture = parse(data, "PNG")
    result = shown(reduced_copy(picture, data, "here"))
    assert result.shape == (80, 120, 3)
    assert 20 < result[40, 5].mean() < result[40, 115].mean()


@pytest.mark.parametrize(
    ("name", "data", "words"),
    [
        ("a.jpg", picture_bytes("PNG"), "a PNG picture but its name ends in .jpg"),
        ("a.png", picture_bytes("JPEG"), "a JPEG picture but its name ends in .png"),
        ("a", picture_bytes("JPEG"), "its name has no ending"),
        ("a.jpg", b"only a letter\n", "a text, not a picture that is read although it is named .jpg"),
        ("a.jpg", b"<!DOCTYPE html><html>", "a text of markup"),
        ("a.png", b"GIF89a" + bytes(30), "a GIF picture"),
        ("a.webp", b"RIFF\0\0\0\0WEBPVP8 ", "a WebP picture"),
        ("a.jpg", b"\0\0\0\x18ftypheic\0\0\0\0", "a HEIF picture"),
        ("a.pdf", b"%PDF-1.7 ", "a PDF document"),
        ("a.tif", bytes(range(200)), "something else"),
    ],
)
def test_a_wrongly_typed_file_is_named_for_what_it_is(name, data, words, tmp_path):
    (tmp_path / name).write_bytes(data)
    with pytest.raises(PhotoRefused, match=words) as caught:
        read_picture(tmp_path / name)
    assert caught.value.where == str(tmp_path / name)
    assert caught.value.do


def test_a_missing_an_empty_and_a_folder_are_refused(tmp_path):
    (tmp_path / "empty.jpg").touch()
    for name, words in (
        ("none.jpg", "no such"),
        ("empty.jpg", "empty"),
        (".", "folder"),
        ("a\0b", "no file name"),
    ):
        with pytest.raises(PhotoRefused, match=words):
            read_picture(tmp_path / name)


@pytest.mark.parametrize("format", FORMATS)
@pytest.mark.parametrize("share", [0.3, 0.6, 0.95])
def test_a_truncated_picture_is_refused_when_it_is_read_to_its_end(format, share):
    data = picture_bytes(format)
    cut = data[: int(len(data) * share)]
    with pytest.raises(PhotoRefused, match="cut short or damaged"):
        check_pixels(parse(cut, format), cut, "here")


def test_100_megapixels_are_read_by_the_header_and_shown_reduced(tmp_path):
    # a flat picture compresses to little: what counts is that no 300 MB are decoded
    buffer = io.BytesIO()
    PIL.Image.new("L", (12_500, 8_000), 90).save(buffer, "JPEG", quality=30)
    data = buffer.getvalue()
    picture = parse(data)
    assert picture.megapixels == 100.0
    check_pixels(picture, data, "here")
    assert PIL.Image.open(io.BytesIO(reduced_copy(picture, data, "here", 800))).size == (800, 512)


def png_header(width: int, height: int) -> bytes:
    body = b"IHDR" + width.to_bytes(4, "big") + height.to_bytes(4, "big") + bytes([8, 2, 0, 0, 0])
    data = b"IDAT" + zlib.compress(b"\0" * 10)
    chunks = (
        (len(chunk) - 4).to_bytes(4, "big") + chunk + zlib.crc32(chunk).to_bytes(4, "big")
        for chunk in (body, data, b"IEND")
    )
    return b"\x89PNG\r\n\x1a\n" + b"".join(chunks)


def test_a_picture_beyond_the_limit_is_refused_from_its_header_alone():
    with pytest.raises(PhotoRefused, match="2500 megapixels") as caught:
        parse(png_header(50_000, 50_000), "PNG")
    assert "smaller" in caught.value.do


def test_a_progressive_jpeg_has_the_lower_limit(monkeypatch):
    monkeypatch.setattr(reading, "LARGEST_WHOLE_PIXELS", 5000)
    with pytest.raises(PhotoRefused, match="progressive"):
        parse(picture_bytes(progressive=True))
    assert parse(picture_bytes()).width_px == 120


def test_a_preview_of_a_few_pixels_and_several_pages_are_refused():
    with pytest.raises(PhotoRefused, match="nothing can be marked"):
        parse(picture_bytes(array=pixels(8, 8)))
    buffer = io.BytesIO()
    image = PIL.Image.fromarray(pixels())
    image.save(buffer, "TIFF", save_all=True, append_images=[image, image])
    with pytest.raises(PhotoRefused, match="holds 3 pictures"):
        parse(buffer.getvalue(), "TIFF")


def read_through(data: bytes, format: str) -> None:
    """A picture, or a refusal in three parts; never anything else."""
    try:
        picture = parse(data, format)
        check_pixels(picture, data, "here")
        copy = cleaned(picture, data)
        reduced_copy(parse(copy.data, format), copy.data, "here", 60)
    except PhotoRefused as refusal:
        parts = (refusal.what, refusal.where, refusal.do)
    else:
        return
    assert all(parts)


@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(st.sampled_from(FORMATS), st.data())
def test_a_damaged_picture_is_read_or_refused(format, data):
    seed = bytearray(SEEDS[format])
    for _ in range(data.draw(st.integers(1, 6))):
        # nine faults in ten hit the headers, where they do most
        reach = data.draw(st.sampled_from([400] * 9 + [len(seed)]))
        seed[data.draw(st.integers(0, min(reach, len(seed)) - 1))] = data.draw(st.integers(0, 255))
    cut = data.draw(st.one_of(st.none(), st.integers(0, len(seed))))
    read_through(bytes(seed[:cut]), format)


@settings(max_examples=150, deadline=None)
@given(st.sampled_from(FORMATS), st.binary(max_size=300))
def test_any_bytes_behind_a_signature_are_refused(format, tail):
    signature = {"JPEG": b"\xff\xd8\xff", "PNG": b"\x89PNG\r\n\x1a\n", "TIFF": b"II*\0"}[format]
    read_through(signature + tail, format)


def test_a_file_that_is_read_from_disk_has_the_hash_of_its_bytes(tmp_path):
    import hashlib

    path = write_picture(tmp_path / "front.jpg")
    picture, data = read_picture(path)
    assert picture.sha256 == hashlib.sha256(path.read_bytes()).hexdigest()
    assert data == path.read_bytes()
