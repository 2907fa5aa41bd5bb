"""Writing 3MF: read back by the project's own reader and by the consortium's library."""

import numpy as np
import pytest

from dryfit.files.mesh import read_meshes
from dryfit.files.mesh.write_threemf import encode_3mf
from dryfit.model.mesh import TriangleMesh
from support.shapes import torus

BODY = TriangleMesh(
    torus(180.0, 40.0, 24, 12).vertices + 1.0 / 3.0, torus(180.0, 40.0, 24, 12).faces, 'a "ring" <1>'
)


@pytest.fixture
def file(tmp_path):
    path = tmp_path / "copy.3mf"
    path.write_bytes(encode_3mf(BODY, {"Title": "ring & rib", "Description": "as it lies"}))
    return path


def test_it_reads_back_to_the_last_digit(file):
    read = read_meshes(file, None)
    assert read.unit_stated == "mm"
    (mesh,) = read.objects
    assert (mesh.vertices == BODY.vertices).all()
    assert (mesh.faces == BODY.faces).all()
    assert mesh.name == BODY.name


def test_the_library_of_the_format_reads_the_same_in_single_precision(file):
    import lib3mf

    wrapper = lib3mf.get_wrapper()
    model = wrapper.CreateModel()
    reader = model.QueryReader("3mf")
    reader.SetStrictModeActive(True)
    reader.ReadFromFile(str(file))
    assert reader.GetWarningCount() == 0
    assert model.GetUnit() == lib3mf.ModelUnit.MilliMeter
    items = model.GetBuildItems()
    assert items.Count() == 1
    objects = model.GetMeshObjects()
    assert objects.MoveNext()
    mesh = objects.GetCurrentMeshObject()
    vertices = np.array([list(vertex.Coordinates) for vertex in mesh.GetVertices()])
    assert vertices == pytest.approx(BODY.vertices.astype(np.float32), abs=0.0)
    assert mesh.IsManifoldAndOriented()
    assert len(mesh.GetTriangleIndices()) == len(BODY.faces)


def test_the_same_mesh_is_the_same_bytes():
    assert encode_3mf(BODY) == encode_3mf(BODY)


def test_other_metadata_is_refused():
    with pytest.raises(ValueError, match="metadata"):
        encode_3mf(BODY, {"Colour": "red"})
