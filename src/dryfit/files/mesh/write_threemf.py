"""Writing one mesh as 3MF, in millimetres: the unit is stated in the file."""

from __future__ import annotations

import io
import zipfile
from collections.abc import Mapping
from html import escape

from dryfit.files.mesh.threemf_model import CORE
from dryfit.model.mesh import TriangleMesh

_TYPES = """<?xml version="1.0" encoding="UTF-8"?>
<Types xmlns="http://schemas.openxmlformats.org/package/2006/content-types">
<Default Extension="rels" ContentType="application/vnd.openxmlformats-package.relationships+xml"/>
<Default Extension="model" ContentType="application/vnd.ms-package.3dmanufacturing-3dmodel+xml"/>
</Types>
"""
_RELATIONS = """<?xml version="1.0" encoding="UTF-8"?>
<Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships">
<Relationship Target="/3D/3dmodel.model" Id="rel0" Type="http://schemas.microsoft.com/3dmanufacturing/2013/01/3dmodel"/>
</Relationships>
"""
_MODEL = "3D/3dmodel.model"
_TIME = (1980, 1, 1, 0, 0, 0)  # the same bytes for the same mesh, whenever they are written
# Names of metadata that the core defines and any reader knows (core 1.3, section 4.1; memory).
_KNOWN = frozenset({"Title", "Description", "Application"})


def encode_3mf(mesh: TriangleMesh, metadata: Mapping[str, str] | None = None) -> bytes:
    """The bytes of a 3MF package that holds one mesh, one build item and the unit millimetre.

    Coordinates are written in full double precision; the standard asks readers for single precision only.
    metadata : Title, Description, Application
    Raises ValueError for metadata of another name.
    Source: 3MF core specification 1.3 (memory; read back by lib3mf in the tests).
    """
    notes = metadata or {}
    if not set(notes) <= _KNOWN:
        raise ValueError(f"metadata may be {sorted(_KNOWN)}")
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w", zipfile.ZIP_DEFLATED) as package:
        for name, text in (
            ("[Content_Types].xml", _TYPES),
            ("_rels/.rels", _RELATIONS),
            (_MODEL, _write_model(mesh, notes)),
        ):
            info = zipfile.ZipInfo(name, _TIME)
            info.compress_type = zipfile.ZIP_DEFLATED
            info.external_attr = 0o644 << 16
            package.writestr(info, text.encode("utf-8"))
    return stream.getvalue()


def _write_model(mesh: TriangleMesh, metadata: Mapping[str, str]) -> str:
    name = escape(mesh.name, quote=True)
    lines = [
        '<?xml version="1.0" encoding="UTF-8"?>',
        f'<model unit="millimeter" xml:lang="en-US" xmlns="{CORE}">',
        *(f'<metadata name="{key}">{escape(text, quote=False)}</metadata>' for key, text in metadata.items()),
        f'<resources><object id="1" type="model" name="{name}"><mesh><vertices>',
        *(f'<vertex x="{x!r}" y="{y!r}" z="{z!r}"/>' for x, y, z in mesh.vertices.tolist()),
        "</vertices><triangles>",
        *(f'<triangle v1="{a}" v2="{b}" v3="{c}"/>' for a, b, c in mesh.faces.tolist()),
        '</triangles></mesh></object></resources><build><item objectid="1"/></build></model>',
        "",
    ]
    return "\n".join(lines)
