"""Vertices and normals of curved elements of known size, in a frame of their own, and turned at random."""

from __future__ import annotations

import numpy as np
from scipy.spatial.transform import Rotation


def grid(arc_deg: float, sides: int, other: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Azimuths [rad] symmetric about x, closed where they go all round, with each value of the other."""
    azimuth = np.radians(np.linspace(-arc_deg / 2, arc_deg / 2, sides, endpoint=arc_deg < 360))
    first, second = np.meshgrid(azimuth, other)
    return first.ravel(), second.ravel()


def cylinder(radius: float, length: float, arc_deg: float, sides: int, rows: int) -> tuple:
    azimuth, height = grid(arc_deg, sides, np.linspace(-length / 2, length / 2, rows))
    normals = np.column_stack([np.cos(azimuth), np.sin(azimuth), np.zeros(len(azimuth))])
    return radius * normals + height[:, None] * [0, 0, 1], normals


def sphere(radius: float, cap_deg: float, rings: int) -> tuple:
    polar = np.radians(cap_deg / 2) * np.linspace(0.02, 1, rings)
    azimuth, polar = grid(360, 2 * rings, polar)
    ring = np.sin(polar)
    normals = np.column_stack([ring * np.cos(azimuth), ring * np.sin(azimuth), np.cos(polar)])
    return radius * normals, normals


def cone(half_deg: float, low: float, high: float, arc_deg: float, sides: int, rows: int) -> tuple:
    azimuth, height = grid(arc_deg, sides, np.linspace(low, high, rows))
    half = np.radians(half_deg)
    outward = np.column_stack([np.cos(azimuth), np.sin(azimuth), np.zeros(len(azimuth))])
    points = outward * (height * np.tan(half))[:, None] + height[:, None] * [0, 0, 1]
    return points, outward * np.cos(half) - [0, 0, np.sin(half)]


def torus(ring: float, tube: float, arc_deg: float, sides: int, tube_deg: float, rows: int) -> tuple:
    round_tube = np.radians(np.linspace(-tube_deg / 2, tube_deg / 2, rows, endpoint=tube_deg < 360))
    azimuth, turn = grid(arc_deg, sides, round_tube)
    outward = np.column_stack([np.cos(azimuth), np.sin(azimuth), np.zeros(len(azimuth))])
    normals = outward * np.cos(turn)[:, None] + np.sin(turn)[:, None] * [0, 0, 1]
    return ring * outward + tube * normals, normals


class Turned:
    """A rotation and a shift at random, from a seed."""

    def __init__(self, seed: int) -> None:
        draws = np.random.default_rng(seed)
        self.turn = Rotation.random(random_state=seed).as_matrix()
        self.shift = draws.uniform(-400, 400, 3)
        self.axis = self.turn[:, 2]

    def points(self, points: np.ndarray) -> np.ndarray:
        return points @ self.turn.T + self.shift

    def normals(self, normals: np.ndarray) -> np.ndarray:
        return normals @ self.turn.T


def apart(first: np.ndarray, second: np.ndarray) -> float:
    """Angle [rad] between two axes, whatever their sign."""
    return float(np.linalg.norm(np.cross(first, second)))
