"""The document as text: faults by line, saved only when it is valid and nobody else has changed it."""

import pytest

from dryfit.app.editing import check_text, read_draft, save_text
from dryfit.base.errors import DocumentRefused, NotWritten
from support.projects import document, write_project


@pytest.fixture
def folder(tmp_path):
    return write_project(tmp_path)


def test_a_valid_text_has_no_fault():
    assert check_text(document()) == ()


def test_faults_name_their_lines():
    text = (
        document()
        .replace('scale = "1:20"', 'scale = "one to twenty"')
        .replace('id = "plumb"', 'idd = "plumb"')
    )
    lines = text.splitlines()
    faults = check_text(text)
    assert faults
    assert any(fault.line and lines[fault.line - 1].startswith("scale") for fault in faults)
    assert any(fault.line and lines[fault.line - 1].startswith("idd") for fault in faults)


def test_a_syntax_fault_names_its_line():
    text = document().replace('name = "Portal"', "name = Portal")
    (fault,) = check_text(text)
    assert fault.line == 3


def test_a_broken_document_can_be_opened_to_be_mended(folder):
    path = folder / "project.toml"
    path.write_text("schema = ")
    assert read_draft(folder).text == "schema = "


def test_saving_keeps_every_letter(folder):
    draft = read_draft(folder)
    text = draft.text.replace("skew_xz_deg = 0.4", "skew_xz_deg = 0.1")
    saved = save_text(draft, text)
    assert (folder / "project.toml").read_text() == text == saved.text
    assert read_draft(folder) == saved


def test_line_ends_of_the_file_stay(folder):
    path = folder / "project.toml"
    path.write_bytes(path.read_bytes().replace(b"\n", b"\r\n"))
    draft = read_draft(folder)
    save_text(draft, draft.text.replace("\r\n", "\n").replace("= 0.4", "= 0.1", 1))
    data = path.read_bytes()
    assert data.count(b"\n") == data.count(b"\r\n") > 0


def test_a_faulty_text_is_not_saved(folder):
    draft = read_draft(folder)
    with pytest.raises(DocumentRefused):
        save_text(draft, draft.text + "\nunknown = 1\n")
    assert read_draft(folder) == draft


def test_a_file_changed_meanwhile_is_not_overwritten(folder):
    draft = read_draft(folder)
    path = folder / "project.toml"
    path.write_text(draft.text + "# by another hand\n")
    with pytest.raises(NotWritten, match="changed on disk"):
        save_text(draft, draft.text + "# mine\n")
    assert path.read_text().endswith("# by another hand\n")
