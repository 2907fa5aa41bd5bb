"""The invented observatory as small coloured faces, to be drawn from behind to the front."""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass

import numpy as np

from dryfit.app import demo_photographs_building as b
from dryfit.base.arrays import Array, locked

STONE, IRON, LEAD = (196, 190, 178), (72, 92, 96), (150, 160, 164)
BRICK = ((158, 92, 72), (146, 82, 64), (166, 101, 80))
COURSES = 48  # of brick, bed joint included
DARK, DOOR, RED, WHITE = (38, 42, 46), (52, 84, 70), (186, 52, 44), (236, 234, 226)
# Horizontal and vertical half axes of ribs outside and inside, and of the skin between them; about the end of a rib.
TIP, RIB_OUT, RIB_IN, SKIN = 1600.0, (9278.0, 8430.0), (8900.0, 8080.0), (8950.0, 8130.0)
RAIL_TIP, RAIL_OUT, RAIL_IN, RAIL_Y = 1400.0, (8950.0, 9250.0), (8500.0, 8700.0), 1200.0


@dataclass(frozen=True, slots=True, eq=False)
class Scene:
    """corners (n, 4, 3) [mm], seen from the side on which they run anticlockwise; colours (n, 3), 0 to 255;
    nearer (n,) [mm]: by how much a face that lies on another one comes before it."""

    corners: Array
    colours: Array
    nearer: Array

    def __post_init__(self) -> None:
        count = len(self.corners)
        for name, shape in (("corners", (count, 4, 3)), ("colours", (count, 3)), ("nearer", (count,))):
            object.__setattr__(self, name, locked(getattr(self, name), shape, name))

    def __add__(self, other: Scene) -> Scene:
        return Scene(
            np.concatenate([self.corners, other.corners]),
            np.concatenate([self.colours, other.colours]),
            np.concatenate([self.nearer, other.nearer]),
        )


class _Faces:
    """Faces as they are gathered; colours and nearer as a Scene has them."""

    def __init__(self) -> None:
        self.corners: list[Array] = []
        self.colours: list[tuple[float, float, float]] = []
        self.nearer: list[float] = []

    def add(self, corners: Array, colour: tuple[float, float, float], nearer: float = 0.0) -> None:
        self.corners.append(corners)
        self.colours.append(colour)
        self.nearer.append(nearer)

    def scene(self) -> Scene:
        return Scene(np.array(self.corners), np.array(self.colours, dtype=float), np.array(self.nearer))

    def box(
        self,
        low: tuple[float, float, float],
        high: tuple[float, float, float],
        colour: tuple[float, float, float],
        nearer: float = 0.0,
        step: float = 1000.0,
        bands: tuple[float, float, float] | None = None,
    ) -> None:
        """A box along the axes, its sides cut into pieces; bands: the colour of every second piece in height."""
        base, size = np.array(low), np.array(high) - np.array(low)
        for axis in range(3):
            first, second = (axis + 1) % 3, (axis + 2) % 3
            for sign in (0.0, 1.0):
                counts = [max(1, math.ceil(size[k] / step)) for k in (first, second)]
                for i in range(counts[0]):
                    for j in range(counts[1]):
                        quad = np.tile(base, (4, 1))
                        quad[:, axis] += sign * size[axis]
                        quad[:, first] += size[first] * (i + np.array([0.0, 1.0, 1.0, 0.0])) / counts[0]
                        quad[:, second] += size[second] * (j + np.array([0.0, 0.0, 1.0, 1.0])) / counts[1]
                        up = j if second == 2 else i
                        tint = bands if bands is not None and axis != 2 and up % 2 else colour
                        self.add(quad if sign else quad[::-1], tint, nearer)

    def round_wall(
        self, radii: tuple[float, float], levels: tuple[float, float], colour: tuple[float, float, float]
    ) -> None:
        """A wall or a cone about the axis in facets of 5 degrees: radius and height below, then above."""
        for number in range(72):
            here, there = math.radians(5.0 * number), math.radians(5.0 * number + 5.0)
            self.add(
                np.array(
                    [
                        _at(radii[0], here, levels[0]),
                        _at(radii[0], there, levels[0]),
                        _at(radii[1], there, levels[1]),
                        _at(radii[1], here, levels[1]),
                    ]
                ),
                colour,
            )

    def arch(
        self, inner: Array, outer: Array, across: Array, colour: tuple[float, float, float], nearer: float
    ) -> None:
        """A bar between two lines (k, 3) from foot to tip, of the width of across (3,): outside and both sides."""
        half = 0.5 * across
        for k in range(len(outer) - 1):
            low, high, under, over = outer[k], outer[k + 1], inner[k], inner[k + 1]
            self.add(np.array([low - half, low + half, high + half, high - half]), colour, nearer)
            for side, sign in ((half, 1.0), (-half, -1.0)):
                quad = np.array([under + side, low + side, high + side, over + side])
                self.add(quad[::-1] if sign > 0.0 else quad, colour, nearer)


