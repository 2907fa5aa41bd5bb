"""Drawing the invented observatory as a camera sees it: faces from behind to the front, at twice the size.

The pictures are there to be marked, not to be admired: what matters is that edges lie where the camera puts them.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from dryfit.app.demo_photographs_building import FLAG, R_RING
from dryfit.app.demo_photographs_camera import Shot
from dryfit.app.demo_photographs_scene import Scene
from dryfit.base.arrays import Array
from dryfit.calc.photo.camera import project_rows

Pixels = NDArray[np.uint8]
CAPTION = ("INVENTED: rendered by code.", "Harrow Fell observatory does not exist.")
SUN = np.array([0.55, -0.5, 0.67])
_TWICE, _FINE = 2, 4  # drawn at twice the size; corners to a sixteenth of such a pixel
_NEAREST_MM = 1500.0
_SKY, _HAZE = (150, 184, 214), (222, 228, 226)
_GROUND, _FELLS, _SHADE, _SEAM = (178, 170, 154), (112, 130, 122), (142, 136, 126), (150, 143, 129)
_CLEAR_MM = 1200.0  # of a seam from the foot of the drum


def render(shot: Shot, scene: Scene) -> Pixels:
    """The upright picture (height, width, 3), red, green and blue from 0 to 255."""
    import cv2

    canvas = _background(shot)
    _draw_ground(canvas, shot)
    for corners, colour in _visible(shot, scene):
        cv2.fillConvexPoly(canvas, corners, colour, cv2.LINE_8, _FINE)
    small = cv2.resize(canvas, (shot.width_px, shot.height_px), interpolation=cv2.INTER_AREA)
    picture = _as_taken(shot, np.asarray(small, dtype=np.uint8))
    _write_caption(picture, shot)
    return picture


def _place(shot: Shot, points_mm: Array) -> tuple[Array, Array]:
    """Where points (n, 3) lie on the canvas, in its fixed-point pixels (n, 2), and their depths (n,) [mm]."""
    count = len(points_mm)
    rows = (np.tile(shot.lens.vector, (count, 1)), np.tile(shot.pose.rotation, (count, 1, 1)))
    seen = project_rows(*rows, np.tile(shot.pose.position_mm, (count, 1)), points_mm)
    # a pixel's own centre is 0 in the picture, and half a pixel from the canvas's edge
    places = (seen.marks_px + 0.5) * _TWICE - 0.5
    far = 64.0 * max(shot.width_px, shot.height_px)
    return np.round(np.clip(places, -far, far) * 2**_FINE).astype(np.int32), seen.depth_mm


def _visible(shot: Shot, scene: Scene) -> list[tuple[Array, tuple[float, ...]]]:
    """Faces turned to the camera, the farthest first, in the light of the sun."""
    corners = scene.corners
    middle = corners.mean(axis=1)
    normal = np.cross(corners[:, 1] - corners[:, 0], corners[:, 3] - corners[:, 0])
    # a face that ends in a point has no side there
    other = np.cross(corners[:, 3] - corners[:, 2], corners[:, 1] - corners[:, 2])
    normal = normal + other
    normal /= np.linalg.norm(normal, axis=1)[:, None]
    ahead = shot.pose.position_mm - middle
    facing = np.flatnonzero(np.einsum("ij,ij->i", normal, ahead) > 0.0)
    places, depth = _place(shot, corners[facing].reshape(-1, 3))
    in_front = (depth.reshape(-1, 4) > _NEAREST_MM).all(axis=1)
    facing, places = facing[in_front], places.reshape(-1, 4, 2)[in_front]
    away = np.linalg.norm(ahead[facing], axis=1) - scene.nearer[facing]
    light = 0.55 + 0.5 * np.clip(normal[facing] @ (SUN / np.linalg.norm(SUN)), 0.0, 1.0)
    tints = np.clip(scene.colours[facing] * light[:, None], 0.0, 255.0)
    order = np.argsort(-away, kind="stable")
    return [(places[k], tuple(float(value) for value in tints[k])) for k in order]


def _background(shot: Shot) -> Pixels:
    """Sky that pales towards the horizon."""
    height, width = shot.height_px * _TWICE, shot.width_px * _TWICE
    share = np.linspace(0.0, 1.0, height)[:, None]
    sky = (1.0 - share) * np.array(_SKY) + share * np.array(_HAZE)
    return np.ascontiguousarray(np.broadcast_to(sky[:, None, :], (height, width, 3)).astype(np.uint8))


def _draw_ground(canvas: Pixels, shot: Shot) -> None:
    """Fells beyond, the terrace with its flags, and the drum's shadow."""
    import cv2

    edge = _far_edge(shot, 0.0)
    rises = 300.0 * (
        1.2 + np.sin(np.arange(len(edge)) * 0.55) + 0.6 * np.sin(np.arange(len(edge)) * 1.7 + 1.0)
    )
    fells = edge.copy()
    fells[:, 1] -= np.round(rises * 2**_FINE * shot.lens.focal_px / 12000.0).astype(np.int32)
    for line, colour in ((fells, _FELLS), (edge, _GROUND)):
        bottom = canvas.shape[0] * 2**_FINE
        cv2.fillPoly(
            canvas, [np.vstack([line, [[line[-1, 0], bottom], [line[0, 0], bottom]]])], colour, 8, _FINE
        )
    for start, end in list_seams():
        steps = np.linspace(0.0, 1.0, 24)[:, None]
        places, depth = _place(shot, start + steps * (end - start))
        places = places[depth > _NEAREST_MM]
        if len(places) > 1:
            cv2.polylines(canvas, [places], False, _SEAM, _TWICE, cv2.LINE_AA, _FINE)
    _draw_shadow(canvas, shot)


