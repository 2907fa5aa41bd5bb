"""The part as built: which print counts, of which shape, and what was read of it."""

import dataclasses

import numpy as np
import pytest

from building import machine
from building.tower import tower
from dryfit.app.as_built import as_printed, gather_as_built, is_as_printed
from dryfit.app.forecast import build_chain
from dryfit.app.part_ends import ends_in_design
from dryfit.app.print_records import PRINT, print_payload
from dryfit.app.reading_decisions import READING_DECISION
from dryfit.app.reading_records import READING, Entry, reading_payload
from dryfit.app.shape_hash import hash_shape
from dryfit.base.estimate import Estimate
from dryfit.model.characteristic import Characteristic
from dryfit.model.mesh import TriangleMesh
from dryfit.model.part import Bed, Placement
from dryfit.model.printing import Print
from dryfit.store.ledger import open_ledger
from support.printed_parts import faces_measure, forecast_as_built

HEIGHT = Characteristic(
    "top",
    "height",
    parts=("b2",),
    points_mm=np.array([[20.0, 20.0, 300.0]]),
    direction=np.array([0.0, 0.0, 1.0]),
    lower=299.0,
    upper=301.0,
)
PRINTER = machine(repeatability_mm=0.05, scale_z=Estimate(0.0, 0.001))
CALIPER = "caliper-300"


def tower_of():
    return tower(PRINTER, (HEIGHT,))


@pytest.fixture
def ledger(tmp_path):
    with open_ledger(tmp_path / "ledger.db") as opened:
        yield opened


def print_of(assembled, part, **changes):
    wanted = assembled.project.part(part)
    shape = assembled.shapes[part]
    made = Print(
        0, "", part, "m", "p", wanted.bed, "good", hash_shape(shape), "", ended="2026-11-20T12:00:00Z"
    )
    return dataclasses.replace(made, **changes)


def enter(ledger, item):
    return ledger.append(PRINT, print_payload(item)).id


def read(ledger, assembled, part, print_record, value, first=(20.0, 20.0, 100.0), second=(20.0, 20.0, 300.0)):
    ends = ends_in_design(assembled.project.part(part), faces_measure(first, second))
    entry = Entry("m", print_record, "height", value, CALIPER, 20.0, part=part, ends=ends)
    return ledger.append(READING, reading_payload(entry)).id


def gathered(assembled, ledger):
    return gather_as_built(assembled.project, assembled.shapes, ledger.records())


def states(assembled, ledger):
    return {item.part: item.state for item in gathered(assembled, ledger).parts}


def test_states_of_parts(ledger):
    assembled = tower(PRINTER, (HEIGHT,), heights_mm=(100.0, 200.0, 50.0, 50.0, 50.0))
    assert set(states(assembled, ledger).values()) == {"not printed"}
    enter(ledger, print_of(assembled, "b1"))
    read(ledger, assembled, "b2", enter(ledger, print_of(assembled, "b2")), 200.1)
    enter(ledger, print_of(assembled, "b3", result="failed", because="warped", failed_at_mm=7.0))
    enter(ledger, print_of(assembled, "b4", shape_sha256="another"))
    assert states(assembled, ledger) == {
        "b1": "printed", "b2": "measured", "b3": "failed", "b4": "other shape", "b5": "not printed",
    }  # fmt: skip
    cautions = gathered(assembled, ledger).cautions
    assert [text.split(":")[0] for text in cautions] == ["b3", "b4"]
    assert "failed at 7 mm: warped" in cautions[0]


def test_a_print_of_another_shape_is_not_counted_with(ledger):
    assembled = tower_of()
    record = enter(ledger, print_of(assembled, "b2", shape_sha256="another"))
    read(ledger, assembled, "b2", record, 201.0)
    state = gathered(assembled, ledger)
    assert state.readings == ()
    assert forecast_as_built(assembled, state).characteristics[0].predicted == pytest.approx(300.0)


def test_the_last_good_print_is_the_part_and_an_earlier_one_tells_of_the_machine(ledger):
    assembled = tower_of()
    first = enter(ledger, print_of(assembled, "b2", ended="2026-11-20T12:00:00Z"))
    second = enter(ledger, print_of(assembled, "b2", ended="2026-11-21T12:00:00Z"))
    read(ledger, assembled, "b2", first, 200.3)
    state = gathered(assembled, ledger)
    assert state.part("b2").print.record == second
    assert [(item.print.record, item.is_as_built) for item in state.prints] == [
        (first, False),
        (second, True),
    ]
    report = forecast_as_built(assembled, state)
    assert report.basis.earlier == 1
    assert report.basis.readings == ()
    # 0.3 mm by a scale of std 0.2 mm against points of 0.07 mm and a caliper: it is the machine that is believed
    moved = report.characteristics[0].predicted - 300.0
    assert 0.2 < moved < 0.45