def build_scene() -> Scene:
    """Drum, rings, dome, door and stair tower, and a staff."""
    faces = _Faces()
    _drum(faces)
    _dome(faces)
    _stair(faces)
    x, y = b.STAFF_FOOT
    faces.box((x - 60.0, y - 60.0, 0.0), (x + 60.0, y + 60.0, b.STAFF), WHITE, 300.0, 500.0, RED)
    return faces.scene()


def build_targets() -> Scene:
    """Two chequered boards on the terrace."""
    faces = _Faces()
    for y in (-b.TARGET_Y, b.TARGET_Y):
        for i, j in ((0, 0), (0, 1), (1, 0), (1, 1)):
            x0, y0 = b.TARGET_X - 400.0 + 400.0 * i, y - 400.0 + 400.0 * j
            quad = [
                [x0, y0, 5.0],
                [x0 + 400.0, y0, 5.0],
                [x0 + 400.0, y0 + 400.0, 5.0],
                [x0, y0 + 400.0, 5.0],
            ]
            faces.add(np.array(quad), DARK if (i + j) % 2 else WHITE, 200.0)
    return faces.scene()


def _drum(faces: _Faces) -> None:
    course = b.WALL_TOP / COURSES
    for number in range(COURSES):
        levels = (number * course, (number + 1) * course)
        faces.round_wall((b.R_WALL, b.R_WALL), levels, BRICK[number % 3])
    faces.round_wall((b.R_WALL, b.R_RING), (b.WALL_TOP, b.WALL_TOP), DARK)
    faces.round_wall((b.R_RING, b.R_RING), (b.WALL_TOP, b.RING_TOP), LEAD)
    faces.round_wall((b.R_RING, 9600.0), (b.RING_TOP, b.RING_TOP), (128, 138, 142))
    for azimuth in np.arange(15.0, 375.0, 30.0):
        _upright_block(faces, azimuth, b.PIER_FACE, 2.0 * b.PIER_HALF, (0.0, b.WALL_TOP), STONE, 500.0)
    half, front = b.PORTAL_HALF, b.PORTAL_FACE
    faces.box((10500.0, -half, 0.0), (front, half, b.WALL_TOP), STONE, 700.0)
    leaf, top = b.DOOR_HALF, b.DOOR_HEIGHT
    quad = [[front, -leaf, 0.0], [front, leaf, 0.0], [front, leaf, top], [front, -leaf, top]]
    faces.add(np.array(quad), DOOR, 1500.0)


def _dome(faces: _Faces) -> None:
    steps = np.radians(np.linspace(0.0, 82.0, 24))
    for low, high in itertools.pairwise(steps):
        (r0, z0), (r1, z1) = _on_arc(TIP, SKIN, low), _on_arc(TIP, SKIN, high)
        faces.round_wall((r0, r1), (b.RING_TOP + z0, b.RING_TOP + z1), (204, 210, 208))
        quad = [
            [r0 + 40.0, -920.0, z0],
            [r0 + 40.0, 920.0, z0],
            [r1 + 40.0, 920.0, z1],
            [r1 + 40.0, -920.0, z1],
        ]
        faces.add(np.array(quad) + np.array([0.0, 0.0, b.RING_TOP]), DARK, 1500.0)
    for azimuth in np.arange(15.0, 375.0, 30.0):
        angle = math.radians(azimuth)
        out, across = np.array([math.cos(angle), math.sin(angle), 0.0]), _across(angle)
        faces.arch(
            _line(out, TIP, RIB_IN, 84.0), _line(out, TIP, RIB_OUT, 84.0), 560.0 * across, LEAD, 1200.0
        )
    for y in (-RAIL_Y, RAIL_Y):
        inner, outer = (_line(np.array([1.0, 0.0, 0.0]), RAIL_TIP, arc, 88.0) for arc in (RAIL_IN, RAIL_OUT))
        shift = np.array([0.0, y, 0.0])
        faces.arch(inner + shift, outer + shift, np.array([0.0, 560.0, 0.0]), IRON, 1900.0)
    faces.round_wall((2300.0, 2300.0), (b.SEAT - 700.0, b.SEAT), DARK)
    faces.round_wall((b.R_CROWN, b.R_CROWN), (b.SEAT, b.OVERALL), LEAD)
    faces.round_wall((b.R_CROWN, 0.0), (b.OVERALL, b.OVERALL), (128, 138, 142))
    for azimuth in np.arange(15.0, 375.0, 30.0):
        _upright_block(faces, azimuth, b.R_CROWN + 60.0, 400.0, (b.SEAT, b.OVERALL), STONE, 900.0)


