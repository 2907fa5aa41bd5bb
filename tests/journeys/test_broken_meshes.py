"""Mesh files as they arrive broken: each is refused with the fault's name, the place and what to do.

Every file is made here from a sound one by the damage that its name states.
"""

from __future__ import annotations

import json
import struct
import zipfile

import numpy as np
import pytest

from dryfit.base.errors import MeshRefused
from dryfit.files.mesh import read_meshes, read_raw
from support.mesh_files import (
    CORE,
    FACES,
    box,
    box_3mf,
    glb,
    gltf,
    gltf_document,
    mesh_xml,
    model_xml,
    obj,
    package_3mf,
    ply_binary,
    ply_header,
    ply_text,
    sound_files,
    stl_binary,
    stl_text,
)

SOUND = sound_files()
V, F = box()
BINARY, TEXT, OBJ = SOUND["binary.stl"], SOUND["text.stl"], SOUND["box.obj"]


def with_value(value):
    """The box with one coordinate replaced."""
    vertices = V.copy()
    vertices[5, 1] = value
    return vertices


def document(change=None, vertices=V, faces=F, **node):
    """The box as GLB after a change of its document."""
    tree, data = gltf_document(vertices, faces, **node)
    if change:
        change(tree)
    return glb(tree, data)


def setting(*path, to):
    """A change that sets one entry of the document."""

    def change(tree):
        for key in path[:-1]:
            tree = tree[key]
        tree[path[-1]] = to

    return change


def replaced(source, old, new):
    assert old in source
    return source.replace(old, new, 1)


def broken_zip():
    content = bytearray(SOUND["box.3mf"])
    middle = content.find(b"3dmodel.model") + 80
    content[middle : middle + 40] = bytes(40)
    return bytes(content)


def objects(*lines, item='<item objectid="1"/>', **options):
    return package_3mf(model_xml("".join(lines), item, **options))


BOX = f'<object id="1" name="box">{mesh_xml(V, F)}</object>'
CYCLE = (
    '<object id="2"><components><component objectid="3"/></components></object>'
    '<object id="3"><components><component objectid="2"/></components></object>'
)
SLICE = 'xmlns:s="http://schemas.microsoft.com/3dmanufacturing/slice/2015/07" requiredextensions="s"'
FLAT = "1 0 0 0 1 0 0 0 0 0 0 0"

