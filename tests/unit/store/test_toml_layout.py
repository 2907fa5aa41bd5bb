"""Where keys stand, against lines counted by hand and values parsed by the standard library."""

import tomllib
from pathlib import Path

from dryfit.store.toml_layout import scan_layout

VALID = (Path(__file__).parents[2] / "formats" / "schema-1.toml").read_text(encoding="utf-8")

ODD = '''# comment with [brackets] and "quotes"
"quoted \\u0061 key" = """
a = 1 # not a key
""""
'literal.key' = \'\'\'
[not.a.header]\'\'\'
a.b . "c" = [ # comment ] in a list
  "x,]#",  { d = 'y}', e.f = [1, 2] },
]
time = 1979-05-27 07:32:00 # a space inside
[t.u]
v = -1_000.5e+3
[[t.list]]
[[t.list.inner]]
w = ""
[[t.list]]
[t.list.sub]
x = {}
'''


def reach(raw, path):
    for step in path:
        raw = raw[step]
    return raw


def test_lines_of_an_odd_text():
    layout = scan_layout(ODD)
    lines = {
        ("quoted a key",): 2,
        ("literal.key",): 5,
        ("a", "b", "c"): 7,
        ("a", "b", "c", 0): 8,
        ("a", "b", "c", 1, "e", "f", 1): 8,
        ("time",): 10,
        ("t", "u", "v"): 12,
        ("t", "list", 0, "inner", 0, "w"): 15,
        ("t", "list", 1): 16,
        ("t", "list", 1, "sub", "x"): 18,
        ("t", "list", 1, "sub", "not there"): 17,
        ("t", "list"): 13,
        ("nowhere",): 0,
    }
    assert {path: layout.find_line(path) for path in lines} == lines


def test_each_span_holds_exactly_its_value():
    for text in (ODD, VALID, VALID.replace("\n", "\r\n")):
        raw = tomllib.loads(text)
        entries = scan_layout(text).entries
        assert len(entries) > 10
        for path, entry in entries.items():
            value = tomllib.loads("value = " + text[entry.value_start : entry.value_end])["value"]
            assert value == reach(raw, path)
