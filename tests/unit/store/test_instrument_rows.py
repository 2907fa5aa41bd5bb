"""Rows of [[instrument]]: what they take, what they refuse, what they assume."""

import math

import pytest

from dryfit.base.errors import DocumentRefused
from dryfit.model.instrument_table import COMMON_INSTRUMENTS
from dryfit.store.document import parse_document

HEAD = 'schema = 1\n[project]\nname = "a"\nscale = "1:20"\n'
RULE = """
[[instrument]]
id = "rule"
kind = "steel rule"
range_mm = 500
resolution_mm = 0.5
mpe_mm = 0.2
"""


def read(rows):
    return parse_document(HEAD + rows, "project.toml")


def refused(rows):
    with pytest.raises(DocumentRefused) as caught:
        read(rows)
    return [(fault.where.partition(": ")[2].partition(" (")[0], fault.what) for fault in caught.value.faults]


def test_a_common_one_under_another_name_with_own_figures_over_it():
    document = read(
        '[[instrument]]\nid = "c"\nlike = "caliper-300"\nrange_mm = 320\nrepeatability_mm = 0.015\n'
    )
    (row,) = document.project.instruments
    common = COMMON_INSTRUMENTS["caliper-300"]
    assert (row.id, row.kind, row.range_mm, row.mpe_mm) == ("c", "caliper", 320.0, common.mpe_mm)
    assert (row.repeatability_mm, row.repeatability_from, row.repeatability_dof) == (
        0.015,
        "stated",
        math.inf,
    )
    assert any("taken from the common caliper-300" in line for line in document.assumptions)


def test_what_a_stated_one_leaves_open_is_listed():
    document = read(RULE)
    (row,) = document.project.instruments
    assert (row.mpe_per_m_mm, row.expansion_per_k, row.repeatability_mm) == (0.0, 11.5e-6, 0.2)
    assert row.repeatability_from == "assumed (common practice, no source)"
    lines = [line for line in document.assumptions if line.startswith('instrument "rule"')]
    assert len(lines) == 3


def test_a_document_without_instruments_has_none():
    assert read("").project.instruments == ()


def test_every_fault_is_said_at_once():
    found = refused(
        """
[[instrument]]
id = "a"
[[instrument]]
id = "b"
like = "caliper-30"
kind = "caliper"
repeatability_dof = 3
[[instrument]]
id = "b"
kind = "calliper"
[[instrument]]
id = "c"
kind = "tape"
[[instrument]]
id = "d"
like = "caliper-300"
least_mm = 300
resolution_mm = 300
[[instrument]]
id = "e"
like = "caliper-300"
mpe_mm = -0.1
expansion_per_k = 11.5
weight_g = 200
"""
    )
    assert [where for where, _ in found] == [
        'instrument[1] "a"',
        'instrument[2] "b".like',
        'instrument[2] "b".kind',
        'instrument[2] "b".repeatability_dof',
        'instrument[3] "b".id',
        'instrument[3] "b".kind',
        *(f'instrument[4] "c".{key}' for key in ("mpe_mm", "range_mm", "resolution_mm")),
        'instrument[5] "d".least_mm',
        'instrument[5] "d".resolution_mm',
        *(f'instrument[6] "e".{key}' for key in ("mpe_mm", "expansion_per_k", "weight_g")),
    ]


def test_a_common_one_whose_range_is_cut_below_its_least_is_refused():
    found = refused('[[instrument]]\nid = "m"\nlike = "micrometer-50"\nrange_mm = 20\n')
    assert found == [('instrument[1] "m".range_mm', "it reads from 25 mm, and no further than 20 mm")]


def test_the_common_ones_read_what_their_kind_reads():
    for id, row in COMMON_INSTRUMENTS.items():
        assert row.id == id
        assert row.source
        assert row.least_mm < row.range_mm
        assert row.can_read(row.measures[0], row.range_mm)
        assert not row.can_read(row.measures[0], row.range_mm + 1.0)