def _far_edge(shot: Shot, height_mm: float) -> Array:
    """The ground's edge, very far away, from left to right (k, 2)."""
    ahead = shot.pose.rotation[2]
    heading = np.arctan2(ahead[1], ahead[0]) - np.radians(np.linspace(-55.0, 55.0, 56))
    far = np.stack([np.cos(heading), np.sin(heading)], axis=1) * 3e6
    points = np.column_stack([far + shot.pose.position_mm[:2], np.full(len(far), height_mm)])
    return _place(shot, points)[0]


def list_seams() -> list[tuple[Array, Array]]:
    """Seams between the flags of the terrace, along x and along y, from end to end."""
    found = []
    for k in range(-14, 15):
        across = k * FLAG
        # in front of the drum a seam along x begins where the drum ends
        start = np.sqrt(max((R_RING + _CLEAR_MM) ** 2 - across**2, 0.0))
        found.append((np.array([start, across, 0.0]), np.array([28000.0, across, 0.0])))
        if k >= 7:
            found.append((np.array([across, -28000.0, 0.0]), np.array([across, 28000.0, 0.0])))
    return found


def _draw_shadow(canvas: Pixels, shot: Shot) -> None:
    import cv2

    turns = np.radians(np.arange(0.0, 360.0, 10.0))
    rim = np.column_stack([np.cos(turns), np.sin(turns), np.zeros(len(turns))])
    sizes = ((11000.0, 0.0), (11200.0, 4440.0), (9000.0, 9500.0), (2900.0, 13400.0))
    points = np.vstack([rim * radius + [0.0, 0.0, z] for radius, z in sizes])
    flat = points - points[:, 2:] * (SUN / SUN[2])
    hull = cv2.convexHull(flat[:, :2].astype(np.float32)).reshape(-1, 2)
    places, depth = _place(shot, np.column_stack([hull, np.zeros(len(hull))]))
    if (depth > _NEAREST_MM).all():
        cv2.fillPoly(canvas, [places], _SHADE, 8, _FINE)


def _as_taken(shot: Shot, picture: Pixels) -> Pixels:
    """Grain, darker corners, and the tone of an old print."""
    height, width = picture.shape[:2]
    values = picture.astype(np.float32)
    if shot.is_toned:
        grey = values @ np.array([0.3, 0.59, 0.11], dtype=np.float32)
        values = grey[:, :, None] * np.array([1.0, 0.92, 0.78], dtype=np.float32)
    y, x = np.linspace(-1.0, 1.0, height)[:, None], np.linspace(-1.0, 1.0, width)[None, :]
    values *= (1.0 - 0.14 * (x * x + y * y)).astype(np.float32)[:, :, None]
    grain = np.random.default_rng(shot.seed).standard_normal((height // 2, width // 2), dtype=np.float32)
    values += 2.0 * np.repeat(np.repeat(grain, 2, axis=0), 2, axis=1)[:, :, None]
    return np.clip(values, 0.0, 255.0).astype(np.uint8)


def _write_caption(picture: Pixels, shot: Shot) -> None:
    """On a dark strip along the upper edge, where nothing is marked."""
    import cv2

    height = 44
    picture[:height] = 24
    text = " ".join(CAPTION)
    cv2.putText(picture, text, (16, 30), cv2.FONT_HERSHEY_SIMPLEX, 0.8, (240, 240, 236), 2, cv2.LINE_AA)
