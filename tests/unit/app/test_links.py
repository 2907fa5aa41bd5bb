"""The chain as a page shows it: what each link says, and through which contacts a characteristic stands."""

from dataclasses import replace

import pytest

from dryfit.app.checking import check_parts
from dryfit.app.levers import list_levers
from dryfit.app.links import LINKS, chain_of_contacts, departure_of, fit_state, report_links, worst_of
from dryfit.app.loading import open_project
from dryfit.app.prediction import predict_opened
from dryfit.app.whatif import apply_what_if
from dryfit.view.forecast import state_of
from support.projects import MACHINE, document, open_stl_bytes, part_row, write_project


@pytest.fixture
def opened(tmp_path):
    return open_project(write_project(tmp_path))


@pytest.fixture
def report(opened):
    return predict_opened(opened)


def test_links_stand_in_the_order_of_the_chain(opened, report):
    assert tuple(link.name for link in report_links(opened, report).links) == LINKS


def test_links_that_this_version_does_not_reach_are_not_begun(opened, report):
    begun = [link.name for link in report_links(opened, report).links if link.state is not None]
    assert begun == ["parts", "machine", "fit"]


def test_the_fit_is_as_grave_as_its_gravest_characteristic(opened, report):
    link = report_links(opened, report).link("fit")
    # 0.4 degrees of lean against limits of 0.2: the posts cannot stand plumb.
    assert (link.state, link.of) == ("stop", 3)
    assert link.worst is not None
    assert link.worst.id == "plumb"


def test_states_are_those_of_the_command_line(report):
    for item in report.characteristics:
        assert fit_state(item, report.risk) == state_of(item, report.risk)


def test_a_machine_without_an_error_model_is_not_known(tmp_path):
    machine = MACHINE[: MACHINE.index("[machine.error]")]
    opened = open_project(write_project(tmp_path, document(machine=machine)))
    link = report_links(opened, predict_opened(opened)).link("machine")
    assert (link.state, link.good, link.of) == ("not checked", 0, 1)


def test_an_open_mesh_is_a_caution(tmp_path):
    rows = part_row("post", reference="meshes/post.stl", unit='"mm"')
    text = document(parts=rows, joints="", characteristics="", assembly="")
    opened = open_project(write_project(tmp_path, text, {"meshes/post.stl": open_stl_bytes()}))
    report = report_links(opened, predict_opened(opened))
    assert (report.link("parts").state, report.link("parts").good) == ("not checked", 0)
    assert (report.parts[0].is_closed, report.parts[0].cautions) == (False, ("open",))
    assert report.parts[0].size_mm == pytest.approx((20.0, 60.0, 100.0))


def test_parts_are_in_order_where_nothing_stops_at_them(opened, report):
    checked = check_parts(opened)
    link = report_links(opened, report, checked).link("parts")
    assert link.state == checked.state
    stopped = {
        name
        for item in checked.findings
        if item.state != "pass" and item.state != "caution"
        for name in item.parts
    }
    assert link.good == link.of - len(stopped)


def test_departure_is_one_at_a_limit_and_grows_beyond(report):
    item = replace(report.characteristics[0], predicted=141.0, lower_limit=139.0, upper_limit=141.0)
    assert departure_of(item) == pytest.approx(1.0)
    assert departure_of(replace(item, predicted=143.0)) == pytest.approx(3.0)
    one_sided = replace(item, lower_limit=None, predicted=141.3, std=0.1)
    assert departure_of(one_sided) == pytest.approx(3.0)
    assert departure_of(replace(one_sided, predicted=140.0)) == 0.0


def test_an_undetermined_characteristic_outweighs_one_that_holds(report):
    held = replace(report.characteristics[0], p_out=0.0, predicted=140.0)
    unknown = replace(held, id="unknown", p_out=None)
    assert worst_of(replace(report, characteristics=(held, unknown))) is unknown
    assert worst_of(replace(report, characteristics=())) is None


def test_the_lintel_rests_on_a_post_and_that_on_the_base(opened, report):
    parts, joints = chain_of_contacts(opened, report, "lintel-height")
    assert set(parts) == {"lintel", "post-1", "base"}
    assert set(joints) == {"post-1:lintel", "base:post-1"}


def test_a_closing_joint_is_part_of_the_chain_that_it_closes(opened, report):
    _, joints = chain_of_contacts(opened, report, "closing-step")
    assert set(joints) == {"post-2:lintel", "post-1:lintel", "base:post-1", "base:post-2"}


def test_every_lever_is_a_what_if_that_changes_nothing_at_its_own_value(opened):
    project = opened.project
    for lever in list_levers(project):
        assert lever.low <= lever.value <= lever.high
        assert 0.0 <= lever.place <= 1.0
        changed = apply_what_if(project, [lever.change_to(lever.value)])
        if lever.kind == "turn":
            assert changed.part(lever.owner).bed == project.part(lever.owner).bed
        elif lever.kind == "machine":
            assert changed.machine(lever.owner).error.figures == project.machine(lever.owner).error.figures
        else:
            assert changed.joint(lever.owner).bond_line_mm == project.joint(lever.owner).bond_line_mm


def test_levers_reach_three_times_the_stated_figure(opened):
    lean = next(lever for lever in list_levers(opened.project) if lever.address == "tall.skew_xz_deg")
    assert (lean.low, lean.value, lean.high) == pytest.approx((-1.2, 0.4, 1.2))
    assert lean.change_to(0.0) == "tall.skew_xz_deg=0"


def test_no_lever_for_a_flare_without_a_first_layer(tmp_path):
    machine = MACHINE.replace("first_layer_flare_mm = 0.0\n", "").replace("first_layer_height_mm = 0.3\n", "")
    machine = machine.replace(", first_layer_flare_mm = 0.01", "")
    project = open_project(write_project(tmp_path, document(machine=machine))).project
    assert not any(lever.key == "first_layer_flare_mm" for lever in list_levers(project))