BROKEN = {
    "empty": ("a.stl", b"", "the mesh file is empty"),
    "zero bytes only": ("a.bin", bytes(500), "nothing but zero bytes"),
    "unknown": ("a.xyz", b"1 2 3\n4 5 6\n", "format is not known.*'.xyz'"),
    "no extension": ("mesh", b"hello", "format is not known"),
    "gzip": ("a.stl.gz", b"\x1f\x8b\x08" + bytes(40), "gzip archive"),
    "step": ("a.step", b"ISO-10303-21;\nHEADER;", "STEP file"),
    "web page called stl": ("a.stl", b"<!DOCTYPE html><html>not found</html>", "HTML document"),
    "picture called obj": ("a.obj", b"\x89PNG\r\n\x1a\n" + bytes(99), "PNG picture"),
    "utf-16": ("a.obj", OBJ.decode().encode("utf-16"), "encoding is not supported"),
    "zip of something else": ("a.zip", package_3mf({"_rels/.rels": None, "a": b"b"}), "no _rels/.rels"),
    # STL
    "stl header cut": ("a.stl", BINARY[:60], "truncated: a binary STL begins with 84 bytes"),
    "stl cut": ("a.stl", BINARY[:-75], "declares 12 triangles, the file holds 10"),
    "stl cut within a record": ("a.stl", BINARY[:-1], "declares 12 triangles, the file holds 11"),
    "stl one byte more": ("a.stl", BINARY + b"\n", "1 surplus bytes follow the 12 triangles"),
    "stl count too low": ("a.stl", stl_binary(V, F, declared=11), "50 surplus bytes"),
    "stl solid header cut": ("a.stl", stl_binary(V, F, b"solid x")[:-9], "declares 12 triangles, .*holds 11"),
    "stl without triangles": ("a.stl", stl_binary(V, F[:0]), "no triangles"),
    "stl nan": ("a.stl", stl_binary(with_value(np.nan), F), "not finite: 4 of 36 .*first is vertex 4"),
    "stl inf": ("a.stl", stl_binary(with_value(np.inf), F), "not finite"),
    "stl absurd": ("a.stl", stl_binary(with_value(3e38), F), "absurdly large"),
    "stl flat on a point": ("a.stl", stl_binary(V * 0, F), "all 12 triangles are degenerate"),
    "stl flat on a line": ("a.stl", stl_binary(V * [1, 0, 0], F), "all 12 triangles are degenerate"),
    "stl text cut at a line": ("a.stl", TEXT[:-60], "truncated: solid 'box' has no endsolid"),
    "stl text facet cut out": (
        "a.stl",
        replaced(TEXT, b"    endloop\n  endfacet\n", b""),
        "'endloop' is expected, 'facet' is found[\\s\\S]*line 7.*facet 0",
    ),
    "stl text four corners": (
        "a.stl",
        replaced(TEXT, b"    endloop", b"vertex 0 0 0\n    endloop"),
        "'endloop' is expected, 'vertex' is found",
    ),
    "stl text decimal comma": ("a.stl", replaced(TEXT, b"0.0 2.0", b"0,0 2.0"), "decimal comma"),
    "stl text word misspelt": (
        "a.stl",
        replaced(TEXT, b"endloop", b"endlopp"),
        "'endloop' is expected, 'endlopp' is found",
    ),
    "stl text nan": ("a.stl", replaced(TEXT, b"vertex 0.0", b"vertex nan"), "not finite: 1 of 36"),
    "stl text empty solid": ("a.stl", b"solid box\nendsolid box\n", "object 'box'"),
    "stl text garbage after": ("a.stl", TEXT + b"garbage\n", "text other than a solid"),
    # OBJ
    "obj face cut": (
        "a.obj",
        OBJ[: OBJ.rfind(b" ")][: OBJ[: OBJ.rfind(b" ")].rfind(b" ")],
        "a face has 2 corners",
    ),
    "obj index zero": ("a.obj", replaced(OBJ, b"f 1 ", b"f 0 "), "names vertex 0"),
    "obj index high": (
        "a.obj",
        replaced(OBJ, b"f 1 ", b"f 9 "),
        "names vertex 9, and there are 8[\\s\\S]*line 10",
    ),
    "obj index too far back": ("a.obj", replaced(OBJ, b"f 1 ", b"f -9 "), "names vertex -9"),
    "obj index no number": ("a.obj", replaced(OBJ, b"f 1 ", b"f 1.5 "), "not an index: '1.5'"),
    "obj vertex short": (
        "a.obj",
        replaced(OBJ, b"v 1.0 0.0 0.0", b"v 1.0 0.0"),
        "vertex has 2 numbers[\\s\\S]*line 3",
    ),
    "obj vertex comma": ("a.obj", replaced(OBJ, b"v 1.0 0.0", b"v 1,0 0.0"), "decimal comma"),
    "obj without faces": ("a.obj", b"v 0 0 0\nv 1 0 0\nv 0 1 0\n", "no triangles"),
    "obj unknown word": ("a.obj", OBJ + b"w 1 2 3\n", "unknown statement 'w'[\\s\\S]*line 16"),
    "obj surface": ("a.obj", OBJ + b"cstype bspline\n", "free-form"),
    "obj nan": ("a.obj", replaced(OBJ, b"v 1.0", b"v nan"), "not finite"),
    # PLY
    "ply header cut": ("a.ply", SOUND["text.ply"][:90], "no end_header"),
    "ply text cut": ("a.ply", SOUND["text.ply"][:-8], "declares 12 rows of 'face', the file holds 11"),
    "ply text more": ("a.ply", SOUND["text.ply"] + b"1 2\n", "2 surplus numbers"),
    "ply text word": ("a.ply", replaced(SOUND["text.ply"], b"2.0", b"two"), "no number"),
    "ply text underscore": ("a.ply", replaced(SOUND["text.ply"], b"2.0", b"2_0"), "no number.*underscore"),
    "ply binary cut": ("a.ply", SOUND["little.ply"][:-1], "declares 12 rows of 'face', the file holds 11"),
    "ply binary cut in vertices": ("a.ply", ply_binary(V, F)[:300], "rows of 'vertex', the file holds"),
    "ply binary more": ("a.ply", SOUND["big.ply"] + b"x", "1 surplus bytes"),
    "ply count absurd": ("a.ply", ply_header("binary_little_endian", 10**11, 1) + bytes(64), "holds 2"),
    "ply index high": ("a.ply", ply_text(V, F + 1), "index is out of range"),
    "ply index negative": ("a.ply", ply_text(V, F - 1), "index is out of range"),
    "ply index broken": ("a.ply", replaced(ply_text(V, F), b"3 0 2 3", b"3 0 2.5 3"), "not a whole number"),
    "ply two corners": ("a.ply", ply_binary(V, [[0, 1], [0, 1, 2]]), "face 0 .* has 2 corners"),
    "ply points only": (
        "a.ply",
        replaced(ply_text(V, F[:0]), b"element face 0\nproperty list uchar int vertex_indices\n", b""),
        "no face element",
    ),
    "ply no x": ("a.ply", replaced(SOUND["text.ply"], b"double x", b"double u"), "lacks x, y and z"),
    "ply encoding": (
        "a.ply",
        replaced(SOUND["text.ply"], b"ascii 1.0", b"ascii 2.0"),
        "encoding 'ascii 2.0'",
    ),
    "ply type": ("a.ply", replaced(SOUND["text.ply"], b"double x", b"half x"), "property half x"),
    "ply strips": (
        "a.ply",
        replaced(SOUND["text.ply"], b"element face", b"element tristrips"),
        "triangle strips",
    ),
    # GLB and glTF
    "glb header only": ("a.glb", SOUND["box.glb"][:15], "truncated"),
    "glb cut": ("a.glb", SOUND["box.glb"][:-4], "truncated: the header declares"),
    "glb more": ("a.glb", SOUND["box.glb"] + bytes(4), "4 surplus bytes"),
    "glb version": ("a.glb", SOUND["box.glb"][:4] + struct.pack("<I", 1) + SOUND["box.glb"][8:], "version 1"),
    "gltf version": ("a.glb", document(setting("asset", "version", to="1.0")), "version '1.0'"),
    "gltf version as a number": ("a.glb", document(setting("asset", "version", to=1.0)), "version 1.0"),
    "gltf not json": ("a.gltf", gltf(*gltf_document(V, F))[:-9], "not well-formed"),
    "gltf nan": ("a.gltf", replaced(gltf(*gltf_document(V, F)), b'"scene": 0', b'"scene": NaN'), "holds NaN"),
    "gltf nested without end": ("a.gltf", b'{"a":' + b"[" * 100_000, "nested too deeply|not well-formed"),
    "gltf compressed": (
        "a.glb",
        document(setting("extensionsRequired", to=["KHR_draco_mesh_compression"])),
        "requires the extension 'KHR_draco_mesh_compression'[\\s\\S]*without compression",
    ),
    "gltf lines": ("a.glb", document(setting("meshes", 0, "primitives", 0, "mode", to=1)), "made of lines"),
    "gltf index high": ("a.glb", document(faces=np.where(F == 7, 8, F)), "index is out of range"),
    "gltf accessor too long": ("a.glb", document(setting("accessors", 0, "count", to=9)), "claims 9 values"),
    "gltf view too long": (
        "a.glb",
        document(setting("bufferViews", 1, "byteLength", to=999)),
        "buffer view ends",
    ),
    "gltf buffer too long": (
        "a.glb",
        document(setting("buffers", 0, "byteLength", to=999)),
        "declares 999 bytes",
    ),
    "gltf buffer too short": ("a.glb", document(setting("buffers", 0, "byteLength", to=99)), "surplus bytes"),
    "gltf no such mesh": ("a.glb", document(mesh=3), "meshes\\[3\\] is referred to and not there"),
    "gltf index of text": ("a.glb", document(mesh="0"), "no count or index: '0'"),
    "gltf wrong type": (
        "a.glb",
        document(setting("accessors", 0, "type", to="VEC2")),
        "VEC3 of 5126 is expected",
    ),
    "gltf part of a triangle": ("a.glb", document(setting("accessors", 1, "count", to=35)), "35 corners"),
    "gltf cyclic nodes": ("a.glb", document(children=[0]), "cyclic"),
    "gltf singular": ("a.glb", document(scale=[1, 0, 1]), "singular"),
    "gltf rotation": ("a.glb", document(rotation=[0, 0, 0, 0]), "no unit quaternion"),
    "gltf matrix": ("a.glb", document(matrix=[1, 2]), "16 numbers"),
    "gltf nan vertex": ("a.glb", document(vertices=with_value(np.nan)), "not finite: 1 of 8"),
    "gltf no mesh": ("a.glb", document(setting("nodes", to=[{}])), "no triangles"),
    "gltf skin": ("a.glb", document(skin=0), "skin"),
    "gltf data uri": ("a.gltf", gltf(*gltf_document(V, F)).replace(b"base64,", b"base64,*"), "not base64"),
    "gltf buffer missing": (
        "a.gltf",
        json.dumps({**gltf_document(V, F)[0], "buffers": [{"byteLength": 168, "uri": "gone.bin"}]}).encode(),
        "'gone.bin' cannot be read",
    ),
    # 3MF
    "3mf cut": ("a.3mf", SOUND["box.3mf"][:-30], "ZIP archive is damaged"),
    "3mf byte flipped": ("a.3mf", broken_zip(), "damaged"),
    "3mf no model": ("a.3mf", package_3mf({"3D/other.model": b""}), "lacks the part '3D/3dmodel.model'"),
    "3mf no relation": (
        "a.3mf",
        box_3mf().replace(b"nope", b"") and package_3mf({"_rels/.rels": b"<a/>"}),
        "no model part",
    ),
    "3mf unit": ("a.3mf", box_3mf("furlong"), "unit 'furlong' is not one of"),
    "3mf xml cut": ("a.3mf", package_3mf(model_xml(BOX, "")[:-9]), "not well-formed"),
    "3mf other xml": ("a.3mf", package_3mf(b"<svg/>"), "root element is 'svg'"),
    "3mf stray root": ("a.3mf", package_3mf(b'<vertex xmlns="%s"/>' % CORE.encode()), "root element"),
    "3mf stray vertices": ("a.3mf", objects(mesh_xml(V, F), BOX), "outside of any object"),
    "3mf misspelt triangle": (
        "a.3mf",
        objects(BOX.replace("<triangle ", "<Triangle ", 1)),
        "element that 3MF does not know: 'Triangle'",
    ),
    "3mf stray vertices last": ("a.3mf", objects(BOX, mesh_xml(V, F)), "outside of any object"),
    "3mf extension": ("a.3mf", box_3mf(attributes=SLICE), "requires the 3MF extension 's' .*slice"),
    "3mf prefix": ("a.3mf", box_3mf(attributes='requiredextensions="q"'), "without a namespace"),
    "3mf empty build": ("a.3mf", objects(BOX, item=""), "the build is empty"),
    "3mf no object": ("a.3mf", objects(BOX, item='<item objectid="9"/>'), "id '9' is referred to"),
    "3mf cyclic": ("a.3mf", objects(CYCLE, item='<item objectid="2"/>'), "cyclic.*ids 2 > 3 > 2"),
    "3mf singular": ("a.3mf", box_3mf(transform=FLAT), "singular"),
    "3mf short transform": ("a.3mf", box_3mf(transform="1 0 0"), "not made of 12 numbers"),
    "3mf transform nan": ("a.3mf", box_3mf(transform="nan" + FLAT[1:]), "not finite"),
    "3mf index high": (
        "a.3mf",
        objects(BOX.replace('v1="7"', 'v1="8"').replace('v2="7"', 'v2="8"')),
        "out of range",
    ),
    "3mf index negative": ("a.3mf", objects(BOX.replace('v1="0"', 'v1="-1"')), "out of range"),
    "3mf no y": ("a.3mf", objects(BOX.replace(' y="2.0"', "")), "coordinates are missing.*y=None"),
    "3mf nan": ("a.3mf", objects(BOX.replace('y="2.0"', 'y="nan"')), "not finite: 4 of 8"),
    "3mf same id": ("a.3mf", objects(BOX, BOX), "same id"),
    "3mf no triangles": ("a.3mf", objects(BOX.split("<triangles>")[0] + "</mesh></object>"), "no triangles"),
    "3mf flat": (
        "a.3mf",
        objects(f'<object id="1">{mesh_xml(V * 0, F)}</object>'),
        "12 triangles are degenerate",
    ),
}


