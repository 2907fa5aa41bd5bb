"""The body of a test artefact as one closed mesh, and its sizes fitted to the material at hand."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from dryfit.base.errors import ComputationRefused
from dryfit.calc.artefact.rules import Form, Wish, between, full_form, lesser_forms, say_what_was_given_up
from dryfit.calc.artefact.sizes import BLOCK_MM, BLOCK_RISE_MM, Post, Sizes, Tread, lay_out
from dryfit.model.mesh import TriangleMesh

if TYPE_CHECKING:
    from manifold3d import Manifold

_FACETS = 64
_HALVINGS = 9
_LEAST_ROOM_MM = 80.0
_SAME_MM = 1e-6

Box = tuple[tuple[float, float], tuple[float, float], float]


def design_body(wish: Wish) -> tuple[Sizes, TriangleMesh, tuple[str, ...]]:
    """Sizes, mesh and what was given up, of the largest body that the wish allows.

    Material is saved step by step, each only where the ones before do not suffice: see lesser_forms.
    Raises ComputationRefused where the room is too small, or no body is light enough.
    """
    if min(wish.room_mm) < _LEAST_ROOM_MM:
        raise ComputationRefused(
            f"a test artefact needs {_LEAST_ROOM_MM:g} mm in each axis, here are "
            + " x ".join(f"{value:g}" for value in wish.room_mm),
            "build volume less clearance",
            "check build_volume_mm and clearance_mm of the machine",
        )
    form = full_form(wish)
    if not _fits(wish, form):
        form = _lighter(wish, form)
    sizes = lay_out(wish, form)
    return sizes, build_mesh(sizes), say_what_was_given_up(wish, form)


def _lighter(wish: Wish, full: Form) -> Form:
    """The first form that is light enough, as large as its step allows."""
    for most, least in lesser_forms(wish, full):
        if _fits(wish, least):
            return _largest(wish, most, least)
    raise ComputationRefused(
        f"no body of at most {wish.volume_mm3 / 1000.0:.0f} cm3 spans anything worth measuring",
        "most mass or time of the artefact",
        "allow more material, such as --mass 400, or more hours",
    )


def _largest(wish: Wish, most: Form, least: Form) -> Form:
    """The most that fits between two forms, of which the least does, by halving."""
    if most == least:
        return least
    low, high = 0.0, 1.0
    for _ in range(_HALVINGS):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if _fits(wish, between(most, least, middle)) else (low, middle)
    return between(most, least, low)


def _fits(wish: Wish, form: Form) -> bool:
    return float(_union(lay_out(wish, form)).volume()) <= wish.volume_mm3


def build_mesh(sizes: Sizes) -> TriangleMesh:
    """The union of all solids of a body, in machine axes, its corner at the origin.

    Raises ComputationRefused where the union is not one closed body.
    """
    united = _union(sizes)
    if united.status().name != "NoError" or len(united.decompose()) != 1 or not united.volume() > 0:
        raise ComputationRefused(
            f"the solids of the body did not unite to one ({united.status().name})",
            "test artefact",
            "report the build volume, mass and instruments for which this happened",
        )
    return _as_mesh(united, "artefact")


def build_pieces(sizes: Sizes) -> tuple[TriangleMesh, ...]:
    """The body in pieces that can be drawn one before the other: rails with what stands on them, and plates.

    They overlap; together they are the body.
    """
    far_x, far_y = sizes.length_x, sizes.length_y
    boxes = list_boxes(sizes)
    plates: dict[str, list[Box]] = {}
    rails: dict[str, list[Box]] = {}
    for box in boxes:
        x, y, _ = box
        side = "left" if x[1] < 0.5 * far_x else "right" if x[0] > 0.5 * far_x else "middle"
        end = "front" if y[1] < 0.5 * far_y else "back" if y[0] > 0.5 * far_y else "middle"
        # a square block belongs to the rail on whose outer face it lies
        across = x[1] - x[0] - (y[1] - y[0])
        runs = 0 if across > _SAME_MM or (abs(across) <= _SAME_MM and y[0] == 0.0) else 1
        where = end if runs == 0 else side
        is_plate = min(x[1] - x[0], y[1] - y[0]) < sizes.wall + _SAME_MM
        (plates if is_plate else rails).setdefault(f"{where}{runs}", []).append(box)
    posts: dict[str, list[Post]] = {}
    for post in sizes.posts:
        on_front = post.on != "y" and post.y < 0.5 * far_y
        posts.setdefault("front0" if on_front else "left1" if post.x < 0.5 * far_x else "right1", []).append(
            post
        )
    made = [(f"rail {name}", _unite(some, posts.get(name, []))) for name, some in rails.items()]
    made += [(f"plate {name}", _unite(some, [])) for name, some in plates.items()]
    return tuple(_as_mesh(solid, name) for name, solid in made)


def _as_mesh(solid: Manifold, name: str) -> TriangleMesh:
    mesh = solid.to_mesh64()
    vertices = np.array(mesh.vert_properties, dtype=np.float64)[:, :3]
    return TriangleMesh(vertices, np.array(mesh.tri_verts, dtype=np.int64), name)


def _union(sizes: Sizes) -> Manifold:
    return _unite(list_boxes(sizes), sizes.posts)


def _unite(boxes: Sequence[Box], posts: Sequence[Post]) -> Manifold:
    from manifold3d import Manifold, OpType

    solids = [
        Manifold.cube([x[1] - x[0], y[1] - y[0], top]).translate([x[0], y[0], 0.0]) for x, y, top in boxes
    ]
    solids += [
        Manifold.cylinder(post.height, 0.5 * post.diameter, circular_segments=_FACETS).translate(
            [post.x, post.y, 0.0]
        )
        for post in posts
    ]
    # Faces of several solids in one plane leave needles along their edges. Taken as one solid, without memory of
    # where each face came from, such faces are joined.
    return Manifold.batch_boolean(solids, OpType.Add).as_original().simplify(_SAME_MM)


def list_boxes(sizes: Sizes) -> list[Box]:
    """All boxes of a body: extents along x and y, and the top; each stands on the bed."""
    far_x, far_y, width, top = sizes.length_x, sizes.length_y, sizes.rail_width, sizes.rail_height
    boxes: list[Box] = [
        ((0.0, far_x), (0.0, width), top),
        ((0.0, far_x), (far_y - width, far_y), top),
        ((0.0, width), (0.0, far_y), top),
        ((far_x - width, far_x), (0.0, far_y), top),
    ]
    for block in sizes.blocks:
        along, across = (block.start, block.end), (0.0, BLOCK_MM)
        extents = (along, across) if block.axis == 0 else (across, along)
        boxes.append((*extents, top + BLOCK_RISE_MM))
    boxes += _upright(sizes, sizes.treads_a)
    if sizes.treads_b:
        boxes += [
            ((far_x - x[1], far_x - x[0]), (far_y - y[1], far_y - y[0]), height)
            for x, y, height in _upright(sizes, sizes.treads_b)
        ]
    return boxes


def _upright(sizes: Sizes, treads: tuple[Tread, ...]) -> list[Box]:
    """An upright at the origin, with the ledges at its foot."""
    length, width = sizes.foot
    boxes: list[Box] = [
        ((0.0, length), (0.0, width), sizes.rail_height),
        ((0.0, width), (0.0, length), sizes.rail_height),
    ]
    for tread in treads:
        boxes.append(((0.0, tread.reach), (0.0, sizes.wall), tread.height))
        boxes.append(((0.0, sizes.wall), (0.0, tread.reach), tread.height))
    return boxes
