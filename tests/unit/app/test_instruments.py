"""The instruments of a project: stated or common, and what a gauge study says of them."""

import dataclasses
from fractions import Fraction

import pytest

from dryfit.app.instruments import GAUGE_STUDY, find_instrument, instruments_for
from dryfit.base.errors import ReferenceUnknown
from dryfit.model.instrument_table import COMMON_INSTRUMENTS
from dryfit.model.project import Project
from dryfit.store.ledger import open_ledger

EMPTY = Project("a", Fraction(1, 20))
MINE = dataclasses.replace(COMMON_INSTRUMENTS["caliper-300"], id="mine")
STATED = dataclasses.replace(EMPTY, instruments=(MINE,))


@pytest.fixture
def ledger(tmp_path):
    path = tmp_path / "ledger.db"
    with open_ledger(path) as opened:
        for value, dof in ((0.05, 10), (0.02, 18)):
            opened.append(GAUGE_STUDY, {"instrument": "mine", "repeatability_mm": value, "dof": dof})
        opened.append(GAUGE_STUDY, {"instrument": "caliper-150", "repeatability_mm": 0.04, "dof": 12})
    return path


def test_those_of_the_document_or_the_common_ones(tmp_path):
    assert instruments_for(STATED, tmp_path / "none.db") == (MINE,)
    assert instruments_for(EMPTY, ()) == tuple(COMMON_INSTRUMENTS.values())
    assert not (tmp_path / "none.db").exists()


def test_the_latest_study_replaces_the_repeatability(ledger):
    (found,) = instruments_for(STATED, ledger)
    assert (found.repeatability_mm, found.repeatability_dof) == (0.02, 18.0)
    assert found.repeatability_from == "gauge study, record 2"
    assert (
        dataclasses.replace(
            found,
            repeatability_mm=MINE.repeatability_mm,
            repeatability_dof=MINE.repeatability_dof,
            repeatability_from=MINE.repeatability_from,
        )
        == MINE
    )


def test_records_serve_as_well_as_the_ledger_itself(ledger):
    with open_ledger(ledger) as opened:
        records = opened.records()
    assert instruments_for(EMPTY, records) == instruments_for(EMPTY, ledger)
    assert find_instrument(EMPTY, records, "caliper-150").repeatability_from == "gauge study, record 3"


def test_an_unknown_one_is_refused_with_the_nearest():
    with pytest.raises(ReferenceUnknown) as caught:
        find_instrument(EMPTY, (), "calliper-300")
    assert 'did you mean "caliper-300"' in caught.value.do


def test_a_common_one_beside_stated_ones_is_not_taken_unasked():
    with pytest.raises(ReferenceUnknown) as caught:
        find_instrument(STATED, (), "caliper-150")
    assert 'like = "caliper-150"' in caught.value.do
