"""Rows of observations and relations: what is read, and every fault at once with its line."""

from __future__ import annotations

import math

import pytest

from dryfit.base.errors import DocumentRefused
from dryfit.store.document import parse_document

HEAD = 'schema = 1\n[project]\nname = "Tower"\nscale = "1:20"\n'
DIMENSIONS = "".join(f'[[dimension]]\nid = "{id}"\n' for id in ("drum.height", "dome.rise", "overall.height"))


def read(*rows: str, head: str = HEAD):
    return parse_document("\n".join([head, DIMENSIONS, *rows]), "project.toml").project


def observation(*lines: str, of: str = 'of = "drum.height"') -> str:
    return "\n".join(['[[observation]]\nid = "o"', of, *lines]) + "\n"


def relation(kind: str, *lines: str) -> str:
    return "\n".join(['[[relation]]\nid = "r"', f'kind = "{kind}"', *lines]) + "\n"


def faults(*rows: str, head: str = HEAD) -> list[tuple[str, str]]:
    with pytest.raises(DocumentRefused) as refused:
        read(*rows, head=head)
    return [(fault.what, fault.do) for fault in refused.value.faults]


@pytest.mark.parametrize(
    ("lines", "value", "std"),
    [
        (['value = "12 ft 3 1/2 in"', 'std = "1/4 in"'], 3746.5, 6.35),
        (["value = 3.66", 'unit = "m"', "std = 0.02"], 3660.0, 20.0),
        (['value = "3.66 m"', 'std = "20 mm"'], 3660.0, 20.0),
        (['value = "3 1/2"', 'unit = "in"', "std = 0"], 88.9, 0.0),
        # JCGM 100:2008, 4.3.7 and 4.3.9: half width over root 3 and root 6; G.2: 1.960 for 95 %.
        (['value = "100 mm"', 'within = "3 mm"', 'distribution = "uniform"'], 100.0, 3.0 / math.sqrt(3.0)),
        (['value = "100 mm"', 'within = "3 mm"', 'distribution = "triangular"'], 100.0, 3.0 / math.sqrt(6.0)),
        (['limits = ["97 mm", "103 mm"]', 'distribution = "normal"'], 100.0, 3.0 / 1.959964),
    ],
)
def test_values_limits_and_units_become_millimetres(lines: list[str], value: float, std: float) -> None:
    (found,) = read(observation(*lines)).observations
    assert found.value.value == pytest.approx(value)
    assert found.value.std == pytest.approx(std, rel=1e-6)


def test_an_observation_may_be_of_a_sum_or_a_ratio() -> None:
    (sum_,) = read(
        observation('value = "1 m"', "std = 0", of='of = { "overall.height" = 1, "dome.rise" = -2 }')
    ).observations
    assert sum_.terms == (("overall.height", 1.0), ("dome.rise", -2.0))
    (ratio,) = read(
        observation("value = 0.41", "std = 0.01", of='ratio = ["drum.height", "dome.rise"]')
    ).observations
    assert (ratio.terms, ratio.over, ratio.value.value) == ((("drum.height", 1.0),), "dome.rise", 0.41)


def test_a_difference_may_be_negative() -> None:
    of = 'of = { "drum.height" = 1, "dome.rise" = -1 }'
    (found,) = read(observation('value = "-18 ft 2 in"', 'std = "1 in"', of=of)).observations
    assert found.value.value == pytest.approx(-(18 * 12 + 2) * 25.4)


def test_what_the_user_says_of_a_source_is_kept() -> None:
    (found,) = read(
        observation(
            'value = "1 m"\nstd = 0\nsource = "guide"\ndate = 1948-06-01\nreliability = "poor"\ngiven_at = "model"'
        )
    ).observations
    assert (found.source, found.date, found.reliability, found.given_at) == (
        "guide",
        "1948-06-01",
        "poor",
        "model",
    )


@pytest.mark.parametrize(
    ("row", "what", "do"),
    [
        (observation("std = 1", 'unit = "mm"'), "the value is missing", "add value"),
        (observation('value = "1 m"'), "how well the value is known", "std = 0 says exact"),
        (observation("value = 3.66", "std = 0"), "without a unit", 'unit = "mm"'),
        (observation('value = "3,66 m"', "std = 0"), "comma", "3.66 m"),
        (observation('value = "1 m"', 'within = "1 mm"'), "where between the limits", "uniform"),
        (observation('value = "1 m"', "std = 0", 'distribution = "uniform"'), "no distribution", "remove"),
        (observation('value = "1 m"', 'std = "-1 mm"'), "negative", "above 0"),
        (
            observation('limits = ["2 m", "1 m"]', 'distribution = "uniform"'),
            "below the upper",
            "smaller first",
        ),
        (observation('value = "1 m"', "std = 0", "date = 7"), "no date", "1987"),
        (observation('value = "1 m"', "std = 0", of='of = "drum.hight"'), "no dimension", "drum.height"),
        (observation('value = "1 m"', "std = 0", of='of = { "dome.ris" = 1 }'), "no dimension", "dome.rise"),
        (observation('value = "1 m"', "std = 0", of='of = { "dome.rise" = 0 }'), "coefficient", "between"),
        (observation('value = "1 m"', "std = 0", of=""), "what was measured", "drum.height"),
        (observation("value = true", "std = 0"), "a number or a text", "3660"),
        (observation('value = "0 m"', "std = 0"), "above zero", "above zero"),
        (relation("sum", 'of = ["drum.height"]'), '"whole" is missing', "overall.height"),
        (
            relation("sum", 'whole = "drum.height"', 'of = ["drum.height", "dome.rise"]'),
            "one of its own parts",
            "once",
        ),
        (relation("equal", 'of = ["drum.height"]'), "at least 2", "add"),
        (relation("spacing", 'of = ["drum.height", "dome.rise"]'), "at least 3", "add"),
        (relation("ratio", 'of = ["drum.height", "dome.rise"]'), "by its value", "0.5"),
        (relation("ratio", 'of = ["drum.height", "dome.rise"]', "value = -1"), "above zero", "above zero"),
        (relation("symmetric", 'of = ["drum.height", "dome.rise"]'), 'key "of" does not belong', "remove"),
        (relation("bigger"), "not known here", "spacing"),
    ],
)
def test_a_faulty_row_is_refused_with_what_to_do(row: str, what: str, do: str) -> None:
    found = faults(row)
    assert any(what in fault[0] and do in fault[1] for fault in found), found


def test_every_fault_is_told_at_once() -> None:
    found = faults(observation("value = 1"), relation("equal", 'of = ["drum.height"]'))
    assert len(found) >= 3


def test_either_the_scale_or_one_size_in_the_model_is_fixed() -> None:
    fixed = (
        'schema = 1\n[project]\nname = "T"\nscale_from = { dimension = "overall.height", model_mm = 1350 }\n'
    )
    project = read(head=fixed)
    assert project.scale is None
    assert project.scale_from is not None
    assert project.scale_from.model_mm == 1350.0
    assert faults(head='schema = 1\n[project]\nname = "T"\n')[0][0] == 'the key "scale" is missing'
    both = fixed + 'scale = "1:20"\n'
    assert "both scale and scale_from" in faults(head=both)[0][0]
    unknown = fixed.replace("overall.height", "overal.height")
    assert "overall.height" in faults(head=unknown)[0][1]
