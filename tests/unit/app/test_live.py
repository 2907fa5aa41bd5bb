"""An open project that is asked again and again: the same answers as from the start, only sooner."""

import dataclasses
import threading

import numpy as np
import pytest

from dryfit.app.forecast import build_chain, run_forecast
from dryfit.app.live import QUICK_CAUSES, LiveProject, chain_for, try_what_if
from dryfit.app.whatif import WhatIfRefused, apply_what_if
from dryfit.base.errors import DocumentRefused, ReferenceUnknown
from dryfit.view.plain import forecast_plain
from support.projects import MACHINE, document, joint_row, write_project

SECOND_MACHINE = MACHINE.replace('id = "tall"', 'id = "desk"').replace(
    "skew_xz_deg = 0.4", "skew_xz_deg = -0.2"
)


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    text = document(machine=MACHINE + SECOND_MACHINE)
    # One joint says nothing of its bond line: notes tell of it until a what-if states it.
    text = text.replace(
        joint_row("base", "post-2"), joint_row("base", "post-2").replace("bond_line_mm = 0.0\n", "")
    )
    return write_project(tmp_path_factory.mktemp("live") / "portal", text)


@pytest.fixture(scope="module")
def snapshot(folder):
    return LiveProject(folder).load(record=False)


def anew(snapshot, changes):
    """The forecast from meshes and document alone, nothing re-used."""
    project = apply_what_if(snapshot.opened.project, changes)
    return run_forecast(build_chain(project, snapshot.chain.shapes))


CHANGES = {
    "a figure": ["tall.skew_xz_deg=0.1"],
    "a spread": ["tall.scale_z=0.001+-0.0002"],
    "scatter": ["tall.repeatability_mm=0.3"],
    "temperature": ["assembly.temp_c=35+-3"],
    "shrinkage": ["pla.shrinkage=0.004"],
    "bed": ["post-1.bed=0,90,0"],
    "machine of a part": ["post-2.machine=desk"],
    "bond line": ["base:post-1.bond_line_mm=0.4+-0.1"],
    "bond line not stated before": ["base:post-2.bond_line_mm=0.4"],
    "bond line of the closing joint": ["post-2:lintel.bond_line_mm=0.2"],
    "play": ["post-1:lintel.locator_play_mm=0.4"],
    "locators": ["base:post-1.locators=two-pins"],
    "role": ["base:post-1.role=locating"],
    "all at once": [
        "base:post-1.bond_line_mm=0.3", "post-1.bed=0,90,90", "post-2.machine=desk", "tall.skew_yz_deg=0.2",
    ],
}  # fmt: skip


@pytest.mark.parametrize("changes", CHANGES.values(), ids=CHANGES.keys())
def test_re_used_stages_give_what_building_anew_gives(snapshot, changes):
    project = apply_what_if(snapshot.chain.project, changes)
    found = forecast_plain(run_forecast(chain_for(snapshot.chain, project)))
    assert found == forecast_plain(anew(snapshot, changes))
    # A role stated as the rule has it moves nothing, nor does the bond of a joint that closes.
    if changes not in (CHANGES["role"], CHANGES["bond line of the closing joint"]):
        assert found != forecast_plain(anew(snapshot, ()))


@pytest.mark.parametrize("changes", CHANGES.values(), ids=CHANGES.keys())
def test_one_change_after_another_leaves_nothing_of_the_first(snapshot, changes):
    """A slider goes there and back: the chain of a chain, back to the document's own values."""
    there = chain_for(snapshot.chain, apply_what_if(snapshot.chain.project, changes))
    back = chain_for(there, snapshot.chain.project)
    assert forecast_plain(run_forecast(back)) == forecast_plain(anew(snapshot, ()))


@pytest.mark.parametrize(
    ("name", "same"),
    [
        ("a figure", ("structure", "independent", "motion")),
        ("bed", ("structure", "independent")),
        ("machine of a part", ("structure", "independent")),
        ("bond line", ("independent", "motion")),
        ("locators", ()),
    ],
)
def test_what_the_change_leaves_alone_is_re_used(snapshot, name, same):
    chain = chain_for(snapshot.chain, apply_what_if(snapshot.chain.project, CHANGES[name]))
    stages = ("structure", "independent", "motion")
    assert tuple(s for s in stages if getattr(chain, s) is getattr(snapshot.chain, s)) == same
    assert chain.shapes is snapshot.chain.shapes


