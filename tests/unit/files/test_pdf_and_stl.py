"""Pages as PDF and meshes as STL: what is written is read back by others."""

from __future__ import annotations

import io

import numpy as np
import pytest
import trimesh

from dryfit.base.errors import NotWritten
from dryfit.calc.shapes import box
from dryfit.files.mesh.write_stl import encode_stl
from dryfit.files.pdf import render_pages, render_pdf

MARKUP = '#let d = json(bytes(sys.inputs.data))\n#d.text\n#image(bytes(sys.inputs.at("one")), format: "svg")'
SVG = '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 9 9"><path d="M0 0L9 9" stroke="black"/></svg>'


def test_the_same_page_is_the_same_bytes() -> None:
    first, second = (render_pdf(MARKUP, {"text": "a"}, {"one": SVG}) for _ in range(2))
    assert first == second
    assert first.startswith(b"%PDF-")


def test_text_of_the_user_is_not_taken_for_markup() -> None:
    text = '#panic("no") *bold* $x$ \\ @label <b>'
    assert render_pdf(MARKUP, {"text": text}, {"one": SVG}).startswith(b"%PDF-")


def test_pages_are_pictures_one_each() -> None:
    pages = render_pages("a\n#pagebreak()\nb", {})
    assert len(pages) == 2
    assert all(page.startswith(b"\x89PNG") for page in pages)
    assert len(render_pages("a", {})) == 1


def test_a_page_that_cannot_be_set_is_refused() -> None:
    with pytest.raises(NotWritten, match="cannot be set"):
        render_pdf("#unknown-word", {})


def test_stl_is_read_back_by_a_mesh_library() -> None:
    mesh = box((1.0, 2.0, 3.0), (11.0, 22.0, 33.25))
    data = encode_stl(mesh)
    assert not data.startswith(b"solid")
    assert len(data) == 84 + 50 * len(mesh.faces)
    read = trimesh.load(io.BytesIO(data), file_type="stl")
    assert read.is_watertight
    assert read.volume == pytest.approx(10.0 * 20.0 * 30.25)
    assert read.bounds == pytest.approx(np.array([[1.0, 2.0, 3.0], [11.0, 22.0, 33.25]]))
    assert np.asarray(read.face_normals) == pytest.approx(
        np.frombuffer(data[84:], dtype=[("n", "<f4", 3), ("c", "<f4", 9), ("e", "<u2")])["n"], abs=1e-6
    )
