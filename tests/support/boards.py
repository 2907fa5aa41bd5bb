"""Pictures of a chessboard rendered through a lens with distortion. All figures are invented."""

from __future__ import annotations

from pathlib import Path

import cv2
import numpy as np
import PIL.Image

from dryfit.base.arrays import Array
from dryfit.calc.photo import Lens, Pose

COLUMNS, ROWS, SQUARE_MM = 9, 6, 25.0
LENS = Lens(620.0, np.array([322.0, 236.0]), -0.16, 0.05)
# Distance [mm], tilt about the picture's x and y, turn about its axis [degrees], middle of the board on the picture.
STANDS = (
    (380, 30, 0, 0, 0.0, 0.0),
    (380, -32, 4, 5, -0.1, 0.1),
    (360, 3, 33, 2, 0.1, -0.1),
    (400, 0, -30, -4, 0.05, 0.05),
    (420, 25, 25, 10, -0.15, -0.12),
    (420, -22, -25, -8, 0.15, 0.12),
    (400, 5, -5, 1, 0.2, -0.2),
)
SQUARE_ON = tuple((360 + 30 * k, 2.0 - k, k - 2.0, 3.0 * k, 0.0, 0.0) for k in range(5))


def pose_of(stand: tuple[float, ...]) -> Pose:
    """A camera that sees the board so. stand: as in STANDS."""
    distance, about_x, about_y, about_z, right, down = stand
    x, y, z = np.radians([about_x, about_y, about_z])
    turn_x = np.array([[1, 0, 0], [0, np.cos(x), -np.sin(x)], [0, np.sin(x), np.cos(x)]])
    turn_y = np.array([[np.cos(y), 0, np.sin(y)], [0, 1, 0], [-np.sin(y), 0, np.cos(y)]])
    turn_z = np.array([[np.cos(z), -np.sin(z), 0], [np.sin(z), np.cos(z), 0], [0, 0, 1]])
    rotation = turn_z @ turn_y @ turn_x
    middle = np.array([(COLUMNS - 1) / 2, (ROWS - 1) / 2, 0.0]) * SQUARE_MM
    place = np.array([right, down, 1.0]) * distance
    return Pose(rotation, middle - rotation.T @ place)


def board_picture(
    stand: tuple[float, ...],
    lens: Lens = LENS,
    width: int = 640,
    height: int = 480,
    seed: int = 0,
    blur: int = 2,
) -> Array:
    """(h, w, 3) of 8 bits. blur: samples a pixel along each side."""
    steps = (np.arange(blur) + 0.5) / blur - 0.5
    x = (np.arange(width)[:, None] + steps).ravel()
    y = (np.arange(height)[:, None] + steps).ravel()
    grid = np.column_stack([np.tile(x, len(y)), np.repeat(y, len(x))])
    x0, y0 = lens.centre_px
    inner = np.array([[lens.focal_px, 0.0, x0], [0.0, lens.focal_px, y0], [0.0, 0.0, 1.0]])
    settings = (3, 12, 1e-9)
    xy = cv2.undistortPoints(grid[:, None], inner, np.array(lens.distortion), criteria=settings).reshape(
        -1, 2
    )
    pose = pose_of(stand)
    rays = np.column_stack([xy, np.ones(len(xy))]) @ pose.rotation
    at = pose.position_mm + rays * (-pose.position_mm[2] / rays[:, 2])[:, None]
    column, row = (
        np.floor(at[:, 0] / SQUARE_MM).astype(int) + 1,
        np.floor(at[:, 1] / SQUARE_MM).astype(int) + 1,
    )
    is_on = (column >= 0) & (column <= COLUMNS) & (row >= 0) & (row <= ROWS)
    tone = np.where(is_on, np.where((column + row) % 2 == 0, 25.0, 225.0), 225.0)
    picture = tone.reshape(height, blur, width, blur).mean(axis=(1, 3))
    noisy = picture + np.random.default_rng(seed).normal(size=picture.shape) * 2.0
    return np.repeat(np.clip(np.round(noisy), 0, 255).astype(np.uint8)[:, :, None], 3, axis=2)


def write_boards(folder: Path, stands: tuple[tuple[float, ...], ...] = STANDS, **keys: object) -> list[Path]:
    """board1.png and so on."""
    folder.mkdir(parents=True, exist_ok=True)
    files = []
    for number, stand in enumerate(stands):
        file = folder / f"board{number + 1}.png"
        PIL.Image.fromarray(board_picture(stand, seed=number, **keys)).save(file)  # type: ignore[arg-type]
        files.append(file)
    return files


def write_bad_board(file: Path) -> Path:
    """A board that was not flat, or was shaken: its rows wave by six pixels."""
    picture = board_picture((400, 10, 15, 0, 0.0, 0.0), seed=9)
    across = np.arange(picture.shape[1])
    rows = np.arange(picture.shape[0])[:, None] + 6.0 * np.sin(across / 60.0)[None, :]
    place = np.clip(rows, 0, picture.shape[0] - 1).astype(int)
    PIL.Image.fromarray(picture[place, across[None, :]]).save(file)
    return file