@pytest.mark.parametrize("name", BROKEN)
def test_a_broken_file_is_refused_by_the_name_of_its_fault(tmp_path, name):
    file_name, content, words = BROKEN[name]
    path = tmp_path / file_name
    path.write_bytes(content)
    with pytest.raises(MeshRefused, match=words) as caught:
        read_raw(path)
    assert str(path) in caught.value.where
    assert caught.value.do
    with pytest.raises(MeshRefused):
        read_meshes(path, None if content[:2] in (b"PK", b"gl") or file_name.endswith("gltf") else "mm")


def test_a_missing_file_and_a_folder_are_refused(tmp_path):
    with pytest.raises(MeshRefused, match="no such mesh file"):
        read_raw(tmp_path / "absent.stl")
    with pytest.raises(MeshRefused, match="a folder, not a mesh file"):
        read_raw(tmp_path)
    with pytest.raises(MeshRefused, match="no file name"):
        read_raw(tmp_path / "a\0b")


def test_an_archive_with_a_password_is_refused(tmp_path):
    content = bytearray(SOUND["box.3mf"])
    for mark, offset in ((b"PK\x03\x04", 6), (b"PK\x01\x02", 8)):
        position = content.find(mark)
        while position >= 0:
            content[position + offset] |= 1  # general purpose flag, bit 0: encrypted
            position = content.find(mark, position + 4)
    (tmp_path / "a.3mf").write_bytes(content)
    with pytest.raises(MeshRefused, match=r"damaged or not supported.*(encrypted|password)"):
        read_raw(tmp_path / "a.3mf")


