"""3MF: hand-made files for each feature, and the consortium's own library as a cross-check."""

from __future__ import annotations

import zipfile

import lib3mf
import numpy as np
import pytest

from dryfit.base.errors import MeshRefused
from dryfit.calc.mesh import measure_mesh
from dryfit.files.mesh import read_meshes, read_raw
from dryfit.files.mesh.threemf_package import MOST_RATIO
from support.mesh_files import box, box_3mf, mesh_xml, model_xml, package_3mf

TURN = "0 1 0 -1 0 0 0 0 1 10 20 30"  # x -> y, y -> -x, then moved: rows as 3MF writes them


@pytest.fixture
def put(tmp_path):
    def put_bytes(content, name="a.3mf"):
        path = tmp_path / name
        path.write_bytes(content)
        return path

    return put_bytes


@pytest.mark.parametrize(
    ("word", "unit", "factor"),
    [
        ("micron", "um", 0.001),
        ("millimeter", "mm", 1),
        ("centimeter", "cm", 10),
        ("inch", "in", 25.4),
        ("foot", "ft", 304.8),
        ("meter", "m", 1000),
    ],
)
def test_units(put, word, unit, factor):
    """Words of the 3MF core specification (memory); lib3mf agrees on the file below."""
    path = put(box_3mf(word))
    assert read_raw(path).unit_stated == unit
    assert read_meshes(path, None).objects[0].vertices.max() == pytest.approx(3 * factor, rel=1e-15)


def test_no_unit_means_millimetres_and_says_so(put):
    found = read_raw(put(box_3mf("")))
    assert found.unit_stated == "mm"
    assert "no unit attribute" in found.objects[0].notes[0]


def nested(inner="1 0 0 0 1 0 0 0 1 1 0 0", outer=TURN):
    """An item made of an assembly of two uses of an assembly of one box."""
    vertices, faces = box()
    resources = (
        f'<object id="1" name="rib">{mesh_xml(vertices, faces)}</object>'
        f'<object id="2" name="pair"><components><component objectid="1"/>'
        f'<component objectid="1" transform="1 0 0 0 1 0 0 0 1 5 0 0"/></components></object>'
        f'<object id="3" name="frame"><components><component objectid="2" transform="{inner}"/>'
        "</components></object>"
        f'<object id="4" name="spare">{mesh_xml(vertices, faces)}</object>'
    )
    return package_3mf(model_xml(resources, f'<item objectid="3" transform="{outer}"/><item objectid="1"/>'))


def test_components_and_nested_transforms(put):
    found = read_raw(put(nested()))
    frame, rib = found.objects
    vertices, _ = box()
    expected = []
    for shift in (0, 5):
        moved = vertices + np.array([shift + 1, 0, 0])
        expected.append(np.stack([-moved[:, 1], moved[:, 0], moved[:, 2]], axis=1) + np.array([10, 20, 30]))
    assert (frame.vertices == np.concatenate(expected)).all()
    assert (frame.name, rib.name) == ("frame", "rib")
    assert "joined from 2 components: 'rib', 'rib'" in frame.notes
    assert any("'spare'" in note for note in found.notes)
    assert measure_mesh(frame).volume_mm3 == pytest.approx(12)


def read_with_lib3mf(path):
    """Unit and triangle corners (m, 3, 3) of every build item, as lib3mf sees them."""
    model = lib3mf.get_wrapper().CreateModel()
    model.QueryReader("3mf").ReadFromFile(str(path))
    items = []
    iterator = model.GetBuildItems()
    while iterator.MoveNext():
        item = iterator.GetCurrent()
        items.append(_corners(item.GetObjectResource(), _matrix(item.GetObjectTransform())))
    return model.GetUnit().name, items


def _matrix(transform):
    matrix = np.eye(4)
    matrix[:3] = np.array([[transform.Fields[i][j] for j in range(3)] for i in range(4)]).T
    return matrix


def _corners(resource, matrix):
    if resource.IsMeshObject():
        points = np.array([list(v.Coordinates) for v in resource.GetVertices()])
        faces = np.array([list(t.Indices) for t in resource.GetTriangleIndices()])
        return (points @ matrix[:3, :3].T + matrix[:3, 3])[faces]
    parts = []
    for index in range(resource.GetComponentCount()):
        component = resource.GetComponent(index)
        parts.append(_corners(component.GetObjectResource(), matrix @ _matrix(component.GetTransform())))
    return np.concatenate(parts)


@pytest.mark.parametrize("make", [nested, lambda: box_3mf("inch", TURN)])
def test_agrees_with_lib3mf(put, make):
    path = put(make())
    unit, items = read_with_lib3mf(path)
    found = read_raw(path)
    assert {"MilliMeter": "mm", "Inch": "in"}[unit] == found.unit_stated
    for mesh, corners in zip(found.objects, items, strict=True):
        assert mesh.vertices[mesh.faces] == pytest.approx(corners, rel=1e-6)


