"""Pictures: read by their header first, shown reduced, copied without what is private."""

from dryfit.files.photo.cleaning import cleaned
from dryfit.files.photo.grey import stored_grey
from dryfit.files.photo.read import check_pixels, parse_picture, read_picture
from dryfit.files.photo.record import PhotoRefused, Picture
from dryfit.files.photo.show import cut_out, cut_tiles, reduced_copy
from dryfit.files.photo.write import encode_photograph

__all__ = [
    "PhotoRefused",
    "Picture",
    "check_pixels",
    "cleaned",
    "cut_out",
    "cut_tiles",
    "encode_photograph",
    "parse_picture",
    "read_picture",
    "reduced_copy",
    "stored_grey",
]