def test_a_part_of_an_unknown_compression_is_refused(tmp_path):
    content = bytearray(SOUND["box.3mf"])
    for mark, offset in ((b"PK\x03\x04", 8), (b"PK\x01\x02", 10)):
        position = content.find(mark)
        while position >= 0:
            content[position + offset] = 97
            position = content.find(mark, position + 4)
    (tmp_path / "a.3mf").write_bytes(content)
    with pytest.raises(MeshRefused, match="damaged or not supported"):
        read_raw(tmp_path / "a.3mf")


def test_two_parts_of_one_name_are_refused(tmp_path):
    with zipfile.ZipFile(tmp_path / "a.3mf", "w") as archive:
        archive.writestr("_rels/.rels", b"")
        archive.writestr("_rels/.RELS", b"")
    with pytest.raises(MeshRefused, match="two parts"):
        read_raw(tmp_path / "a.3mf")


@pytest.mark.parametrize(
    ("name", "faces"),
    [
        ("open", F[1:]),
        ("inside out", F[:, ::-1]),
        ("one face turned over", np.concatenate([F[:1, ::-1], F[1:]])),
        ("a face twice", np.concatenate([F, F[:1]])),
        ("a degenerate face", np.concatenate([F, [[0, 0, 1]]])),
    ],
)
def test_faults_of_shape_are_not_the_readers_to_refuse_or_mend(tmp_path, name, faces):
    """They become cautions elsewhere; the faces arrive as they stand in the file."""
    for kind, content in (("stl", stl_binary(V, faces)), ("obj", obj(V, faces)), ("3mf", None)):
        path = tmp_path / f"{name}.{kind}"
        path.write_bytes(content or objects(f'<object id="1">{mesh_xml(V, faces)}</object>'))
        mesh = read_raw(path).objects[0]
        assert (mesh.vertices[mesh.faces] == V[faces]).all()
    assert len(FACES) == 12


def test_text_with_a_million_blanks_is_quick(tmp_path):
    path = tmp_path / "a.stl"
    path.write_bytes(b" " * 1_000_000 + stl_text(V, F, "box") + b"\n" * 1_000_000)
    assert len(read_raw(path).objects[0].faces) == 12
