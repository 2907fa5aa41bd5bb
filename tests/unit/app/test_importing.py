"""Importing: what becomes of files, rows and copies, whatever fails on the way."""

import hashlib
import json

import pytest

from dryfit.app.import_plan import ImportRefused
from dryfit.app.importing import check_unit, import_meshes
from dryfit.app.mesh_words import mesh_cautions
from dryfit.base.errors import MeshRefused, NotWritten, ReferenceUnknown, UnitUnknown
from dryfit.calc.mesh import measure_mesh
from dryfit.files.mesh import read_meshes
from dryfit.model.mesh import TriangleMesh
from dryfit.store.document import read_document
from dryfit.store.edit import DocumentEditor
from support.mesh_files import box, gltf_document
from support.projects import contents, document, glb_bytes, open_stl_bytes, stl_bytes, write_project

SECOND = '[[machine]]\nid = "desk"\nbuild_volume_mm = [100, 100, 100]\n'
BARE = document(parts="", joints="", characteristics="", assembly="")


@pytest.fixture
def folder(tmp_path):
    return write_project(tmp_path / "p", BARE, {})


def put(folder, name, data):
    (folder.parent / name).write_bytes(data)
    return folder.parent / name


def test_a_row_and_a_copy(folder):
    file = put(folder, "block.stl", stl_bytes())
    import_meshes(folder, [file], unit="mm")
    part = read_document(folder).project.part("block")
    assert (part.mesh, part.unit, part.machine, part.material) == ("meshes/block.stl", "mm", "tall", "pla")
    assert part.sha256 == hashlib.sha256(file.read_bytes()).hexdigest()
    assert (folder / "meshes/block.stl").read_bytes() == file.read_bytes()


def test_a_file_inside_the_project_stays_where_it_is(folder):
    (folder / "meshes/frames").mkdir()
    inside = folder / "meshes/frames/block.stl"
    inside.write_bytes(stl_bytes())
    import_meshes(folder, [inside], unit="mm")
    assert read_document(folder).project.part("block").mesh == "meshes/frames/block.stl"
    assert [path for path in contents(folder) if path.endswith(".stl")] == ["meshes/frames/block.stl"]


def test_two_machines_must_be_told_apart(tmp_path):
    folder = write_project(tmp_path / "p", BARE + SECOND, {})
    file = put(folder, "portal.glb", glb_bytes())
    with pytest.raises(ImportRefused) as caught:
        import_meshes(folder, [file])
    assert "--machine tall | desk" in caught.value.do
    assert import_meshes(folder, [file], machine="desk").machine == "desk"
    # taken again, no part needs a machine
    assert import_meshes(folder, [file], again=True).machine is None


def test_several_parts_that_share_an_object_are_all_taken_again(tmp_path):
    folder = write_project(tmp_path / "p", BARE, {})
    file = put(folder, "block.stl", stl_bytes())
    import_meshes(folder, [file], unit="mm")
    text = (folder / "project.toml").read_text()
    row = text[text.index("[[part]]") :].split("\n\n")[0]
    (folder / "project.toml").write_text(
        text + "\n" + row.split("\n[[m")[0].replace('id = "block"', 'id = "twin"')
    )
    file.write_bytes(stl_bytes((3.0, 4.0, 5.0)))
    report = import_meshes(folder, [file], again=True)
    assert sorted(part.id for part in report.parts) == ["block", "twin"]
    assert {part.sha256 for part in read_document(folder).project.parts} == {
        hashlib.sha256(file.read_bytes()).hexdigest()
    }


def test_a_new_part_comes_last_in_a_stated_order_and_the_report_says_so(folder):
    import_meshes(folder, [put(folder, "one.stl", stl_bytes())], unit="mm")
    with (folder / "project.toml").open("a") as document_file:
        document_file.write('\n[assembly]\norder = ["one"]  # by hand\n')
    report = import_meshes(folder, [put(folder, "two.stl", stl_bytes((3.0, 4.0, 5.0)))], unit="mm")
    assert read_document(folder).project.assembly.order == ("one", "two")
    assert any("last in the stated bonding order" in note for note in report.notes)
    assert "# by hand" in (folder / "project.toml").read_text()


@pytest.mark.parametrize(
    ("data", "unit", "refused"),
    [(b"", "mm", MeshRefused), (stl_bytes()[:-7], "mm", MeshRefused), (stl_bytes(), None, UnitUnknown)],
)
def test_a_refused_file_leaves_everything_as_it_was(folder, data, unit, refused):
    before = contents(folder)
    files = [put(folder, "good.stl", stl_bytes()), put(folder, "bad.stl", data)]
    with pytest.raises(refused):
        import_meshes(folder, files, unit=unit)
    assert contents(folder) == before


@pytest.mark.parametrize("again", [False, True])
def test_copies_go_back_where_the_document_cannot_be_saved(folder, monkeypatch, again):
    file = put(folder, "block.stl", stl_bytes())
    if again:
        import_meshes(folder, [file], unit="mm")
        file.write_bytes(stl_bytes((1.0, 2.0, 3.0)))
    before = contents(folder)

    def refuse(self):
        raise NotWritten("the disk is full", "project.toml", "make room")

    monkeypatch.setattr("dryfit.store.edit.DocumentEditor.save", refuse)
    with pytest.raises(NotWritten):
        import_meshes(folder, [file], unit="mm", again=again)
    assert contents(folder) == before


def test_an_interrupt_while_saving_leaves_everything_as_it_was(folder, monkeypatch):
    before = contents(folder)

    def stop(self):
        raise KeyboardInterrupt

    monkeypatch.setattr("dryfit.store.edit.DocumentEditor.save", stop)
    with pytest.raises(KeyboardInterrupt):
        import_meshes(folder, [put(folder, "block.stl", stl_bytes())], unit="mm")
    assert contents(folder) == before


