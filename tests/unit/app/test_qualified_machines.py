"""Figures that readings estimated: out of the ledger, tied to one another and to the shrinkage of the artefact."""

import json
from dataclasses import replace

import numpy as np
import pytest

from dryfit.app.causes import correlated_figures, gather_causes
from dryfit.app.forecast import build_chain, run_forecast
from dryfit.app.loading import open_project
from dryfit.app.orient_loss import first_order_loss, judge_lines
from dryfit.app.orient_poses import Pose, moved_chain, pose_spaces
from dryfit.app.orient_problem import build_problem
from dryfit.app.qualification_records import (
    QUALIFICATION,
    error_model,
    qualification_from,
    qualification_payload,
    read_qualifications,
    unused_qualifications,
)
from dryfit.app.ready import check_before_printing
from dryfit.base.errors import LedgerRefused
from dryfit.base.estimate import Estimate
from dryfit.model.machine import FIGURES
from dryfit.model.qualification import Qualification
from dryfit.store.ledger import LEDGER_NAME, open_ledger
from support.projects import document, write_project

UNQUALIFIED = """
[[machine]]
id = "tall"
build_volume_mm = [500, 500, 600]
"""
STD = np.array([3e-4, 3e-4, 3e-4, 0.02, 0.02, 0.02, 0.03, 0.02])


def qualification(machine="tall", shrinkage_std=2e-4, **changes):
    """Scales that lean on shrinkage, and an offset that goes against the first scale."""
    correlation = np.eye(8)
    correlation[0, 6] = correlation[6, 0] = -0.6
    slope = np.array([1.0, 1.0, 1.0, 0.0, 0.0, 0.0, 0.0, 0.0])  # a scale moves with the shrinkage one to one
    rest = np.sqrt(STD**2 - slope * 4e-8)
    covariance = correlation * np.outer(rest, rest) + np.outer(slope, slope) * 4e-8
    tied = slope * shrinkage_std**2
    given = {
        "record": 0, "at": "", "machine": machine, "artefact": 1, "readings": (2, 3, 4),
        "figures": np.array([1e-3, 0.0, 0.0, 0.1, 0.5, -0.2, 0.04, 0.1]),
        "covariance": covariance, "dof": 21.5, "repeatability_mm": 0.04, "repeatability_std_mm": 0.006,
        "first_layer_height_mm": 0.3, "material": "pla", "shrinkage": 0.0, "shrinkage_std": shrinkage_std,
        "with_shrinkage": tied,
    }  # fmt: skip
    return Qualification(**{**given, **changes})


@pytest.fixture
def folder(tmp_path):
    write_project(tmp_path)
    (tmp_path / "project.toml").write_text(document(machine=UNQUALIFIED), encoding="utf-8")
    return tmp_path


def record(folder, given=None):
    with open_ledger(folder / LEDGER_NAME) as ledger:
        return ledger.append(QUALIFICATION, qualification_payload(given or qualification()))


def variances(chain):
    causes = gather_causes(chain.project, chain.structure, chain.motion, chain.independent)
    return causes, (causes.matrix * causes.sources.std) ** 2


def test_a_record_gives_back_what_was_recorded(folder):
    kept = record(folder)
    assert json.loads(json.dumps(dict(kept.payload))) == qualification_payload(qualification_from(kept))


def test_a_machine_without_stated_figures_has_those_of_its_last_qualification(folder):
    assert open_project(folder).project.machine("tall").error.knowledge == "prior"
    record(folder, qualification(figures=np.zeros(8)))
    kept = record(folder)
    opened = open_project(folder)
    model = opened.project.machine("tall").error
    assert model.knowledge == "estimated"
    assert model.estimated.record == kept.id == 2
    assert [model.figures[name].value for name in FIGURES] == qualification().figures.tolist()
    assert np.allclose([model.figures[name].std for name in FIGURES], STD)
    assert any("estimated from 3 readings" in note for note in opened.notes)


def test_stated_figures_stand_and_the_hold_point_says_what_is_not_used(tmp_path):
    write_project(tmp_path)
    kept = record(tmp_path)
    opened = open_project(tmp_path)
    assert opened.project.machine("tall").error.knowledge == "stated"
    found = unused_qualifications(opened.project, read_qualifications(tmp_path))
    assert [item.record for item in found] == [kept.id]
    lines = [line for line in check_before_printing(tmp_path, record=False).checks if line.topic == "machine"]
    assert any(line.state == "caution" and f"record {kept.id}" in line.reason for line in lines)


def test_a_damaged_ledger_is_refused_and_not_passed_over(folder):
    (folder / LEDGER_NAME).write_bytes(b"no database at all" * 100)
    with pytest.raises(LedgerRefused):
        open_project(folder)


