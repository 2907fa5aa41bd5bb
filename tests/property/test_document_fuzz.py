"""Whatever a document holds, it is read or refused in three parts; and an edit leaves all else alone."""

import copy
import datetime
import tempfile
import tomllib
from pathlib import Path

import pytest
import tomlkit
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from dryfit.base.errors import DocumentRefused
from dryfit.store.document import Document, parse_document
from dryfit.store.edit import DocumentEditor
from dryfit.store.toml_layout import scan_layout

VALID = (Path(__file__).parents[1] / "formats" / "schema-1.toml").read_text(encoding="utf-8")
PLACES = sorted(scan_layout(VALID).entries.values(), key=lambda entry: entry.value_start)
BRIEF = settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.too_slow])

PIECES = ["[", "]", "[[part]]\n", "{", "}", '"', "'''", '"""', "=", ",", "\n", "#", "nan", "\0"]
PIECES += [
    "-inf",
    "1e400",
    "\ufeff",
    "\r",
    "ground",
    "id = 1\n",
    "[machine.error]\n",
    ".",
    "true",
    "9" * 30,
    "\ud800",
    "é",
]

scalars = st.one_of(
    st.booleans(),
    st.integers(-(10**30), 10**30),
    st.floats(allow_nan=True, allow_infinity=True),
    st.text(st.characters(exclude_categories=("Cs",)), max_size=12),
    st.sampled_from(["ground", "ring-1", "gap", "angle", "pin", "none", "1:20", "../a", "PLA", ""]),
    st.dates(datetime.date(1900, 1, 1)),
    st.times(),
)
toml_values = st.recursive(
    scalars,
    lambda inner: st.one_of(
        st.lists(inner, max_size=4),
        st.dictionaries(st.sampled_from(["id", "std", "euler_xyz_deg", "x y", "normal"]), inner, max_size=3),
    ),
    max_leaves=8,
)


mutations_of_text = st.tuples(st.integers(0, len(VALID)), st.integers(0, 40), st.sampled_from(PIECES))


def read_or_refuse(text):
    """A Document, or a refusal whose every fault has all three parts and whose text can be shown."""
    try:
        result = parse_document(text, "project.toml")
    except DocumentRefused as refusal:
        result = refusal
    if isinstance(result, Document):
        assert all(isinstance(line, str) for line in result.assumptions)
        return
    assert result.faults
    assert all(f.where.startswith("project.toml") and f.what and f.do for f in result.faults)
    assert str(result)


def write_in_line(value):
    """A value as TOML on one line, by a general-purpose library."""
    if isinstance(value, dict):
        table = tomlkit.inline_table()
        table.update(value)
        return table.as_string()
    return tomlkit.item(value).as_string() if not isinstance(value, list) else write_list(value)


def write_list(values):
    return "[" + ", ".join(write_in_line(value) for value in values) + "]"


@BRIEF
@given(st.lists(mutations_of_text, max_size=5))
def test_a_mangled_text_is_read_or_refused(mutations):
    text = VALID
    for start, length, piece in mutations:
        text = text[:start] + piece + text[start + length :]
    read_or_refuse(text)


@BRIEF
@given(st.text(max_size=200))
def test_any_text_is_read_or_refused(text):
    read_or_refuse(text)


@BRIEF
@given(st.sampled_from(PLACES), toml_values)
def test_any_value_in_any_place_is_read_or_refused(place, value):
    text = VALID[: place.value_start] + write_in_line(value) + VALID[place.value_end :]
    tomllib.loads(text)
    read_or_refuse(text)


# Of a list of many alike, the first entry stands for all.
FIRST_PLACES = [
    place for place in PLACES if all(step == 0 or isinstance(step, str) for step in place.path[2:])
]
AWKWARD = ["-1", "true", '""', '"ground"', "[[]]", "1e308"]


@pytest.mark.parametrize("value", AWKWARD)
def test_one_awkward_value_in_each_place_in_turn(value):
    for place in FIRST_PLACES:
        read_or_refuse(VALID[: place.value_start] + value + VALID[place.value_end :])


triples = st.tuples(*[st.floats(-360, 360)] * 3)
NUMBERS = [
    (("project", "risk"), st.floats(0, 1)),
    (("search", "min_area_mm2"), st.floats(0, 1e6)),
    (("machine", "tall", "error", "skew_xy_deg"), st.floats(-5, 5)),
    (("machine", "tall", "error", "std", "scale_z"), st.floats(0, 0.01)),
    (("machine", "old", "error"), st.fixed_dictionaries({"scale_x": st.floats(-0.1, 0.1)})),
    (("part", "ring-2", "bed"), st.fixed_dictionaries({"euler_xyz_deg": triples})),
    (("part", "ring-1", "placement", "translation_mm"), triples),
    (("joint", "found", "role"), st.sampled_from(["locating", "closing"])),
    (("joint", "jig", "contact_play_mm"), st.floats(0, 1)),
    (("characteristic", "span", "limits_mm"), st.just([1.0, 2.0])),
    (("assembly", "temp_c"), st.floats(-40, 60)),
]
edits = st.sampled_from(NUMBERS).flatmap(lambda pair: st.tuples(st.just(pair[0]), pair[1]))


def reach(raw, path):
    """The table that holds the last key of a path with ids, made where it is missing."""
    node = raw
    for index, step in enumerate(path[:-1]):
        if index == 1 and isinstance(node, list):
            node = next(row for row in node if row["id"] == step)
        else:
            node = node.setdefault(step, {})
    return node


@settings(max_examples=60, deadline=None)
@given(st.lists(edits, min_size=1, max_size=4))
def test_edits_keep_all_other_values_and_all_comments(changes):
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "project.toml"
        file.write_text(VALID, encoding="utf-8")
        editor = DocumentEditor(file)
        expected = tomllib.loads(VALID)
        for path, value in changes:
            editor.set_value(path, value)
            reach(expected, path)[path[-1]] = copy.deepcopy(value)
        text = editor.save().text
    assert flatten(tomllib.loads(text)) == {
        key: pytest.approx(value, rel=1e-11, abs=1e-6) if isinstance(value, float) else value
        for key, value in flatten(expected).items()
    }
    for comment in (line[line.index("#") :] for line in VALID.split("\n") if "# " in line):
        assert comment in text


def flatten(value, path=()):
    """Leaves of nested tables and lists by path."""
    if isinstance(value, dict):
        return {k: v for key, inner in value.items() for k, v in flatten(inner, (*path, key)).items()}
    if isinstance(value, list | tuple):
        return {k: v for i, inner in enumerate(value) for k, v in flatten(inner, (*path, i)).items()}
    return {path: value}
