"""What the three-dimensional view shows: light copies of the meshes, where the parts stand, the joints.

The copies are for the eye only. Everything that is computed comes from the exact meshes; each copy says how
many triangles it shows and how many its part has.
"""

from __future__ import annotations

import struct
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from dryfit.app.contacts import JointRows
from dryfit.app.forecast import Chain, learn_chain, place_chain
from dryfit.app.geometry import Shapes
from dryfit.app.learning import Known
from dryfit.app.motion import printed_gains
from dryfit.base.arrays import Array, BoolArray, IntArray
from dryfit.base.errors import ComputationRefused
from dryfit.calc.outline import Surface, build_surface
from dryfit.calc.placing import Poses
from dryfit.model.forecast import ForecastReport

VIEW_BUDGET = 1_000_000  # triangles of all copies together: what a page turns fluently on a small computer
CREASE_DEG = 25.0  # faces that meet under less show no edge, so that facets read as a curve
_LEAST_EDGES = 500  # edges that a copy may always show, however few its triangles
_MAGIC = b"DFV1"
_HEADER = struct.Struct("<4s6I")

Floats = npt.NDArray[np.float32]
Indices = npt.NDArray[np.uint32]


@dataclass(frozen=True, slots=True, eq=False)
class ViewCopy:
    """A light copy of one part's mesh.

    positions        (n, 3) [mm] float32, assembly coordinates
    indices          (m, 3) uint32
    edges            (2 k, 3) [mm] float32: ends of the k drawn edges, in pairs, of the exact mesh
    triangles_shown, triangles_exact  of the copy and of the mesh that is computed with
    edges_left_out   number of short edges that are not drawn, since there were too many
    is_closed        whether two triangles meet at every edge of the mesh: then its inside is never seen
    """

    positions: Floats
    indices: Indices
    edges: Floats
    triangles_shown: int
    triangles_exact: int
    edges_left_out: int = 0
    is_closed: bool = False


@dataclass(frozen=True, slots=True, eq=False)
class ClosingGap:
    """The gap of a closing joint between the middles of its two faces.

    from_mm, to_mm  (3,) middle of the face of the first and of the second part, as modelled
    value_mm        predicted; std_mm None: no characteristic is stated for it, its spread is not known
    characteristic  id of the gap that is stated for the joint
    """

    from_mm: Array
    to_mm: Array
    value_mm: float
    std_mm: float | None
    characteristic: str | None


@dataclass(frozen=True, slots=True, eq=False)
class JointMarks:
    """What is drawn of a joint. All points as modelled: each moves with the part that carries it.

    outline_first, outline_second  (n, 3) [mm] corners of the common face on either part, in order
    points, directions  (m, 3) contacts of the first part [mm] and their unit directions
    is_locating         (m,) whether the contact positions a part
    gap                 None where the joint positions a part
    """

    joint: str
    parts: tuple[str, str]
    is_closing: bool
    outline_first: Array
    outline_second: Array
    points: Array
    directions: Array
    is_locating: BoolArray
    gap: ClosingGap | None


@dataclass(frozen=True, slots=True, eq=False)
class ViewPlacing:
    """Where everything stands: a matrix (4, 4) for each part, and the joints."""

    matrices: Mapping[str, Array]
    joints: tuple[JointMarks, ...]


@dataclass(frozen=True, slots=True, eq=False)
class ViewMotion:
    """What moves of a placing: a matrix (4, 4) for each part, and the gap of each closing joint by its id."""

    matrices: Mapping[str, Array]
    gaps: Mapping[str, ClosingGap]


def view_copies(shapes: Shapes, budget: int = VIEW_BUDGET) -> dict[str, ViewCopy]:
    """Copies of all parts, together within a budget of triangles as far as their shapes allow."""
    targets = share_budget({name: len(shape.mesh.faces) for name, shape in shapes.items()}, budget)
    return {
        name: make_copy(shape.mesh.vertices, shape.mesh.faces, targets[name])
        for name, shape in shapes.items()
    }


