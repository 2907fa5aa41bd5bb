"""Clouds and meshes as scans: what is read, and what is refused with the line."""

from pathlib import Path

import numpy as np
import pytest

from dryfit.base.errors import MeshRefused, UnitUnknown
from dryfit.files.mesh import read_meshes
from dryfit.files.scan import encode_map_ply, read_raw_scan, read_scan

POINTS = np.array([[1.0, 2.0, 3.0], [4.0, 5.0, 6.5], [-7.0, 8.0, 9.0]])


def written(folder: Path, name: str, text: str | bytes) -> Path:
    path = folder / name
    path.write_bytes(text.encode() if isinstance(text, str) else text)
    return path


TEXTS = {
    "plain.xyz": "1 2 3\n4 5 6.5\n-7 8 9\n",
    "colours.txt": "1 2 3 255 0 0\n4 5 6.5 0 0 0\n-7 8 9 1 1 1\n",
    "comma.csv": "x,y,z\n1,2,3\n4,5,6.5\n-7,8,9",
    "semicolons.asc": "// a scan\n1;2;3\n\n4;5;6.5\n-7;8;9\n",
    "counted.pts": "3\r\n1 2 3\r\n4 5 6.5\r\n-7 8 9\r\n",
    "tabs.xyz": "# made by hand\n1\t2\t3\n4\t5\t6.5\n-7\t8\t9\n",
    "cloud.obj": "# points\nv 1 2 3\nv 4 5 6.5\nv -7 8 9\n",
    "cloud.ply": (
        "ply\nformat ascii 1.0\nelement vertex 3\nproperty float x\nproperty float y\nproperty float z\n"
        "property uchar red\nend_header\n1 2 3 9\n4 5 6.5 9\n-7 8 9 9\n"
    ),
}


@pytest.mark.parametrize("name", TEXTS)
def test_every_form_of_a_cloud_gives_its_points(tmp_path: Path, name: str) -> None:
    scan = read_scan(written(tmp_path, name, TEXTS[name]), "mm")
    np.testing.assert_array_equal(scan.points, POINTS)
    assert scan.faces is None
    assert not scan.points.flags.writeable


def test_what_is_left_out_is_said(tmp_path: Path) -> None:
    assert "3 further columns" in read_scan(written(tmp_path, "a.txt", TEXTS["colours.txt"]), "mm").notes[0]
    assert "heading" in read_scan(written(tmp_path, "a.csv", TEXTS["comma.csv"]), "mm").notes[0]
    assert "left out: red" in read_scan(written(tmp_path, "a.ply", TEXTS["cloud.ply"]), "mm").notes
    assert "no faces" in read_scan(written(tmp_path, "a.obj", TEXTS["cloud.obj"]), "mm").notes[0]


@pytest.mark.parametrize("order", ["<", ">"])
def test_binary_clouds_of_both_byte_orders_with_normals(tmp_path: Path, order: str) -> None:
    name = "little" if order == "<" else "big"
    head = f"ply\nformat binary_{name}_endian 1.0\nelement vertex 3\n"
    head += "".join(f"property double {axis}\n" for axis in "xyz")
    head += "".join(f"property float n{axis}\n" for axis in "xyz") + "end_header\n"
    rows = np.zeros(3, dtype=[("p", order + "f8", 3), ("n", order + "f4", 3)])
    rows["p"], rows["n"] = POINTS, [0, 0, 1]
    scan = read_scan(written(tmp_path, "a.ply", head.encode() + rows.tobytes()), "in")
    np.testing.assert_allclose(scan.points, POINTS * 25.4)
    assert scan.normals is not None
    np.testing.assert_array_equal(scan.normals, [[0, 0, 1]] * 3)
    with pytest.raises(MeshRefused, match="declares 3 rows of 'vertex', the file holds 2"):
        read_scan(written(tmp_path, "b.ply", head.encode() + rows.tobytes()[:-5]), "mm")
    with pytest.raises(MeshRefused, match="2 surplus bytes"):
        read_scan(written(tmp_path, "b.ply", head.encode() + rows.tobytes() + b"xx"), "mm")


BROKEN = {
    "no points": ("a.xyz", "# nothing\n\n", "holds no points"),
    "empty": ("a.xyz", "", "empty"),
    "cut short": ("a.xyz", "1 2 3\n4 5\n", "has 2 columns, those before have 3"),
    "no number": ("a.xyz", "1 2 3\n4 five 6\n", "no number"),
    "not finite": ("a.xyz", "1 2 3\n4 nan 6\n", "not finite"),
    "decimal commas": ("a.txt", "1,5 2,5 3,5\n", "decimal commas"),
    "two headings": ("a.txt", "X Y Z\nmm mm mm\n1 2 3\n", "no point"),
    "wrong count": ("a.pts", "5\n1 2 3\n4 5 6\n", "states 5 points at its head and holds 2"),
    "one place": ("a.xyz", "1 2 3\n1 2 3\n", "in one place"),
    "binary": ("a.xyz", "1 2 3\n\x00\x01", "binary data"),
    "no vertices": ("a.obj", "# nothing\n", "neither faces nor vertices|format is not known"),
    "no x": (
        "a.ply",
        "ply\nformat ascii 1.0\nelement vertex 1\nproperty float y\nend_header\n1\n",
        "lacks x, y and z",
    ),
    "no such file": ("", "", "no such mesh file"),
}


@pytest.mark.parametrize("case", BROKEN)
def test_what_cannot_be_read_is_refused_with_the_reason(tmp_path: Path, case: str) -> None:
    name, text, words = BROKEN[case]
    path = written(tmp_path, name, text) if name else tmp_path / "gone.xyz"
    with pytest.raises(MeshRefused, match=words):
        read_scan(path, "mm")


def test_a_scan_without_a_unit_is_a_question(tmp_path: Path) -> None:
    path = written(tmp_path, "a.xyz", TEXTS["plain.xyz"])
    with pytest.raises(UnitUnknown):
        read_scan(path, None)
    assert read_raw_scan(path).vertex_unit is None


def test_the_line_of_a_fault_is_named_in_a_later_block(tmp_path: Path) -> None:
    lines = ["0.1234567890 1.234567890 2.34567890123456"] * 150_000
    lines[140_000] = "0.1 1.2"
    with pytest.raises(MeshRefused) as refused:
        read_scan(written(tmp_path, "a.xyz", "\n".join(lines)), "mm")
    assert "line 140001" in str(refused.value)


def test_a_map_that_is_written_reads_back_as_a_mesh(tmp_path: Path) -> None:
    colours = np.array([[1, 2, 3]] * 3, dtype=np.uint8)
    data = encode_map_ply(
        POINTS, np.array([[0, 1, 2]]), colours, np.array([0.1, np.nan, -0.1]), ("invented",)
    )
    mesh = read_meshes(written(tmp_path, "map.ply", data), "mm").objects[0]
    np.testing.assert_allclose(mesh.vertices, POINTS)
    scan = read_scan(tmp_path / "map.ply", "mm")
    assert scan.faces is not None
