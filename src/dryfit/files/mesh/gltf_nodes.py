"""The node tree of glTF: which meshes stand where."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from dryfit.base.arrays import Array
from dryfit.files.mesh.gltf_json import Tree
from dryfit.files.mesh.source import Source
from dryfit.files.mesh.transform import check_transform

_MOST_DEPTH = 256


@dataclass(frozen=True, slots=True, eq=False)
class MeshNode:
    """A node that shows a mesh. matrix: (4, 4), column vectors, node to scene."""

    index: int
    name: str
    mesh: int
    matrix: Array


def place_nodes(source: Source, tree: Tree) -> tuple[list[MeshNode], list[str]]:
    """All mesh nodes of the scene, depth first, with notes.

    The scene is the stated one, or the only one; without scenes, every node that is no other's child.
    Raises MeshRefused for several scenes without a stated one, and for nodes with two parents or none.
    """
    roots, notes = _root_nodes(source, tree)
    found: list[MeshNode] = []
    seen: set[int] = set()
    # A stack instead of recursion; reversed so that nodes come in the order of the file.
    stack = [(index, np.eye(4), 0) for index in reversed(roots)]
    while stack:
        index, above, depth = stack.pop()
        place = f"nodes[{index}]"
        if index in seen or depth > _MOST_DEPTH:
            raise source.refuse("the node tree is cyclic, too deep, or a node has two parents", place)
        seen.add(index)
        node = tree.item("nodes", index, place)
        matrix = above @ _local_matrix(source, tree, node, place)
        # Only where a mesh stands: cameras and empties may carry what they like.
        if "mesh" in node:
            check_transform(source, matrix, place)
            found.append(_mesh_node(source, tree, index, node, matrix))
        elif not np.isfinite(matrix).all():
            raise source.refuse("a transform is not finite", place)
        children = tree.integers(node, "children", place)
        stack += [(child, matrix, depth + 1) for child in reversed(children)]
    left_out = [i for i, node in enumerate(tree.items("nodes")) if i not in seen and _has_mesh(node)]
    if left_out:
        notes.append(f"{len(left_out)} mesh nodes do not belong to the scene and are left out")
    return found, notes


def _has_mesh(node: Any) -> bool:
    return isinstance(node, dict) and "mesh" in node


def _root_nodes(source: Source, tree: Tree) -> tuple[list[int], list[str]]:
    scenes = tree.items("scenes")
    if "scene" in tree.root or len(scenes) == 1:
        index = tree.integer(tree.root, "scene", "scene", 0)
        scene = tree.item("scenes", index, "scene")
        return tree.integers(scene, "nodes", f"scenes[{index}]"), []
    if scenes:
        what = f"the file holds {len(scenes)} scenes and states none as the one to show"
        raise source.refuse(what, "scenes", "export the one scene that is meant")
    children: set[int] = set()
    for index in range(len(tree.items("nodes"))):
        children.update(tree.integers(tree.item("nodes", index, "nodes"), "children", f"nodes[{index}]"))
    roots = [index for index in range(len(tree.items("nodes"))) if index not in children]
    return roots, ["the file has no scene: all its nodes are read"]


def _mesh_node(source: Source, tree: Tree, index: int, node: dict[str, Any], matrix: Array) -> MeshNode:
    place = f"nodes[{index}]"
    if "skin" in node:
        what = "the mesh is posed by a skin (bones), which is not supported"
        raise source.refuse(what, place, "apply the pose and export the mesh as it stands")
    if "EXT_mesh_gpu_instancing" in tree.dict_of(node, "extensions", place):
        raise source.refuse("the extension EXT_mesh_gpu_instancing is not supported", place)
    mesh = tree.integer(node, "mesh", place)
    entry = tree.item("meshes", mesh, place)
    weights = [*tree.list_of(node, "weights", place), *tree.list_of(entry, "weights", place)]
    _refuse_morphing(source, weights, place)
    name = tree.text(node, "name", place) or tree.text(entry, "name", f"meshes[{mesh}]")
    return MeshNode(index, name.strip(), mesh, matrix)


def _refuse_morphing(source: Source, weights: list[Any], place: str) -> None:
    if any(weight != 0 for weight in weights):
        what = "the mesh is shaped by morph targets, which is not supported"
        raise source.refuse(what, place, "apply the shape and export the mesh as it stands")


def _local_matrix(source: Source, tree: Tree, node: dict[str, Any], place: str) -> Array:
    """(4, 4): the matrix, stored by columns, or translation, rotation (x, y, z, w) and scale."""
    lengths = {"translation": 3, "rotation": 4, "scale": 3}
    parts = [tree.numbers(node, name, length, place) for name, length in lengths.items()]
    stored = tree.numbers(node, "matrix", 16, place)
    if stored is not None:
        matrix: Array = np.array(stored).reshape(4, 4).T
        if any(part is not None for part in parts):
            raise source.refuse("the node has both a matrix and translation, rotation or scale", place)
        if (matrix[3] != (0.0, 0.0, 0.0, 1.0)).any():
            raise source.refuse("the node's matrix is not affine: its last row is not 0 0 0 1", place)
        return _within_bounds(source, matrix, place)
    translation, rotation, scale = parts
    matrix = np.eye(4)
    if rotation is not None:
        matrix[:3, :3] = _rotation(source, rotation, place)
    if scale is not None:
        matrix[:3, :3] *= np.array(scale)
    if translation is not None:
        matrix[:3, 3] = translation
    return _within_bounds(source, matrix, place)


def _within_bounds(source: Source, matrix: Array, place: str) -> Array:
    # Depth times this stays far from overflow only with the finite check of every product.
    if np.abs(matrix).max() > 1e12:
        raise source.refuse("a transform is not finite or absurdly large", place)
    return matrix


def _rotation(source: Source, quaternion: list[float], place: str) -> Array:
    """Rotation (3, 3) of a unit quaternion (x, y, z, w); 32-bit digits are brought to length one."""
    length = float(np.linalg.norm(np.clip(quaternion, -1e6, 1e6)))
    if not abs(length - 1.0) < 1e-3:
        raise source.refuse(f"the node's rotation is no unit quaternion: its length is {length:.6g}", place)
    x, y, z, w = np.array(quaternion) / length
    return np.array(
        [
            [1 - 2 * (y * y + z * z), 2 * (x * y - z * w), 2 * (x * z + y * w)],
            [2 * (x * y + z * w), 1 - 2 * (x * x + z * z), 2 * (y * z - x * w)],
            [2 * (x * z - y * w), 2 * (y * z + x * w), 1 - 2 * (x * x + y * y)],
        ]
    )
