"""What a picture says of its camera: focal length in pixels, whether it was cropped, and corners of a board on it."""

from dryfit.calc.picture.board import BoardSeen, find_board
from dryfit.calc.picture.crop import Crop, CropKind, find_crop
from dryfit.calc.picture.focal import FocalFigure, focal_from_data
from dryfit.calc.picture.orientation import ORIENTATIONS, upright_point, upright_size
from dryfit.calc.picture.taken import Taken

__all__ = [
    "ORIENTATIONS",
    "BoardSeen",
    "Crop",
    "CropKind",
    "FocalFigure",
    "Taken",
    "find_board",
    "find_crop",
    "focal_from_data",
    "upright_point",
    "upright_size",
]
