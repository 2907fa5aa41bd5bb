"""What-ifs: what they change, and that the document would allow the same values."""

import dataclasses

import pytest

from dryfit.app.whatif import WhatIfRefused, apply_what_if
from dryfit.base.errors import DocumentRefused, ReferenceUnknown
from dryfit.base.estimate import Estimate
from dryfit.model.machine import FIGURES
from dryfit.store.document import parse_document
from support.projects import MACHINE, document


def read(text):
    return parse_document(text, "project.toml").project


PROJECT = read(document())


def vary(*changes, project=PROJECT):
    return apply_what_if(project, changes)


@pytest.mark.parametrize("name", [name for name in FIGURES if name not in ("first_layer_flare_mm",)])
def test_a_value_alone_keeps_the_uncertainty(name):
    figure = vary(f"tall.{name}=0.25").machine("tall").error.figures[name]
    assert figure == dataclasses.replace(PROJECT.machine("tall").error.figures[name], value=0.25)


@pytest.mark.parametrize("mark", ["+-", "±"])
def test_a_spread_replaces_the_uncertainty(mark):
    assert vary(f"tall.scale_x=-0.001{mark}0.002").machine("tall").error.figures["scale_x"] == Estimate(
        -0.001, 0.002
    )


def test_every_kind_of_owner():
    varied = vary(
        "tall.repeatability_mm=0.2", "pla.shrinkage=0.003", "pla.expansion_per_k=6e-5", "post-1.bed=0,-90,45",
        "base:post-1.bond_line_mm=0.2+-0.05", "base:post-1.contact_play_mm=0.1", "base:post-1.locator_play_mm=0.2",
        "base:post-1.locators=two-pins", "base:post-1.role=closing", "assembly.temp_c=35+-3",
    )  # fmt: skip
    joint = varied.joint("base:post-1")
    assert varied.machine("tall").error.repeatability_mm == 0.2
    assert varied.material("pla").shrinkage == Estimate(0.003, 0.0002)
    assert varied.material("pla").expansion_per_k.value == 6e-5
    assert varied.part("post-1").bed.euler_xyz_deg == (0.0, -90.0, 45.0)
    assert varied.part("post-1").bed_stated
    assert joint.bond_line_mm == Estimate(0.2, 0.05)
    assert (joint.contact_play_mm, joint.locator_play_mm) == (Estimate(0.0, 0.1), Estimate(0.0, 0.2))
    assert (joint.locators, joint.role) == ("two-pins", "closing")
    assert varied.assembly.temp_c == Estimate(35.0, 3.0)


def test_a_round_trip_gives_the_same_project():
    back = vary("tall.skew_xz_deg=0.1", "post-1.bed=0,0,90", "tall.skew_xz_deg=0.4", "post-1.bed=0,0,0")
    assert back.machines == PROJECT.machines
    assert back.part("post-1").bed == PROJECT.part("post-1").bed


def test_the_last_of_several_counts_and_the_rest_stays():
    varied = vary("tall.scale_x=0.1", "tall.scale_x=0.2")
    assert varied.machine("tall").error.figures["scale_x"].value == 0.2
    assert varied.joints == PROJECT.joints


def test_a_figure_that_was_not_stated_counts_as_stated_then():
    project = read(document(machine=MACHINE.replace("scale_x = 0.0\n", "").replace("scale_x = 0.0005, ", "")))
    assert project.machine("tall").error.unstated == ("scale_x",)
    exact = vary("tall.scale_x=0.001", project=project).machine("tall").error
    assert (exact.unstated, exact.exact) == ((), ("scale_x",))
    known = vary("tall.scale_x=0.001+-0.0005", project=project).machine("tall").error
    assert (known.unstated, known.exact) == ((), ())


def test_a_flare_needs_the_height_in_which_it_acts():
    project = read(
        document(
            machine=MACHINE.replace("first_layer_flare_mm = 0.0\nfirst_layer_height_mm = 0.3\n", "").replace(
                ", first_layer_flare_mm = 0.01", ""
            )
        )
    )
    assert not project.machine("tall").error.first_layer_height_mm
    with pytest.raises(WhatIfRefused, match="first_layer_height_mm"):
        vary("tall.first_layer_flare_mm=0.2", project=project)
    assert (
        vary("tall.first_layer_flare_mm=0.2").machine("tall").error.figures["first_layer_flare_mm"].value
        == 0.2
    )


# what-if, the same in the document: where one is refused, the other must be
SAME = [
    ("tall.scale_x={}", "scale_x = 0.0\n", "scale_x = {}\n", ("-0.5", "-0.49", "0.49", "0.5")),
    ("tall.skew_xz_deg={}", "skew_xz_deg = 0.4", "skew_xz_deg = {}", ("-45.0", "-44.9", "44.9", "45.0")),
    ("pla.shrinkage={}", "shrinkage = 0.0\n", "shrinkage = {}\n", ("-0.5", "-0.4", "0.4", "0.5")),
    ("pla.expansion_per_k={}", "shrinkage = 0.0\n", "expansion_per_k = {}\n", ("-0.01", "0.009", "0.01")),
    ("assembly.temp_c={}", 'datum = "base"', 'datum = "base"\ntemp_c = {}', ("-273.2", "-273.1", "500.0")),
    ("tall.repeatability_mm={}", "repeatability_mm = 0.03", "repeatability_mm = {}", ("-0.1", "0.0", "1.0")),
    ("base:post-1.bond_line_mm={}", "bond_line_mm = 0.0", "bond_line_mm = {}", ("-0.1", "0.0", "1.0")),
    (
        "base:post-1.contact_play_mm={}",
        "contact_play_mm = 0.03",
        "contact_play_mm = {}",
        ("-0.1", "0.0", "1.0"),
    ),
    (
        "base:post-1.locator_play_mm={}",
        "locator_play_mm = 0.05",
        "locator_play_mm = {}",
        ("-0.1", "0.0", "1.0"),
    ),
]


@pytest.mark.parametrize(
    ("change", "old", "new", "value"), [(c, o, n, v) for c, o, n, vs in SAME for v in vs]
)
def test_it_allows_what_the_document_allows(change, old, new, value):
    def is_refused(action):
        try:
            action()
        except (WhatIfRefused, DocumentRefused):
            return True
        return False

    assert old in document()
    by_document = is_refused(lambda: read(document().replace(old, new.format(value), 1)))
    assert is_refused(lambda: vary(change.format(value))) == by_document


@pytest.mark.parametrize(
    ("change", "nearest"),
    [
        ("tall.skwe_xz_deg=1", "tall.skew_xz_deg"),
        ("pla.shrink=1", "pla.shrinkage"),
        ("post-1.bde=0,0,0", "post-1.bed"),
    ],
)
def test_a_wrong_name_suggests_the_nearest(change, nearest):
    with pytest.raises(ReferenceUnknown) as caught:
        vary(change)
    assert nearest in caught.value.do


def test_a_wrong_choice_lists_what_is_possible():
    with pytest.raises(WhatIfRefused, match="none, pin, pin-and-slot, two-pins"):
        vary("base:post-1.locators=glue")
