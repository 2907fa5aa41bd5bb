"""Whatever bytes stand in a mesh file, the reader refuses them in its own words or reads a sound mesh."""

from __future__ import annotations

from datetime import timedelta

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from dryfit.base.errors import MeshRefused
from dryfit.calc.mesh import measure_mesh
from dryfit.files.mesh import read_raw
from support.mesh_files import model_xml, package_3mf, sound_files

FILES = sound_files()
# Bytes that mean something to one of the formats, so that mutations reach past the first check.
TOKENS = [
    *(
        b"\x00",
        b"\xff\xff\xff\xff",
        b"\x7f\xf0",
        b"-1",
        b"nan",
        b"inf",
        b"1e999",
        b"-",
        b"\n",
        b"\\\n",
        b'"',
        b"{",
    ),
    *(
        b"}",
        b"[",
        b"]",
        b"null",
        b"true",
        b"<",
        b"/>",
        b"&lt;",
        b"solid",
        b"endsolid",
        b"facet",
        b"end_header\n",
    ),
    *(
        b"property list uchar int x\n",
        b"element face 99999999\n",
        b"f 1 2 3 4\n",
        b"PK\x05\x06",
        b"99999999999",
    ),
]


@st.composite
def damages(draw):
    """Up to four cuts, insertions and overwritten bytes, each at a share of the file's length."""
    places = st.floats(0, 1, exclude_max=True)
    kinds = st.sampled_from(["cut", "drop", "insert", "overwrite", "repeat"])
    one = st.tuples(
        kinds, places, st.integers(1, 40), st.sampled_from(TOKENS) | st.binary(min_size=1, max_size=6)
    )
    return draw(st.lists(one, min_size=1, max_size=4))


def damage(content, steps):
    for kind, share, length, piece in steps:
        at = int(share * len(content))
        if kind == "cut":
            content = content[:at]
        elif kind == "drop":
            content = content[:at] + content[at + length :]
        elif kind == "insert":
            content = content[:at] + piece + content[at:]
        elif kind == "overwrite":
            content = content[:at] + piece + content[at + len(piece) :]
        else:
            content = content[:at] + content[at : at + length] * 3 + content[at + length :]
    return content


def read_or_refuse(path, content):
    path.write_bytes(content)
    refusal = None
    try:
        found = read_raw(path)
    except MeshRefused as fault:
        refusal = fault
    if refusal is not None:
        assert refusal.what
        assert refusal.do
        assert str(path) in refusal.where
        return
    for mesh in found.objects:
        assert np.isfinite(mesh.vertices).all()
        assert 0 <= mesh.faces.min() <= mesh.faces.max() < len(mesh.vertices)
        assert measure_mesh(mesh).area_mm2 > 0
    assert len({mesh.name for mesh in found.objects}) == len(found.objects)


quick = settings(
    max_examples=120,
    deadline=timedelta(seconds=2),
    derandomize=True,
    database=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)


@pytest.mark.parametrize("name", FILES)
@quick
@given(steps=damages())
def test_a_damaged_file_is_refused_or_read_soundly(tmp_path, name, steps):
    read_or_refuse(tmp_path / name, damage(FILES[name], steps))


@quick
@given(steps=damages())
def test_damaged_xml_within_a_sound_archive(tmp_path, steps):
    """The check sums of the archive would otherwise hide the XML reader from the damage."""
    xml = XML["3D/3dmodel.model"]
    read_or_refuse(tmp_path / "a.3mf", package_3mf(damage(xml, steps)))


@pytest.mark.parametrize("name", ["a.stl", "a.obj", "a.ply", "a.gltf", "a.glb", "a.3mf", "a"])
@settings(quick, max_examples=40)
@given(content=st.binary(max_size=300) | st.lists(st.sampled_from(TOKENS)).map(b" ".join))
def test_arbitrary_bytes_are_refused_or_read_soundly(tmp_path, name, content):
    read_or_refuse(tmp_path / name, content)


VERTICES = "".join(f'<vertex x="{i % 2}" y="{i // 2}" z="0"/>' for i in range(4))
TRIANGLES = '<triangle v1="0" v2="1" v3="2"/><triangle v1="1" v2="3" v3="2"/>'
MESH = f"<mesh><vertices>{VERTICES}</vertices><triangles>{TRIANGLES}</triangles></mesh>"
XML = {
    "3D/3dmodel.model": model_xml(
        f'<object id="1" name="a">{MESH}</object><object id="2"><components><component objectid="1"'
        ' transform="1 0 0 0 1 0 0 0 1 0 0 0"/></components></object>',
        '<item objectid="2" transform="0 1 0 -1 0 0 0 0 1 3 3 3"/><item objectid="1"/>',
    )
}