def test_names_that_are_taken_or_kept(folder):
    import_meshes(folder, [put(folder, "block.stl", stl_bytes())], unit="mm")
    with pytest.raises(ImportRefused, match="already"):
        import_meshes(
            folder, [put(folder, "other.glb", glb_bytes({"block": ((1.0, 1.0, 1.0), (0.0, 0.0, 0.0))}))]
        )
    with pytest.raises(ImportRefused, match="jig"):
        import_meshes(
            folder, [put(folder, "jig.glb", glb_bytes({"ground": ((1.0, 1.0, 1.0), (0.0, 0.0, 0.0))}))]
        )


def test_an_existing_hash_is_added_to_a_part_without_one(tmp_path):
    folder = write_project(tmp_path / "p")
    assert read_document(folder).project.part("base").sha256 is None
    import_meshes(folder, [folder / "meshes/portal.glb"], again=True)
    assert read_document(folder).project.part("base").sha256 == hashlib.sha256(glb_bytes()).hexdigest()


def test_a_reference_with_a_dot_is_the_same_file(tmp_path):
    folder = write_project(
        tmp_path / "p", document().replace("meshes/portal.glb#base", "./meshes/portal.glb#base")
    )
    with pytest.raises(ImportRefused, match="already"):
        import_meshes(folder, [folder / "meshes/portal.glb"])


def put_gltf(folder, where, corner=(2.0, 3.0, 4.0)):
    """A glTF file of one box that keeps its numbers in bin/data.bin beside it."""
    (folder.parent / where / "bin").mkdir(parents=True)
    document, data = gltf_document(*box(corner), name=where)
    document["buffers"][0]["uri"] = "bin/data.bin"
    (folder.parent / where / "bin/data.bin").write_bytes(data)
    return put(folder, f"{where}/{where}.gltf", json.dumps(document).encode())


def test_many_objects_are_entered_at_once(folder, monkeypatch):
    """Row by row the document would be read and verified again for every part."""
    calls = []
    add_rows = DocumentEditor.add_rows
    monkeypatch.setattr(DocumentEditor, "add_rows", lambda *given: (calls.append(given[1]), add_rows(*given)))
    bodies = {f"block {k}": ((0.01, 0.01, 0.01), (0.02 * k, 0.0, 0.0)) for k in range(40)}
    report = import_meshes(folder, [put(folder, "many.glb", glb_bytes(bodies))])
    assert (len(report.parts), calls) == (40, ["part"])
    assert len(read_document(folder).project.parts) == 40


class TestBuffersBeside:
    def test_they_come_along_and_the_part_reads_as_before(self, folder):
        file = put_gltf(folder, "one")
        part = import_meshes(folder, [file]).parts[0]
        assert part.volume_mm3 == pytest.approx(24e9, rel=1e-6)
        assert (folder / "meshes/bin/data.bin").read_bytes() == (file.parent / "bin/data.bin").read_bytes()
        assert (
            read_meshes(folder / "meshes/one.gltf", None).sha256
            == read_document(folder).project.parts[0].sha256
        )

    def test_one_does_not_take_the_place_of_another(self, folder):
        one, two = put_gltf(folder, "one"), put_gltf(folder, "two", (5.0, 6.0, 7.0))
        before = contents(folder)
        with pytest.raises(ImportRefused, match="another file of this name"):
            import_meshes(folder, [one, two])
        assert contents(folder) == before
        import_meshes(folder, [one])
        with pytest.raises(ImportRefused, match="another file of this name"):
            import_meshes(folder, [two])

    def test_they_go_again_where_the_document_cannot_be_saved(self, folder, monkeypatch):
        file, before = put_gltf(folder, "one"), contents(folder)

        def refuse(self):
            raise NotWritten("the disk is full", "project.toml", "make room")

        monkeypatch.setattr("dryfit.store.edit.DocumentEditor.save", refuse)
        with pytest.raises(NotWritten):
            import_meshes(folder, [file])
        assert contents(folder) == before


class TestCautions:
    def test_a_sound_box_has_none(self, folder):
        report = import_meshes(folder, [put(folder, "block.stl", stl_bytes())], unit="mm")
        assert report.parts[0].cautions == ()
        assert report.parts[0].volume_mm3 == pytest.approx(20.0 * 60.0 * 100.0, rel=1e-6)

    def test_an_open_box(self, folder):
        report = import_meshes(folder, [put(folder, "block.stl", open_stl_bytes())], unit="mm")
        # two triangles that do not share an edge leave six, two that do leave four
        assert any("open" in caution for caution in report.parts[0].cautions)
        assert not report.parts[0].is_closed

    def test_inside_out(self):
        from building import box_mesh

        box = box_mesh((0, 0, 0), (1, 2, 3))
        assert mesh_cautions(measure_mesh(box)) == ()
        assert any(
            "inside out" in text
            for text in mesh_cautions(measure_mesh(TriangleMesh(box.vertices, box.faces[:, ::-1])))
        )

    def test_faces_without_area(self):
        from building import box_mesh

        box = box_mesh((0, 0, 0), (1, 2, 3))
        faces = [*box.faces.tolist(), [0, 0, 1]]
        assert any(
            "no area" in text for text in mesh_cautions(measure_mesh(TriangleMesh(box.vertices, faces)))
        )


def test_units_by_name():
    assert check_unit(None) is None
    assert check_unit("in") == "in"
    with pytest.raises(ReferenceUnknown, match="um, mm, cm, m, in, ft"):
        check_unit("inch")
