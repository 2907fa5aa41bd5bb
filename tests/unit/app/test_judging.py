"""The state rules, one by one, and what rests on a wrong feature."""

from __future__ import annotations

import numpy as np
import pytest

from building import machine, material
from dryfit.app.judging import AbsoluteLimits, dependents_of, judge, limits_of
from dryfit.base.estimate import Estimate
from dryfit.model.characteristic import Characteristic
from dryfit.model.feature import Feature, FeatureLimits
from dryfit.model.joint import Joint
from dryfit.model.part import Part
from dryfit.model.project import Assembly, Project

BAND = AbsoluteLimits(99.0, 101.0)


@pytest.mark.parametrize(
    ("measured", "nominal", "limits", "state", "word"),
    [
        (100.5, Estimate(100, 0.2), BAND, "pass", "within limits"),
        (101.0, Estimate(100, 0.2), BAND, "pass", "within limits"),
        (101.5, Estimate(100, 0.2), BAND, "stop", "beyond the upper limit"),
        (98.0, Estimate(100, 1.0), BAND, "stop", "beyond the lower limit"),
        (98.0, None, BAND, "stop", "beyond the lower limit"),
        (101.5, Estimate(100, 2.0), BAND, "caution", "less than the evidence knows"),
        (103.0, Estimate(100, 0.2), BAND, "stop", "more than the evidence explains"),
        (100.9, Estimate(100, 0.05), BAND, "caution", "wider than the evidence"),
        (100.5, Estimate(100, 1.5), BAND, "caution", "finer"),
        (100.5, Estimate(100, 0.0), BAND, "pass", "within limits"),
        (100.5, None, BAND, "pass", "within limits"),
        (0.05, None, AbsoluteLimits(None, 0.1), "pass", "within limits"),
        (0.15, None, AbsoluteLimits(None, 0.1), "stop", "beyond the upper limit"),
        (100.3, Estimate(100, 0.2), AbsoluteLimits(), "pass", "as well as the evidence knows"),
        (100.5, Estimate(100, 0.2), AbsoluteLimits(), "caution", "hardly"),
        (102.1, Estimate(100, 0.2), AbsoluteLimits(), "stop", "more than the evidence explains"),
        (100.0, Estimate(100, 0.0), AbsoluteLimits(), "not checked", "nothing to compare with"),
        (100.0, None, AbsoluteLimits(), "not checked", "nothing to compare with"),
    ],
)
def test_state(measured, nominal, limits, state, word):
    verdict = judge(measured, nominal, limits, "mm")
    assert verdict.state == state
    assert word in verdict.reason
    assert (verdict.do == "") == (state == "pass")


def feature(id="f", parts=("a",), dimension=None, **limits):
    return Feature(
        id, "extent", parts, direction=np.eye(3)[2], dimension=dimension, limits=FeatureLimits(**limits)
    )


def test_limits_in_each_form():
    assert limits_of(feature(), None) == AbsoluteLimits()
    assert limits_of(feature(upper=0.1), None) == AbsoluteLimits(None, 0.1, "stated")
    stated = limits_of(feature(lower_deviation=-1.0, upper_deviation=2.0), 50.0)
    assert (stated.lower, stated.upper) == (49.0, 52.0)
    # ISO 286-1: 25H8 is +33/0 um; ISO 2768-1 m: +-0.3 above 30 up to 120 mm
    fine = limits_of(feature(iso_286="H8"), 25.0)
    assert (fine.lower, fine.upper) == pytest.approx((25.0, 25.033))
    general = limits_of(feature(iso_2768="m"), 50.0)
    assert (general.lower, general.upper) == pytest.approx((49.7, 50.3))


def project(order=()):
    """a - b - c in a row, d on a, e on its own; f carries the same dimension as a."""
    parts = tuple(Part(id, f"{id}.stl", "m", "p") for id in "abcdef")
    joints = tuple(
        Joint(f"{one}:{two}", (one, two)) for one, two in (("a", "b"), ("b", "c"), ("a", "d"), ("e", "f"))
    )
    proposed = Joint("c:e", ("c", "e"), proposed=True)
    gaps = (
        Characteristic("gap-ab", "gap", joint="a:b"),
        Characteristic("gap-bc", "gap", joint="b:c"),
        Characteristic("height", "height", parts=("a",), points_mm=np.zeros((1, 3)), direction=np.eye(3)[2]),
    )
    features = (feature("one", ("a",), "dim"), feature("two", ("f",), "dim"), feature("three", ("c",)))
    return Project(
        "test",
        None,
        machines=(machine(),),
        materials=(material(),),
        parts=parts,
        joints=(*joints, proposed),
        characteristics=gaps,
        assembly=Assembly(datum="d", order=order),
        features=features,
    )


def test_dependents_follow_the_bonding_order():
    all_of = project(order=("d", "a", "b", "c", "e", "f"))
    found = dependents_of(all_of, feature("one", ("a",)))
    # d stands before a, but their faces meet; c is placed on b, which is placed on a; e and f are not touched.
    assert found == (
        *(f"part {id}" for id in "abcd"),
        *("joint a:b", "joint a:d", "characteristic gap-ab", "characteristic height"),
    )


def test_parts_placed_before_do_not_depend():
    other_way = project(order=("d", "c", "b", "a", "e", "f"))
    found = dependents_of(other_way, feature("one", ("a",)))
    assert "part b" in found
    assert "part c" not in found


def test_parts_of_the_same_dimension_depend():
    found = dependents_of(project(), feature("one", ("a",), "dim"))
    assert {"part a", "part f", "part e", "joint e:f"} <= set(found)