def test_reads_what_lib3mf_writes(put, tmp_path):
    vertices, faces = box((0.5, 2, 300))
    model = lib3mf.get_wrapper().CreateModel()
    model.SetUnit(lib3mf.Lib3MF.ModelUnit.CentiMeter)
    mesh = model.AddMeshObject()
    mesh.SetName("crown")
    for point in vertices:
        mesh.AddVertex(lib3mf.Lib3MF.Position((lib3mf.Lib3MF.ctypes.c_float * 3)(*point)))
    for face in faces.tolist():
        mesh.AddTriangle(lib3mf.Lib3MF.Triangle((lib3mf.Lib3MF.ctypes.c_uint32 * 3)(*face)))
    model.AddBuildItem(mesh, lib3mf.get_wrapper().GetIdentityTransform())
    model.QueryWriter("3mf").WriteToFile(str(tmp_path / "w.3mf"))
    found = read_raw(tmp_path / "w.3mf")
    assert (found.unit_stated, found.objects[0].name) == ("cm", "crown")
    assert (found.objects[0].vertices[found.objects[0].faces] == vertices[faces]).all()


def test_digits_beyond_32_bits_survive(put):
    vertices, faces = box((1234.56789012345, 2, 3))
    path = put(
        package_3mf(model_xml(f'<object id="1">{mesh_xml(vertices, faces)}</object>', '<item objectid="1"/>'))
    )
    assert read_raw(path).objects[0].vertices.max() == 1234.56789012345


def test_mirroring_keeps_the_surface_facing_outwards(put):
    mesh = read_raw(put(box_3mf(transform="-1 0 0 0 1 0 0 0 1 0 0 0"))).objects[0]
    assert measure_mesh(mesh).volume_mm3 == pytest.approx(6)
    assert any("mirroring" in note for note in mesh.notes)


def test_a_scaling_transform_is_noted(put):
    mesh = read_raw(put(box_3mf(transform="25.4 0 0 0 25.4 0 0 0 25.4 0 0 0"))).objects[0]
    assert any("scales the body by 25.4 x 25.4 x 25.4" in note for note in mesh.notes)


def production(unit="millimeter"):
    vertices, faces = box()
    other = model_xml(f'<object id="1" name="far">{mesh_xml(vertices + 7, faces)}</object>', "", unit)
    near = f'<object id="1" name="near">{mesh_xml(vertices, faces)}</object>'
    both = (
        f'{near}<object id="2" name="both"><components><component objectid="1"/>'
        '<component objectid="1" p:path="/3D/Objects/other.model"/></components></object>'
    )
    build = '<item objectid="2"/><item objectid="1" p:path="/3D/Objects/other.model"/>'
    root = model_xml(both, build, attributes='requiredextensions="p"')
    return package_3mf({"3D/3dmodel.model": root, "3D/Objects/other.model": other})


def test_the_same_id_in_another_model_part_is_another_object(put):
    found = read_raw(put(production()))
    both, far = found.objects
    assert both.vertices[:8].min() == 0
    assert both.vertices[8:].min() == 7
    assert (far.name, far.vertices.min()) == ("far", 7)


def test_model_parts_in_different_units_are_refused(put):
    with pytest.raises(MeshRefused, match="different units: 'mm' and 'in'"):
        read_raw(put(production("inch")))


def test_materials_may_be_required(put):
    material = (
        'xmlns:m="http://schemas.microsoft.com/3dmanufacturing/material/2015/02" requiredextensions="m"'
    )
    found = read_raw(put(box_3mf(attributes=material)))
    assert "materials and colours are left out" in found.notes


def test_a_bomb_is_refused_before_it_is_unpacked(put):
    """Spaces deflate by a factor near a thousand; the limit is far below that."""
    content = model_xml("", "").replace(b"<resources>", b"<resources>" + b" " * 3_000_000)
    with pytest.raises(MeshRefused, match=f"more than 4294967296 bytes or {MOST_RATIO} times"):
        read_raw(put(package_3mf(content)))


def test_entities_are_not_expanded(put):
    prolog = '<?xml version="1.0"?><!DOCTYPE model [<!ENTITY a "0"><!ENTITY b "&a;&a;&a;&a;">]>'
    with pytest.raises(MeshRefused, match="document type"):
        read_raw(put(box_3mf(prolog=prolog)))


def test_components_that_multiply_without_end_are_refused(put):
    """Two uses of two uses of two: 2^40 boxes out of forty lines."""
    vertices, faces = box()
    lines = [f'<object id="1">{mesh_xml(vertices, faces)}</object>']
    for i in range(2, 42):
        use = f'<component objectid="{i - 1}"/>'
        lines.append(f'<object id="{i}"><components>{use}{use}</components></object>')
    with pytest.raises(MeshRefused, match="components multiply"):
        read_raw(put(package_3mf(model_xml("".join(lines), '<item objectid="41"/>'))))


def test_part_names_are_compared_without_case(put, tmp_path):
    path = put(box_3mf())
    with zipfile.ZipFile(path) as archive, zipfile.ZipFile(tmp_path / "b.3mf", "w") as other:
        for name in archive.namelist():
            other.writestr(name.upper() if name.endswith("model") else name, archive.read(name))
    assert len(read_raw(tmp_path / "b.3mf").objects[0].faces) == 12
