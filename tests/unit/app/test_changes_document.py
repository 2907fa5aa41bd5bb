"""Differences between documents: by row and key, whatever their order and layout."""

from __future__ import annotations

from typing import Any

from dryfit.app.changes_document import DocumentChange, document_changes, read_raw
from dryfit.store.document import parse_document
from dryfit.view.change_words import change_words
from support.projects import ASSEMBLY, CHARACTERISTICS, JOINTS, PORTAL, document, joint_row, part_row

BASE = document()


def changes(
    after: str, before: str = BASE, renamed: dict[str, str] | None = None
) -> tuple[DocumentChange, ...]:
    old, new = (parse_document(text, "project.toml").project for text in (before, after))
    return document_changes(read_raw(before, "a"), read_raw(after, "b"), old, new, renamed or {})


def words(after: str, before: str = BASE, **keys: Any) -> list[str]:
    return [change_words(item) for item in changes(after, before, **keys)]


def test_comments_layout_and_order_are_no_change() -> None:
    parts = "".join(part_row(name) for name in reversed(PORTAL))
    text = document(parts=f"# turned round\n{parts}", joints="".join(reversed(rows_of(JOINTS))))
    assert words("\n\n" + text.replace(" = ", "   =   ")) == []


def rows_of(text: str) -> list[str]:
    return [f"[[joint]]{row}" for row in text.split("[[joint]]")[1:]]


def test_a_bond_line_has_its_unit() -> None:
    text = BASE.replace("bond_line_mm = 0.0", "bond_line_mm = 0.15", 1)
    assert words(text) == ["joint base:post-1: bond line 0 -> 0.15 mm"]
    (change,) = changes(text)
    assert change.touches == ("part base", "part post-1")


def test_a_turned_part_is_said_by_its_axis() -> None:
    first = BASE.replace('id = "post-1"', 'id = "post-1"\nbed = { euler_xyz_deg = [0, 0, 45] }', 1)
    second = first.replace("[0, 0, 45]", "[0, 0, 90]")
    assert words(second, first) == ["part post-1: bed turned from 45 to 90 degrees about z"]
    third = first.replace("[0, 0, 45]", "[90, 0, 90]")
    assert words(third, first) == [
        "part post-1: bed turned from (0, 0, 45) to (90, 0, 90) degrees about x, y, z"
    ]
    assert words(first) == ["part post-1: bed turned from 0 to 45 degrees about z (was not stated)"]


def test_figures_of_a_machine_name_the_parts_that_it_prints() -> None:
    (change,) = changes(BASE.replace("skew_xz_deg = 0.4 ", "skew_xz_deg = 0.1 "))
    assert change_words(change) == "machine tall: error skew xz 0.4 -> 0.1 degrees"
    assert change.touches == tuple(f"part {name}" for name in PORTAL)


def test_an_observation_touches_what_hangs_on_its_dimension() -> None:
    rows = (
        '\n[[dimension]]\nid = "length"\n'
        '\n[[observation]]\nid = "guide"\nof = "length"\nvalue = "2.8 m"\nstd = "5 mm"\n'
        '\n[[feature]]\nid = "lintel-length"\nkind = "extent"\npart = "lintel"\n'
        'direction = [1, 0, 0]\ndimension = "length"\n'
    )
    (change,) = changes(BASE + rows.replace("2.8 m", "3.0 m"), BASE + rows)
    assert change_words(change) == 'observation guide: value "2.8 m" -> "3.0 m"'
    assert change.touches == ("dimension length", "feature lintel-length")


def test_limits_and_words_are_shown_as_they_stand() -> None:
    text = BASE.replace("limits_mm = [139, 141]", "limits_mm = [139, 142]").replace("two-pins", "pin")
    assert words(text) == ["characteristic lintel-height: limits (139, 141) -> (139, 142) mm"]
    text = BASE.replace('locators = "pin-and-slot"', 'locators = "pin"', 1)
    assert words(text) == ['joint base:post-1: locators "pin-and-slot" -> "pin"']


def test_rows_that_are_new_or_gone() -> None:
    text = (
        BASE + "\n" + joint_row("post-1", "post-2", faces="{ points_mm = [[20, 0, 30]], normal = [1, 0, 0] }")
    )
    assert words(text) == ["joint post-1:post-2 is new"]
    assert words(BASE, text) == ["joint post-1:post-2 is gone"]


def test_a_renamed_part_does_not_change_what_names_it() -> None:
    text = BASE.replace('"post-1"', '"pillar"').replace("#post-1", "#post-1")
    found = words(text, renamed={"post-1": "pillar"})
    assert found == ["part post-1 is named pillar now"]


def test_a_row_with_another_id_and_nothing_else_is_renamed() -> None:
    assert words(BASE.replace('id = "plumb"', 'id = "upright"')) == [
        "characteristic plumb is named upright now"
    ]


def test_of_rows_that_are_alike_none_is_guessed() -> None:
    twin = '\n[[characteristic]]\nid = "{}"\nkind = "gap"\njoint = "post-2:lintel"\nlimits_mm = [0, 1]\n'
    before, after = (BASE + twin.format(a) + twin.format(b) for a, b in (("g1", "g2"), ("h1", "h2")))
    assert words(after, before) == [
        "characteristic g1 is gone",
        "characteristic g2 is gone",
        "characteristic h1 is new",
        "characteristic h2 is new",
    ]


def test_what_is_no_longer_stated_is_said() -> None:
    assert words(BASE.replace(ASSEMBLY, '[assembly]\ndatum = "base"\n')) == [
        'assembly: order ("base", "post-1", "post-2", "lintel") -> not stated'
    ]


def test_going_back_swaps_new_and_gone() -> None:
    less = BASE.replace(CHARACTERISTICS.split("\n\n")[-1], "", 1)
    there, back = changes(less), changes(BASE, less)
    swap = {"gone": "new", "new": "gone"}
    assert [(c.table, c.row, swap.get(c.kind, c.kind)) for c in there] == [
        (c.table, c.row, c.kind) for c in back
    ]
