"""The drawing of the signs: what is raised lies on the side toward which the machine leans."""

from pathlib import Path
from xml.etree import ElementTree

import pytest

from dryfit.view.machine_signs import signs_svg

STD = (0.01, 0.01, 0.01)


def texts(svg):
    root = ElementTree.fromstring(svg)
    return [element.text for element in root.iter("{http://www.w3.org/2000/svg}text")]


@pytest.mark.parametrize(("value", "side", "end"), [(0.4, "+", "-Y"), (-0.4, "-", "+Y")])
def test_sides_follow_the_signs(value, side, end):
    found = texts(signs_svg("tall", (value, value, value), STD))
    assert f"raise the {side}X feet" in found
    assert f"raise the {side}Y feet" in found
    assert f"move the +X end of the beam toward {end}" in found
    assert f"XZ = {value:.3f}(10) degrees" in found


def test_the_drawn_upright_leans_to_the_side_of_its_sign():
    def top_and_foot(value):
        root = ElementTree.fromstring(signs_svg("tall", (0.1, value, 0.1), STD))
        paths = [
            e.get("d") for e in root.iter("{http://www.w3.org/2000/svg}path") if e.get("class") == "wide"
        ]
        upright = paths[1]  # after the line of the frame
        start, end = upright[1:].split("L")
        return float(start.split()[0]), float(end.split()[0])

    foot, top = top_and_foot(0.4)
    assert top > foot
    foot, top = top_and_foot(-0.4)
    assert top < foot


def test_a_figure_of_zero_says_so():
    assert "YZ is 0: drawn as if positive" in texts(signs_svg("tall", (0.1, 0.6, 0.0), STD))


def test_names_are_escaped():
    assert "a &lt;b&gt;" in signs_svg("a <b>", (0.1, 0.6, 0.0), STD)


def test_the_picture_of_the_documentation_is_the_one_that_is_drawn():
    page = Path(__file__).resolve().parents[3] / "docs" / "pictures" / "machine-signs.svg"
    assert page.read_text(encoding="utf-8") == signs_svg("tall", (0.1, 0.6, 0.0), STD)