def share_budget(counts: Mapping[str, int], budget: int) -> dict[str, int]:
    """Triangles for each part: an equal share, and what small parts leave over goes to the large ones."""
    shares: dict[str, int] = {}
    left = budget
    for rank, name in enumerate(sorted(counts, key=lambda name: (counts[name], name))):
        shares[name] = min(counts[name], left // (len(counts) - rank))
        left -= shares[name]
    return {name: shares[name] for name in counts}


def make_copy(vertices: Array, faces: IntArray, target: int) -> ViewCopy:
    """The copy of one mesh with about target triangles, never more than it has.

    vertices : (n, 3) [mm]; faces : (m, 3)
    Raises ComputationRefused for a mesh without any triangle that has an area.
    """
    if not len(faces):
        raise ComputationRefused("the mesh has no triangles to show", "view copy", "look at its mesh file")
    surface = build_surface(vertices, faces)
    if not len(surface.faces):
        raise ComputationRefused("no triangle of the mesh has an area", "view copy", "look at its mesh file")
    points, triangles = surface.vertices, surface.faces
    if len(triangles) > target:
        points, triangles = _decimated(points, triangles, target)
    ends, left_out = _creases(surface, max(_LEAST_EDGES, target))
    return ViewCopy(
        positions=np.ascontiguousarray(points, dtype=np.float32),
        indices=np.ascontiguousarray(triangles, dtype=np.uint32),
        edges=ends,
        triangles_shown=len(triangles),
        triangles_exact=len(faces),
        edges_left_out=left_out,
        is_closed=bool((surface.count == 2).all()),
    )


def _decimated(points: Array, triangles: IntArray, target: int) -> tuple[Array, IntArray]:
    from fast_simplification import simplify

    # About the middle: the decimation runs in single precision.
    middle = points.mean(axis=0)
    fewer, kept = simplify(
        np.ascontiguousarray(points - middle, dtype=np.float32),
        np.ascontiguousarray(triangles, dtype=np.int32),
        target_count=max(4, target),
    )
    return np.asarray(fewer, dtype=np.float64) + middle, np.asarray(kept, dtype=np.int64)


def _creases(surface: Surface, most: int) -> tuple[Floats, int]:
    """Ends (2 k, 3) of the edges at which the surface turns or ends, and how many were too many.

    Where there are more than most, as on a rough scan, the longest are kept.
    """
    corner = surface.vertices[surface.faces]
    normal = np.cross(corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0])
    length = np.linalg.norm(normal, axis=1)
    unit = normal / np.where(length > 0, length, 1.0)[:, None]
    cosine = np.einsum("ij,ij->i", unit[surface.first], unit[surface.last])
    known = (length[surface.first] > 0) & (length[surface.last] > 0)
    turns = (surface.count != 2) | (known & (cosine < np.cos(np.radians(CREASE_DEG))))
    ends = surface.vertices[surface.edges[turns]]
    left_out = max(0, len(ends) - most)
    if left_out:
        ends = ends[np.argsort(-np.linalg.norm(ends[:, 1] - ends[:, 0], axis=1), kind="stable")[:most]]
    return np.ascontiguousarray(ends.reshape(-1, 3), dtype=np.float32), left_out


def pack(copy: ViewCopy) -> bytes:
    """The copy as bytes, little-endian, every block on a multiple of four bytes.

    28 bytes of header: "DFV1", then as uint32 the numbers of vertices, triangles shown, edges,
    triangles of the exact mesh, edges left out, and 1 for a closed surface. After it positions (float32 x 3
    a vertex), indices (uint32 x 3 a triangle) and ends of the edges (float32 x 6 an edge).
    """
    header = _HEADER.pack(
        _MAGIC,
        len(copy.positions),
        copy.triangles_shown,
        len(copy.edges) // 2,
        copy.triangles_exact,
        copy.edges_left_out,
        int(copy.is_closed),
    )
    blocks = (copy.positions.astype("<f4"), copy.indices.astype("<u4"), copy.edges.astype("<f4"))
    return header + b"".join(block.tobytes() for block in blocks)


def unpack_surface(content: bytes) -> tuple[Floats, Indices]:
    """Positions (n, 3) and indices (m, 3) of a packed copy."""
    _, vertices, triangles, *_ = _HEADER.unpack_from(content)
    positions = np.frombuffer(content, "<f4", 3 * vertices, _HEADER.size)
    indices = np.frombuffer(content, "<u4", 3 * triangles, _HEADER.size + 12 * vertices)
    return positions.reshape(-1, 3), indices.reshape(-1, 3)


def packed_copy(vertices: Array, faces: IntArray, target: int) -> bytes:
    """A mesh to the bytes of its copy: one call for a worker."""
    return pack(make_copy(vertices, faces, target))


