"""Mesh files: one strict reader for STL, 3MF, OBJ, PLY, glTF and GLB.

Nothing is repaired, rescaled or guessed: a file is read as it stands or refused with the reason.
"""

from dryfit.files.mesh.read import read_meshes, read_raw
from dryfit.files.mesh.record import MeshFile, MeshFormat
from dryfit.files.mesh.select import select_object

__all__ = ["MeshFile", "MeshFormat", "read_meshes", "read_raw", "select_object"]