def test_the_forecast_spreads_by_the_whole_covariance(folder):
    """Against the matrix product of GUM eq. 13, with the columns of the same machine stated figure by figure."""
    record(folder)
    opened = open_project(folder)
    chain = build_chain(opened.project, opened.shapes)
    _, spread = variances(chain)
    stated = replace(opened.project.machine("tall").error, estimated=None)
    loose = replace(opened.project, machines=(replace(opened.project.machine("tall"), error=stated),))
    causes, _ = variances(build_chain(loose, opened.shapes))
    names, correlation = correlated_figures(opened.project)
    place = [causes.sources.names.index(name) if name in causes.sources.names else -1 for name in names]
    columns = np.where(np.array(place) >= 0, causes.matrix[:, place], 0.0)
    std = np.array([*STD, opened.project.material("pla").shrinkage.std])
    tied = np.einsum("qi,ij,qj->q", columns * std, correlation, columns * std)
    others = [i for i, name in enumerate(causes.sources.names) if name not in names]
    rest = (causes.matrix[:, others] * causes.sources.std[others]) ** 2
    assert np.allclose(spread.sum(axis=1), tied + rest.sum(axis=1), rtol=1e-9)
    plain = (causes.matrix * causes.sources.std) ** 2
    assert not np.allclose(spread.sum(axis=1), plain.sum(axis=1), rtol=1e-3)


def test_correlation_moves_no_expected_value_and_shares_add_up(folder):
    record(folder)
    opened = open_project(folder)
    report = run_forecast(build_chain(opened.project, opened.shapes))
    model = replace(opened.project.machine("tall").error, estimated=None)
    loose = replace(opened.project, machines=(replace(opened.project.machine("tall"), error=model),))
    alone = run_forecast(build_chain(loose, opened.shapes))
    for item, other in zip(report.characteristics, alone.characteristics, strict=True):
        assert item.predicted == pytest.approx(other.predicted, abs=1e-9)
        moved = {cause.source: cause.mean_shift for cause in item.contributions}
        for cause in other.contributions:
            assert moved.get(cause.source, 0.0) == pytest.approx(cause.mean_shift, abs=1e-12)
        assert sum(cause.variance_share for cause in item.contributions) == pytest.approx(1.0)


def test_a_shrinkage_that_is_known_better_since_narrows_the_scales(folder):
    """A scale of one to one with the shrinkage: its variance is what is left plus that of the shrinkage now."""
    record(folder)
    project = open_project(folder).project
    now = replace(project.material("pla"), shrinkage=Estimate(0.0005, 2e-5))
    model = error_model(qualification(), replace(project, materials=(now,)))
    assert model.figures["scale_x"].value == pytest.approx(1e-3 + 0.0005)
    assert model.figures["scale_x"].std ** 2 == pytest.approx(STD[0] ** 2 - 4e-8 + 4e-10)
    assert model.figures["skew_xz_deg"].std == pytest.approx(0.02)


def test_two_machines_measured_in_one_material_are_tied_by_its_shrinkage(folder):
    second = UNQUALIFIED.replace('"tall"', '"desk"')
    (folder / "project.toml").write_text(document(machine=UNQUALIFIED + second), encoding="utf-8")
    record(folder)
    record(folder, qualification("desk"))
    names, correlation = correlated_figures(open_project(folder).project)
    one, other, shrinkage = (names.index(n) for n in ("tall.scale_x", "desk.scale_x", "pla.shrinkage"))
    assert correlation[one, other] == pytest.approx(
        correlation[one, shrinkage] * correlation[other, shrinkage]
    )
    assert correlation[one, other] > 0.01
    assert np.linalg.eigvalsh(correlation)[0] > -1e-12


def test_the_latest_qualification_of_each_machine_is_read(folder):
    record(folder)
    record(folder, qualification("desk"))
    latest = record(folder)
    found = read_qualifications(folder)
    assert (found["tall"].record, found["desk"].record) == (latest.id, 2)
    assert read_qualifications(folder / "nowhere") == {}


def test_the_search_weighs_poses_by_the_same_covariance(folder):
    """The problem of the search against the loss that the forecast's own causes give, pose by pose."""
    record(folder, qualification(shrinkage_std=0.0, with_shrinkage=np.zeros(8)))
    opened = open_project(folder)
    chain = build_chain(opened.project, opened.shapes)
    judged = judge_lines(chain.project, chain.structure)
    spaces = pose_spaces(chain.project, chain.shapes, ())
    problem = build_problem(chain, judged, spaces)
    for turns in ((0.0, 0.0, 0.0, 0.0), (90.0, 0.0, 45.0, 180.0)):
        poses = [Pose(0, turn) for turn in turns]
        wanted = first_order_loss(moved_chain(chain, spaces, poses), judged)
        assert problem.loss(poses) == pytest.approx(wanted, rel=1e-9)
