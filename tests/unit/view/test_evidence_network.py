"""The network of the evidence as a picture: every node has its place, and doubt is plain to see."""

import re
import xml.etree.ElementTree as ET

import numpy as np
import pytest

from dryfit.app.schedule import Options, schedule_folder
from dryfit.view.evidence_network import network_blocks, network_svg, network_words
from dryfit.view.evidence_network_layout import PITCH, TOP, lay_out, space_out
from support.schedules import GUIDE, large_network, write_schedule

SVG = "{http://www.w3.org/2000/svg}"


@pytest.fixture
def report(tmp_path):
    return schedule_folder(write_schedule(tmp_path), Options(record=False))


def nodes(svg, kind):
    root = ET.fromstring(svg)
    return {
        group.attrib[f"data-{kind}"]: group
        for group in root.iter(f"{SVG}g")
        if f"data-{kind}" in group.attrib
    }


def classes(group):
    return {element.attrib.get("class", "") for element in group.iter()}


def test_every_dimension_and_observation_is_a_node_to_be_chosen(report):
    svg = network_svg(report)
    assert set(nodes(svg, "dimension")) == {item.id for item in report.dimensions}
    assert set(nodes(svg, "observation")) == {item.label.id for item in report.tested}
    assert set(nodes(svg, "source")) == {"tape", "invented: levels", "no source stated", GUIDE}


def test_a_suspect_is_a_stop_hatched_and_its_line_doubled(report):
    svg = network_svg(report)
    guide = classes(nodes(svg, "observation")["guide"])
    assert {"net-doubt", "net-hatch", "s-stop"} <= guide
    assert not classes(nodes(svg, "observation")["tape"]) & {"net-doubt", "net-hatch", "s-stop"}
    assert "net-core" in svg
    assert network_words(report).endswith("Doubtful: guide.")


def test_a_kept_suspect_is_a_caution(tmp_path):
    folder = write_schedule(tmp_path)
    report = schedule_folder(folder, Options("keep", ("guide",), "the plate says so", record=False))
    assert "s-caution open" in classes(nodes(network_svg(report), "observation")["guide"])


def test_what_is_left_out_is_dashed_and_nothing_is_doubtful_then(tmp_path):
    folder = write_schedule(tmp_path)
    report = schedule_folder(folder, Options("without", ("guide",), "it counts the vane", record=False))
    svg = network_svg(report)
    assert "net-gone" in classes(nodes(svg, "observation")["guide"])
    assert "net-out" in svg
    assert network_words(report).endswith("Nothing in it is doubtful.")


def test_what_nothing_determines_is_open(report):
    assert "net-open" in classes(nodes(network_svg(report), "dimension")["crown"])
    assert "net-dimension" in classes(nodes(network_svg(report), "dimension")["drum"])


def test_the_wider_line_has_the_more_weight(report):
    shares = {row.label.id: row.share for row, _, _ in lay_out(report).observed}
    svg = network_svg(report)
    lines = [float(found) for found in re.findall(r'class="net-line" stroke-width="([\d.]+)"', svg)]
    assert shares["tape"] != shares["levels"]
    assert len(set(lines)) > 2


def test_what_a_chosen_dimension_does_not_rest_on_is_faint(report):
    svg = network_svg(report, "rise")
    assert nodes(svg, "observation")["east"].attrib.get("class") is None
    assert nodes(svg, "observation")["lone"].attrib["class"] == "faded"
    assert nodes(svg, "dimension")["rise"].attrib.get("class") is None
    assert "faded" not in network_svg(report)


def test_of_too_much_for_one_picture_the_part_is_drawn_that_a_dimension_rests_on(report):
    svg = network_svg(report, "sill", most=3)
    assert (set(nodes(svg, "dimension")), set(nodes(svg, "observation"))) == ({"sill"}, {"lone"})
    assert set(nodes(network_svg(report, most=3), "dimension")) == {"drum", "rise", "overall"}
    assert set(nodes(network_svg(report, "sill"), "dimension")) == {item.id for item in report.dimensions}


def test_the_words_hold_what_the_picture_shows(report):
    _, table = network_blocks(report)
    rows = {row[0]: row for row in table.rows}
    assert rows["overall"][1:] == ("guide", "overall = drum + rise", "guide", "-")
    assert rows["crown"][1] == "-"
    assert dict(zip(rows, table.states, strict=True))["crown"] == "not checked"


def test_the_picture_names_itself_and_escapes_what_users_write(tmp_path):
    folder = write_schedule(tmp_path, source='a <b> & "c"')
    svg = network_svg(schedule_folder(folder, Options(record=False)), standalone=True)
    root = ET.fromstring(svg)
    assert root.attrib["role"] == "img"
    assert root.attrib["aria-label"].startswith(
        "Network of the evidence: 7 observations from 4 sources, 5 dimensions, 1 relation."
    )
    assert 'a <b> & "c"' in nodes(svg, "source")


def test_forty_dimensions_and_a_hundred_and_twenty_observations_do_not_touch(tmp_path):
    report = schedule_folder(large_network(tmp_path), Options(record=False))
    layout = lay_out(report)
    assert len(layout.dimensions) == 40
    assert len(layout.observed) == 120
    for heights in (
        [height for _, height, _ in layout.observed],
        list(layout.dimensions.values()),
        [height for _, height in layout.sources],
        [height for _, height in layout.relations],
    ):
        assert np.diff(heights).min() >= PITCH - 1e-9
        assert heights[0] > TOP
        assert heights[-1] < layout.height
    # A name of the source is never farther than about what one sees at once.
    for _, height, place in layout.observed:
        assert abs(layout.sources[place][1] - height) < 30 * PITCH
    assert network_svg(report) == network_svg(report)


def test_room_is_made_with_the_least_squared_moves():
    # Three wishes at one height spread about it: a closed form.
    assert space_out([50.0, 50.0, 50.0], 4.0, 0.0) == pytest.approx([46.0, 50.0, 54.0])
    assert space_out([50.0, 80.0], 4.0, 0.0) == [50.0, 80.0]
    assert space_out([1.0], 4.0, 10.0) == [12.0]
    assert space_out([], 4.0, 0.0) == []


def test_room_is_made_as_a_general_purpose_solver_makes_it():
    from scipy.optimize import minimize

    wanted = np.array([30.0, 28.0, 31.0, 60.0, 59.0])
    gaps = [{"type": "ineq", "fun": lambda x, i=i: x[i + 1] - x[i] - 4.0} for i in range(4)]
    best = minimize(lambda x: ((x - wanted) ** 2).sum(), np.arange(5) * 10.0 + 20.0, constraints=gaps).x
    assert space_out(list(wanted), 4.0, 0.0) == pytest.approx(best, abs=1e-4)