def _stair(faces: _Faces) -> None:
    left, right, front, post = b.STAIR_LEFT, b.STAIR_RIGHT, b.STAIR_FACE, b.POST
    back = front - 2000.0
    for x in (back, front - post):
        for y in (left, right - post):
            faces.box((x, y, 0.0), (x + post, y + post, b.OVERALL), IRON, 300.0)
    for low, high, reach in ((b.WALL_TOP, b.RING_TOP, 10750.0), (b.SEAT, b.OVERALL, 2000.0)):
        for x in (back, front - 100.0):
            for z in (low, high - 160.0):
                faces.box((x, reach, z), (x + 100.0, right, z + 160.0), WHITE, 250.0)
            for y in np.arange(reach, right, (right - reach) / round((right - reach) / 900.0)):
                faces.box((x, y, low), (x + 100.0, y + 70.0, high), WHITE, 240.0)
        faces.box((back, reach, low), (front, right, low + 60.0), (120, 110, 96))
    for z in np.arange(1200.0, b.SEAT, 1450.0):
        faces.box((front - 80.0, left, z), (front, right, z + 80.0), IRON)
        faces.box((back, right - 80.0, z), (front, right, z + 80.0), IRON)
        faces.box((back, left, z), (front, left + 80.0, z + 80.0), IRON)
    middle, half = b.LADDER_MIDDLE, b.LADDER_HALF
    for z in np.arange(b.RUNG, b.LADDER, b.RUNG):
        faces.box((front - 30.0, middle - half, z - 30.0), (front, middle + half, z + 30.0), WHITE, 400.0)
    for y in (middle - half, middle + half - 60.0):
        faces.box((front - 40.0, y, 0.0), (front, y + 60.0, b.LADDER), (196, 160, 60), 420.0)


def _upright_block(
    faces: _Faces,
    azimuth_deg: float,
    face: float,
    width: float,
    levels: tuple[float, float],
    colour: tuple[float, float, float],
    nearer: float,
) -> None:
    """A block whose outer face stands square to the radius, and its two sides."""
    angle = math.radians(azimuth_deg)
    out, across = np.array([math.cos(angle), math.sin(angle), 0.0]), _across(angle) * 0.5 * width
    low, high = (np.array([0.0, 0.0, level]) for level in levels)
    front, back = out * face, out * (face - 400.0)
    for left, right in ((front - across, front + across), (front + across, back + across)):
        faces.add(np.array([left + low, right + low, right + high, left + high]), colour, nearer)
    left, right = back - across, front - across
    faces.add(np.array([left + low, right + low, right + high, left + high]), colour, nearer)


def _line(out: Array, tip: float, arc: tuple[float, float], last_deg: float) -> Array:
    """Points (k, 3) along an arc in the upright plane of a direction."""
    found = []
    for angle in np.radians(np.linspace(0.0, last_deg, 20)):
        radius, z = _on_arc(tip, arc, float(angle))
        found.append(out * radius + np.array([0.0, 0.0, b.RING_TOP + z]))
    return np.array(found)


def _on_arc(tip: float, arc: tuple[float, float], angle: float) -> tuple[float, float]:
    return tip + arc[0] * math.cos(angle), arc[1] * math.sin(angle)


def _at(radius: float, angle: float, z: float) -> list[float]:
    return [radius * math.cos(angle), radius * math.sin(angle), z]


def _across(angle: float) -> Array:
    return np.array([-math.sin(angle), math.cos(angle), 0.0])
