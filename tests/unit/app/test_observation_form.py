"""An observation in a form: filled from the document, checked, changed without touching anything else."""

import tomllib

import pytest

from dryfit.app.observation_form import fill_form, plan_form, write_form
from dryfit.base.errors import NotWritten, ReferenceUnknown, RowsRefused
from dryfit.view.observation_form import cells_of, known_by, reads_words
from support.schedules import write_schedule

NEW = {"id": "rope", "of": "drum", "value": "11 ft 11 3/4 in", "std": "20 mm", "source": "invented: a rope"}


@pytest.fixture
def folder(tmp_path):
    return write_schedule(tmp_path)


def text_of(folder):
    return folder.joinpath("project.toml").read_text(encoding="utf-8")


def row_of(folder, id):
    return next(row for row in tomllib.loads(text_of(folder))["observation"] if row["id"] == id)


def faults_of(folder, cells, **keys):
    with pytest.raises(RowsRefused) as caught:
        plan_form(folder, cells, **keys)
    return {fault.where: fault for fault in caught.value.faults}


def test_a_new_one_is_shown_and_written_only_when_asked(folder):
    before = text_of(folder)
    edit = plan_form(folder, NEW)
    assert text_of(folder) == before
    assert '+value = "11 ft 11 3/4 in"' in edit.diff
    # 11 ft 11 3/4 in = 143.75 in of 25.4 mm
    assert edit.reads.value.value == pytest.approx(143.75 * 25.4)
    assert reads_words(edit) == "Understood as drum = 3651(20) mm at the size of the prototype."
    write_form(edit)
    assert row_of(folder, "rope")["value"] == "11 ft 11 3/4 in"
    added = [line for line in edit.diff.splitlines() if line.startswith("+") and not line.startswith("+++")]
    assert set(text_of(folder).splitlines()) - set(before.splitlines()) <= {line[1:] for line in added}
    assert set(before.splitlines()) <= set(text_of(folder).splitlines())


def test_a_changed_one_keeps_its_comment_and_its_other_keys(folder):
    cells = fill_form(folder, "tape")
    assert cells == {
        "id": "tape",
        "of": "drum",
        "value": "3660 mm",
        "std": "20 mm",
        "source": "tape",
        "date": "2019-05-11",
        "reliability": "good",
    }
    before = text_of(folder)
    write_form(plan_form(folder, cells | {"value": "3.67 m", "date": ""}, replacing="tape"))
    after = text_of(folder)
    assert 'id = "tape"  # in the rain' in after
    removed, added = (
        set(a.splitlines()) - set(b.splitlines()) for a, b in ((before, after), (after, before))
    )
    assert removed == {'value = "3660 mm"', 'date = "2019-05-11"'}
    assert added == {'value = "3.67 m"'}


def test_nothing_changed_is_no_difference(folder):
    for id in ("tape", "levels", "twice", "lone"):
        assert plan_form(folder, fill_form(folder, id), replacing=id).diff == ""


def test_a_sum_reads_back_as_it_is_written(folder):
    assert fill_form(folder, "twice")["of"] == "2 x drum + rise"


@pytest.mark.parametrize(
    ("changed", "where", "what"),
    [
        ({"value": "11 fathoms"}, "the form: value", "is not read as a length"),
        ({"std": ""}, "the form", "nothing says how well the value is known"),
        ({"of": "drumm"}, "the form: of", 'there is no dimension "drumm"'),
        ({"id": "tape"}, "the form: id", "already"),
        ({"date": "yesterday"}, "the form: date", "is no date"),
        ({"id": " "}, "the form: its name", "is empty"),
    ],
)
def test_a_fault_says_what_where_and_what_to_do(folder, changed, where, what):
    faults = faults_of(folder, NEW | changed)
    assert what in faults[where].what
    assert faults[where].do


def test_a_dimension_is_added_where_that_is_asked(folder):
    assert "have it added" in faults_of(folder, NEW | {"of": "pier"})["the form: of"].do
    edit = plan_form(folder, NEW | {"of": "pier"}, add_dimensions=True)
    assert edit.dimensions == ("pier",)
    write_form(edit)
    assert "pier" in [row["id"] for row in tomllib.loads(text_of(folder))["dimension"]]


def test_a_document_that_moved_on_is_not_written_over(folder):
    edit = plan_form(folder, NEW)
    folder.joinpath("project.toml").write_text(text_of(folder) + "# later\n", encoding="utf-8")
    with pytest.raises(NotWritten):
        write_form(edit)
    assert text_of(folder).endswith("# later\n")


def test_an_id_that_is_not_there_is_told(folder):
    with pytest.raises(ReferenceUnknown):
        fill_form(folder, "taep")


@pytest.mark.parametrize(
    ("typed", "cells"),
    [
        ({"known": "std", "std": "5 mm", "within": "9 mm", "value": "1 m"}, {"std": "5 mm", "value": "1 m"}),
        ({"known": "exact", "value": "1 m", "std": "5 mm"}, {"value": "1 m", "std": "0"}),
        (
            {"known": "limits", "low": "1 m", "high": "2 m", "value": "1 m"},
            {"low": "1 m", "high": "2 m", "distribution": "uniform"},
        ),
        (
            {"known": "within", "within": "9 mm", "given_at": "prototype"},
            {"within": "9 mm", "distribution": "uniform"},
        ),
    ],
)
def test_only_the_fields_of_the_chosen_way_of_knowing_count(typed, cells):
    assert cells_of(typed) == cells
    assert known_by(cells) == typed["known"]