def test_a_measured_part_stands_as_measured(ledger):
    assembled = tower_of()
    record = enter(ledger, print_of(assembled, "b2"))
    for _ in range(4):
        read(ledger, assembled, "b2", record, 200.3)
    for point in ((0.0, 0.0), (80.0, 0.0), (0.0, 80.0), (80.0, 80.0)):
        read(ledger, assembled, "b2", record, 200.3, (*point, 100.0), (*point, 300.0))
    report = forecast_as_built(assembled, gathered(assembled, ledger))
    before, after = report.prior[0], report.characteristics[0]
    # b1, of the same machine, is expected to be too tall in proportion
    assert after.predicted == pytest.approx(300.3 + 0.15, abs=0.06)
    assert after.std < 0.6 * before.std


def test_a_reading_left_out_does_not_count_and_is_counted_again(ledger):
    assembled = tower_of()
    record = enter(ledger, print_of(assembled, "b2"))
    reading = read(ledger, assembled, "b2", record, 200.3)
    ledger.append(READING_DECISION, {"reading": reading, "counts": False, "because": "jaws tilted", "by": ""})
    state = gathered(assembled, ledger)
    assert state.readings == ()
    assert state.part("b2").state == "printed"
    assert state.part("b2").readings[0].left_out == "jaws tilted"
    ledger.append(READING_DECISION, {"reading": reading, "counts": True, "because": "it was not", "by": ""})
    assert len(gathered(assembled, ledger).readings) == 1


def test_a_part_is_forecast_as_it_was_printed(ledger):
    assembled = tower(machine(repeatability_mm=0.0, scale_z=Estimate(0.01, 0.0)), (HEIGHT,))
    lying = Bed((90.0, 0.0, 0.0))
    enter(ledger, print_of(assembled, "b2", bed=lying))
    state = gathered(assembled, ledger)
    project = as_printed(assembled.project, state)
    assert project.part("b2").bed == lying
    assert is_as_printed(project, state.prints[0])
    assert "printed with pose 90, 0, 0 instead of 0, 0, 0" in state.cautions[0]
    turned = dataclasses.replace(
        project, parts=tuple(dataclasses.replace(part, bed=Bed()) for part in project.parts)
    )
    assert not is_as_printed(turned, state.prints[0])
    # b2 lay down, so that only b1 grew by 1 % along Z
    from dryfit.app.forecast import run_forecast

    report = run_forecast(build_chain(project, assembled.shapes, state))
    assert report.characteristics[0].predicted == pytest.approx(301.0, abs=1e-6)


def test_the_hash_of_a_shape_knows_it_moved_and_shuffled():
    assembled = tower_of()
    shape = assembled.shapes["b2"]
    chance = np.random.default_rng(3)
    order = chance.permutation(len(shape.mesh.vertices))
    place = np.argsort(order)
    faces = np.roll(place[shape.mesh.faces][chance.permutation(len(shape.mesh.faces))], 1, axis=1)
    shuffled = TriangleMesh(shape.mesh.vertices[order], faces, "", "", ())
    assert hash_shape(dataclasses.replace(shape, mesh=shuffled)) == hash_shape(shape)
    placement = Placement(np.array([[0.0, -1, 0], [1, 0, 0], [0, 0, 1]]), np.array([7.1, 0.3, -2.0]))
    vertices = shape.mesh.vertices @ placement.rotation.T + placement.translation_mm
    moved = TriangleMesh(vertices, shape.mesh.faces, "", "", ())
    part = dataclasses.replace(shape.part, placement=placement)
    assert hash_shape(dataclasses.replace(shape, part=part, mesh=moved)) == hash_shape(shape)
    larger = TriangleMesh(shape.mesh.vertices * 1.001, shape.mesh.faces, "", "", ())
    assert hash_shape(dataclasses.replace(shape, mesh=larger)) != hash_shape(shape)
    inside_out = TriangleMesh(shape.mesh.vertices, shape.mesh.faces[:, ::-1].copy(), "", "", ())
    assert hash_shape(dataclasses.replace(shape, mesh=inside_out)) != hash_shape(shape)
