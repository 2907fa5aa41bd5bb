"""How two triangles meet, by whole and broken numbers without rounding: slow, plain, another way.

The cut of one triangle with the plane of the other is clipped to the other; triangles of one plane are
clipped against one another.
"""

from __future__ import annotations

from fractions import Fraction
from itertools import pairwise

APART, TOUCHING, CROSSING, OVERLAPPING = 0, 1, 2, 3


def meet(a, b):
    """a, b: three corners each, of numbers that Fraction takes exactly. Corners may be equal."""
    a = [tuple(Fraction(x) for x in p) for p in a]
    b = [tuple(Fraction(x) for x in p) for p in b]
    shared = [p for p in a if p in b]
    if len(shared) == 3:
        return APART
    normal = _cross(_minus(b[1], b[0]), _minus(b[2], b[0]))
    heights = [_dot(normal, _minus(p, b[0])) for p in a]
    if all(h == 0 for h in heights):
        return _meet_flat(a, b, normal, shared)
    cut = _cut(a, heights)
    if not cut:
        return APART
    clipped = _clip_segment(cut, b, normal)
    if clipped is None:
        return APART
    start, end, is_inner = clipped
    if min(heights) < 0 < max(heights) and is_inner and start != end:
        return CROSSING
    points = {start, end}
    return APART if points <= set(shared) or _is_side(points, shared) else TOUCHING


def _is_side(points, shared):
    return len(shared) == 2 and points == set(shared)


def _minus(p, q):
    return tuple(x - y for x, y in zip(p, q, strict=True))


def _dot(u, v):
    return sum(x * y for x, y in zip(u, v, strict=True))


def _cross(u, v):
    return (u[1] * v[2] - u[2] * v[1], u[2] * v[0] - u[0] * v[2], u[0] * v[1] - u[1] * v[0])


def _between(p, q, t):
    return tuple(x + t * (y - x) for x, y in zip(p, q, strict=True))


def _cut(a, heights):
    """Ends of the cut of triangle a with height 0: one point or two."""
    points = [p for p, h in zip(a, heights, strict=True) if h == 0]
    for i in range(3):
        j = (i + 1) % 3
        if heights[i] * heights[j] < 0:
            points.append(_between(a[i], a[j], heights[i] / (heights[i] - heights[j])))
    return points


def _clip_segment(cut, b, normal):
    """The part of a segment of b's plane within b, and whether it runs through b's inside."""
    start, end = cut[0], cut[-1]
    low, high = Fraction(0), Fraction(1)
    is_inner = True
    for i in range(3):
        inward = _cross(normal, _minus(b[(i + 1) % 3], b[i]))
        s, e = _dot(inward, _minus(start, b[i])), _dot(inward, _minus(end, b[i]))
        if s < 0 and e < 0:
            return None
        is_inner &= not (s <= 0 and e <= 0)
        if s < 0:
            low = max(low, s / (s - e))
        elif e < 0:
            high = min(high, s / (s - e))
    if low > high:
        return None
    return _between(start, end, low), _between(start, end, high), is_inner


def _meet_flat(a, b, normal, shared):
    """Clip polygon a by the sides of b: an area left is an overlap, a point or side a touch."""
    polygon = a
    for i in range(3):
        inward = _cross(normal, _minus(b[(i + 1) % 3], b[i]))
        heights = [_dot(inward, _minus(p, b[i])) for p in polygon]
        clipped = []
        for k, (p, h) in enumerate(zip(polygon, heights, strict=True)):
            following, after = polygon[(k + 1) % len(polygon)], heights[(k + 1) % len(polygon)]
            if h >= 0:
                clipped.append(p)
            if h * after < 0:
                clipped.append(_between(p, following, h / (h - after)))
        polygon = clipped
        if not polygon:
            return APART
    corners = set(polygon)
    origin = polygon[0]
    area = (0, 0, 0)
    for p, q in pairwise(polygon[1:]):
        area = tuple(x + y for x, y in zip(area, _cross(_minus(p, origin), _minus(q, origin)), strict=True))
    if any(area):
        return OVERLAPPING
    return APART if corners <= set(shared) else TOUCHING