def view_placing(chain: Chain, report: ForecastReport) -> ViewPlacing:
    """Where the parts stand and what their joints do, as the chain expects them to print.

    Raises ComputationRefused where the parts do not settle on their contacts.
    """
    known = learn_chain(chain)
    poses = place_chain(chain, known)
    return ViewPlacing(placed_matrices(chain, poses, known), joint_marks(chain, poses, report))


def view_motion(chain: Chain, report: ForecastReport) -> ViewMotion:
    """The same without outlines and contacts, which stay: a what-if while a slider moves.

    Raises ComputationRefused where the parts do not settle on their contacts.
    """
    known = learn_chain(chain)
    poses = place_chain(chain, known)
    table = chain.structure.table
    gaps = {
        rows.joint.id: _closing_gap(chain, poses, report, rows, np.flatnonzero(table.joint == index))
        for index, rows in enumerate(chain.structure.joint_rows)
        if rows.joint.id in report.closing
    }
    return ViewMotion(placed_matrices(chain, poses, known), gaps)


def placed_matrices(chain: Chain, poses: Poses, known: Known | None = None) -> dict[str, Array]:
    """(4, 4) for each part: from a point as modelled to the same point printed and placed.

    M = T(c + t) R G T(-c), c the centroid, t and R the pose, G the printed gain. Boundary offset and
    first-layer flare move a surface and not the body: they are not in it.
    """
    gains = printed_gains(chain.project if known is None else known.project, chain.motion)
    matrices = {}
    for index, part in enumerate(chain.project.parts):
        linear = poses.rotation[index] @ gains[index]
        centroid = chain.structure.centroids[index]
        matrix = np.eye(4)
        matrix[:3, :3] = linear
        matrix[:3, 3] = centroid + poses.translation[index] - linear @ centroid
        matrices[part.id] = matrix
    return matrices


def joint_marks(chain: Chain, poses: Poses, report: ForecastReport) -> tuple[JointMarks, ...]:
    """Outlines, contacts and closing gaps of every accepted joint, in the order of the document."""
    table = chain.structure.table
    marks = []
    for index, rows in enumerate(chain.structure.joint_rows):
        mine = np.flatnonzero(table.joint == index)
        is_closing = rows.joint.id in report.closing
        order = _round_middle(rows.faces.points_on_first, rows.faces.normals.mean(axis=0))
        marks.append(
            JointMarks(
                joint=rows.joint.id,
                parts=rows.joint.parts,
                is_closing=is_closing,
                outline_first=rows.faces.points_on_first[order],
                outline_second=rows.faces.points_on_second[order],
                points=table.p_first[mine],
                directions=table.direction[mine],
                is_locating=table.is_locating[mine],
                gap=_closing_gap(chain, poses, report, rows, mine) if is_closing else None,
            )
        )
    return tuple(marks)


def _round_middle(points: Array, normal: Array) -> IntArray:
    """Order of points round their middle, counter-clockwise about the normal."""
    local = points - points.mean(axis=0)
    axis = local[np.argmax(np.linalg.norm(local, axis=1))]
    return np.asarray(np.argsort(np.arctan2(np.cross(axis, local) @ normal, local @ axis)), dtype=np.int64)


def _closing_gap(
    chain: Chain, poses: Poses, report: ForecastReport, rows: JointRows, mine: IntArray
) -> ClosingGap:
    """The stated gap of the joint, or else the mean separation of its face contacts as placed."""
    stated = {item.id for item in chain.project.characteristics if _is_gap_of(item.joint, item.kind, rows)}
    forecast = next((item for item in report.characteristics if item.id in stated), None)
    ends = (rows.faces.points_on_first.mean(axis=0), rows.faces.points_on_second.mean(axis=0))
    if forecast is not None:
        std = None if forecast.p_out is None else forecast.std
        return ClosingGap(*ends, forecast.predicted, std, forecast.id)
    table = chain.structure.table
    faces = mine[table.is_face[mine]]
    apart = poses.x_second[faces] - poses.x_first[faces]
    value = float(np.einsum("ij,ij->i", table.direction[faces], apart).mean())
    return ClosingGap(*ends, value, None, None)


def _is_gap_of(joint: str | None, kind: str, rows: JointRows) -> bool:
    return kind == "gap" and joint == rows.joint.id