def test_another_first_layer_height_is_not_taken_for_a_figure(snapshot):
    project = snapshot.chain.project
    machines = tuple(
        dataclasses.replace(item, error=dataclasses.replace(item.error, first_layer_height_mm=5.0))
        for item in project.machines
    )
    changed = dataclasses.replace(project, machines=machines)
    found, expected = chain_for(snapshot.chain, changed), build_chain(changed, snapshot.chain.shapes)
    assert np.array_equal(found.motion.by_figure, expected.motion.by_figure)
    assert found.motion is not snapshot.chain.motion


def test_another_datum_is_not_taken_for_a_figure(snapshot):
    project = snapshot.chain.project
    assembly = dataclasses.replace(project.assembly, datum="post-1", order=())
    changed = dataclasses.replace(project, assembly=assembly)
    assert run_forecast(chain_for(snapshot.chain, changed)).datum == "post-1"


def test_a_quick_answer_has_the_same_predictions_and_fewer_causes(snapshot):
    changes = CHANGES["bed"]
    _, quick = try_what_if(snapshot, changes)
    _, full = try_what_if(snapshot, changes, quick=False)
    assert [item.predicted for item in quick.characteristics] == [
        item.predicted for item in full.characteristics
    ]
    assert [item.std for item in quick.characteristics] == [item.std for item in full.characteristics]
    assert max(len(item.contributions) for item in quick.characteristics) <= QUICK_CAUSES + 1
    assert len(full.input_hash) == 64
    assert quick.what_if == full.what_if == tuple(changes)


def test_a_what_if_that_names_nothing_is_refused(snapshot):
    with pytest.raises(ReferenceUnknown):
        try_what_if(snapshot, ["short.skew_xz_deg=0"])
    with pytest.raises(WhatIfRefused):
        try_what_if(snapshot, ["tall.skew_xz_deg=much"])


def test_staleness_follows_the_document_on_disk(tmp_path):
    live = LiveProject(write_project(tmp_path / "portal"))
    assert live.snapshot is None
    assert live.is_stale()
    live.load(record=False)
    assert not live.is_stale()
    path = tmp_path / "portal/project.toml"
    text = path.read_text(encoding="utf-8")
    path.write_text(text + "# a word\n", encoding="utf-8")
    assert live.is_stale()
    path.write_text(text, encoding="utf-8")
    assert not live.is_stale()  # the same bytes again
    path.unlink()
    assert live.is_stale()


def test_a_document_that_became_wrong_leaves_the_last_good_state(tmp_path):
    live = LiveProject(write_project(tmp_path / "portal"))
    good = live.load(record=False)
    path = tmp_path / "portal/project.toml"
    path.write_text(path.read_text(encoding="utf-8").replace("schema = 1", "schema = 1\nnonsense = 2"))
    with pytest.raises(DocumentRefused):
        live.load(record=False)
    assert live.snapshot is good
    assert live.is_stale()


def test_two_threads_at_once_get_their_own_answers(tmp_path):
    """One asks what-ifs while the other loads anew: no answer is of another's making."""
    live = LiveProject(write_project(tmp_path / "portal"))
    first = live.load(record=False)
    values = [0.05 * k for k in range(8)]
    expected = {v: forecast_plain(try_what_if(first, [f"tall.skew_xz_deg={v}"])[1]) for v in values}
    barrier, found, faults = threading.Barrier(3), [], []

    def ask(order):
        try:
            barrier.wait(20)
            answers = (try_what_if(live.snapshot, [f"tall.skew_xz_deg={value}"])[1] for value in order)
            found.extend(zip(order, map(forecast_plain, answers), strict=True))
        except Exception as error:
            faults.append(error)

    def load():
        try:
            barrier.wait(20)
            for _ in range(3):
                live.load(record=False)
        except Exception as error:
            faults.append(error)

    threads = [
        threading.Thread(target=ask, args=(values,)),
        threading.Thread(target=ask, args=(values[::-1],)),
    ]
    threads.append(threading.Thread(target=load))
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(60)
    assert faults == []
    assert len(found) == 16
    assert all(answer == expected[value] for value, answer in found)
    assert live.snapshot is not first
