"""A test artefact for a machine of a project: brief, plan, what it decides, files, simulated readings."""

from __future__ import annotations

import io
import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import trimesh
from hypothesis import given, settings
from hypothesis import strategies as st

from dryfit.app.artefact import ArtefactOptions, ArtefactReport, design_artefact, issue_artefact
from dryfit.app.artefact_brief import make_brief
from dryfit.app.artefact_effect import known_now, scale_measure, sensitivities_of
from dryfit.app.artefact_plan import candidates_of, expected_of, reading_order
from dryfit.app.artefact_records import recorded_artefacts
from dryfit.app.artefact_simulation import simulate_readings, simulate_values
from dryfit.app.demo import write_demo
from dryfit.app.forecast import build_chain, with_figures
from dryfit.app.loading import open_project
from dryfit.app.reading_fit import fit_readings
from dryfit.app.reading_model import Taken
from dryfit.base.errors import ComputationRefused, DryfitError, ReferenceUnknown
from dryfit.base.estimate import Estimate
from dryfit.files.mesh import read_meshes
from dryfit.model.artefact import Artefact
from dryfit.model.instrument_table import COMMON_INSTRUMENTS
from dryfit.model.machine import FIGURES
from dryfit.store.ledger import LEDGER_NAME, open_ledger
from dryfit.view.artefact_sheet import artefact_sheet

KIT = ("caliper-300", "steel-rule-1000", "square-150")
INSTRUMENTS = [COMMON_INSTRUMENTS[id] for id in KIT]


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("artefact") / "demo"
    write_demo(folder, "observatory")
    return folder


@pytest.fixture(scope="module")
def report(demo: Path) -> ArtefactReport:
    return design_artefact(demo, "tall")


def taken_of(artefact: Artefact) -> list[Taken]:
    known = {item.id: item for item in INSTRUMENTS}
    return [
        Taken(artefact.measure(step.measure), known[step.instrument], 20.0)
        for step in reading_order(artefact)
    ]


# ---- the body and its plan ---------------------------------------------------------------------------------


def test_the_body_spans_the_machine_within_its_mass(report: ArtefactReport) -> None:
    item = report.artefact
    assert item.size_mm == (498.0, 498.0, 599.0)  # 500 x 500 x 600 less 1 mm clearance
    assert 0.9 * 400.0 < item.mass_g <= 400.0
    assert item.mass_g == pytest.approx(item.volume_mm3 / 1000.0 * 1.24)
    assert item.hours == pytest.approx(item.volume_mm3 / report.flow_mm3_s / 3600.0)
    assert report.given_up == ()


def test_as_many_readings_are_planned_as_wanted_each_there_and_back(report: ArtefactReport) -> None:
    plan = report.artefact.plan
    assert sum(step.repeats for step in plan) == 48
    assert all(step.repeats % 2 == 0 for step in plan)
    order = reading_order(report.artefact)
    assert [step.measure for step in order] == [step.measure for step in order][::-1]
    assert len(order) == 48


def test_measures_to_be_read_are_numbered_first_in_the_order_of_the_sheet(report: ArtefactReport) -> None:
    artefact = report.artefact
    numbers = [artefact.measure(step.measure).number for step in artefact.plan]
    assert numbers == list(range(1, len(numbers) + 1))
    assert sorted(item.number for item in artefact.measures) == list(range(1, len(artefact.measures) + 1))


def test_more_readings_never_tell_less_of_all_figures_together(demo: Path, report: ArtefactReport) -> None:
    more = design_artefact(demo, "tall", ArtefactOptions(readings=72))
    few = sum(math.log(item.std) for item in report.expected)
    many = sum(math.log(item.std) for item in more.expected)
    assert many < few


@pytest.mark.parametrize("readings", [30, 48])
def test_aiming_at_the_project_still_tells_every_figure_apart(tmp_path: Path, readings: int) -> None:
    """Also those on which nothing of the project hangs, with the instruments of the demonstration's drawer."""
    write_demo(tmp_path / "demo", "unqualified")
    aimed = design_artefact(tmp_path / "demo", "tall", ArtefactOptions(aim="project", readings=readings))
    assert all(0.0 < item.std < 1.0 for item in aimed.expected)


def test_aiming_at_the_project_leaves_less_open_of_it(demo: Path, report: ArtefactReport) -> None:
    aimed = design_artefact(demo, "tall", ArtefactOptions(aim="project"))

    def open_share(item: ArtefactReport) -> float:
        return sum((row.body / row.half_band) ** 2 for row in item.decided if row.half_band)

    assert open_share(aimed) < open_share(report)


def test_less_plastic_makes_a_lesser_body_and_says_so(demo: Path) -> None:
    light = design_artefact(demo, "tall", ArtefactOptions(mass_g=200.0))
    assert light.artefact.mass_g <= 200.0
    assert light.given_up
    slow = design_artefact(demo, "tall", ArtefactOptions(hours=3.0))
    assert slow.artefact.hours is not None
    assert slow.artefact.hours <= 3.0


def test_what_is_assumed_is_said(report: ArtefactReport) -> None:
    text = " ".join(report.assumed)
    assert "no instrument is stated" in text
    assert "16.2 mm3 of plastic a second" in text
    assert "solid" in text


@pytest.mark.parametrize(
    ("machine", "options", "error", "words"),
    [
        ("tal", ArtefactOptions(), ReferenceUnknown, "tal"),
        ("tall", ArtefactOptions(material="plaa"), ReferenceUnknown, "plaa"),
        ("tall", ArtefactOptions(instruments=("calliper",)), ReferenceUnknown, "calliper"),
        ("tall", ArtefactOptions(mass_g=0.0), ComputationRefused, "--mass"),
        ("tall", ArtefactOptions(mass_g=4.0), ComputationRefused, "no body"),
        ("tall", ArtefactOptions(readings=7), ComputationRefused, "7 readings"),
        ("tall", ArtefactOptions(instruments=("square-150",)), ComputationRefused, "apart"),
        ("tall", ArtefactOptions(instruments=("steel rule", "square")), ComputationRefused, "apart"),
    ],
)
def test_what_cannot_be_designed_is_refused(
    demo: Path, machine: str, options: ArtefactOptions, error: type[DryfitError], words: str
) -> None:
    with pytest.raises(error) as caught:
        design_artefact(demo, machine, options)
    assert words in str(caught.value)
    assert caught.value.do


def test_an_instrument_may_be_named_by_its_kind(demo: Path) -> None:
    report = design_artefact(demo, "desk", ArtefactOptions(instruments=("caliper", "square")))
    assert {item.kind for item in report.instruments} == {"caliper", "square"}


# ---- what it is expected to tell ---------------------------------------------------------------------------


def test_what_was_expected_is_what_the_adjustment_finds(demo: Path, report: ArtefactReport) -> None:
    # independent: the least squares of the qualification, on readings of a simulated print
    project = open_project(demo).project
    taken = taken_of(report.artefact)
    figures = np.array([1e-3, -5e-4, 8e-4, 0.1, 0.6, -0.2, 0.05, 0.1])
    values = simulate_values(taken, figures, project.material("pla"), 0.03, np.random.default_rng(7))
    fitted = fit_readings(taken, values, project.material("pla"))
    found = np.sqrt(np.diag(fitted.covariance)[:8])
    expected = np.array([item.std for item in report.expected])
    assert (np.abs(fitted.unknowns[:8] - figures) < 5.0 * found).all()
    # scatter and hand are estimated from these readings alone: good to a third
    assert found / expected == pytest.approx(np.ones(8), abs=0.4)


def test_estimates_of_simulated_prints_spread_as_expected(demo: Path, report: ArtefactReport) -> None:
    # many prints, one linear estimate of known weights: its spread must be the expected one
    project = open_project(demo).project
    material = project.material("pla")
    taken = taken_of(report.artefact)
    from dryfit.app.reading_model import model_readings

    model = model_readings(taken, material)
    start = np.zeros(len(model.names))
    start[model.prior_index] = model.prior_mean
    nominal, design = model.predict(start)
    weight = np.linalg.inv(model.fixed + 0.03**2 * model.scatter)
    normal = design.T @ weight @ design
    normal[model.prior_index, model.prior_index] += 1.0 / model.prior_std**2
    estimate = np.linalg.solve(normal, design.T @ weight)
    chance = np.random.default_rng(11)
    prints = np.array(
        [simulate_values(taken, np.zeros(8), material, 0.03, chance) - nominal for _ in range(600)]
    )
    spread = (prints @ estimate.T)[:, :8].std(axis=0)
    expected = np.array([item.std for item in report.expected])
    # four standard errors of a spread over 600 draws are 12 %
    assert spread / expected == pytest.approx(np.ones(8), abs=0.12)


def test_expected_covariance_of_stated_readings_is_that_of_the_plan(
    demo: Path, report: ArtefactReport
) -> None:
    project = open_project(demo).project
    known = {item.id: item for item in INSTRUMENTS}
    artefact = report.artefact
    taken = [Taken(artefact.measure(step.measure), known[step.instrument], 20.0) for step in artefact.plan]
    repeats = [step.repeats for step in artefact.plan]
    covariance = expected_of(taken, repeats, project.material("pla"), 0.03)
    assert np.sqrt(np.diag(covariance)[:8]) == pytest.approx([item.std for item in report.expected], rel=1e-6)
    problem, of = candidates_of(taken, project.material("pla"), 0.03)
    assert len(problem) == len(taken)
    assert of.tolist()[:8] == list(range(8))


# ---- what it decides ---------------------------------------------------------------------------------------


def test_a_small_piece_leaves_open_what_the_body_decides(report: ArtefactReport) -> None:
    rows = {item.id: item for item in report.decided}
    ring = rows["ring-closure"]
    assert ring.small > 3.0  # mm: more than the whole band
    assert ring.body < 0.5
    assert rows["wall-plumb-1"].is_decided is True
    assert rows["crown-seats"].is_decided is None  # a flatness has one limit


def test_sensitivities_are_those_of_the_forecast(demo: Path) -> None:
    # independent: a figure known to 0.01 spreads a characteristic by 0.01 times its sensitivity
    opened = open_project(demo)
    chain = build_chain(opened.project, opened.shapes)
    lines = sensitivities_of(chain, "tall", "pla")
    from dryfit.app.forecast import run_forecast

    machine = opened.project.machine("tall")
    for index, name in ((3, "skew_xy_deg"), (4, "skew_xz_deg"), (0, "scale_x")):
        only = {key: Estimate(item.value, 0.0) for key, item in machine.error.figures.items()}
        only[name] = Estimate(only[name].value, 1e-3)
        errors = replace(machine.error, figures=only, repeatability_mm=0.0)
        quiet = replace(
            opened.project,
            machines=tuple(
                replace(item, error=errors if item.id == "tall" else replace(
                    item.error, repeatability_mm=0.0,
                    figures={key: Estimate(value.value, 0.0) for key, value in item.error.figures.items()},
                ))
                for item in opened.project.machines
            ),
        )  # fmt: skip
        shares = run_forecast(with_figures(chain, quiet)).characteristics
        for place, item in enumerate(shares):
            if item.id != "ring-closure":
                continue
            line = int(np.flatnonzero(chain.structure.results == place)[0])
            mine = [cause for cause in item.contributions if cause.source == f"tall.{name}"]
            share = mine[0].variance_share if mine else 0.0
            assert math.sqrt(share) * item.std == pytest.approx(
                abs(lines[line, index]) * 1e-3, rel=1e-6, abs=1e-12
            )


def test_a_shrinkage_is_all_three_scales_turned_down(demo: Path) -> None:
    # every part of the ring is printed on one machine in one plastic
    opened = open_project(demo)
    chain = build_chain(opened.project, opened.shapes)
    lines = sensitivities_of(chain, "tall", "pla")
    place = [item.id for item in opened.project.characteristics].index("ring-diameter")
    line = lines[np.flatnonzero(chain.structure.results == place)[0]]
    assert line[8] == pytest.approx(-line[:3].sum(), rel=1e-9)
    assert line[8] < -100.0  # mm per unit: a ring of more than a metre shrinks


def test_today_is_as_the_document_states_it(demo: Path) -> None:
    opened = open_project(demo)
    chain = build_chain(opened.project, opened.shapes)
    brief = make_brief(opened.project, (), "tall", ArtefactOptions())
    covariance = known_now(chain, brief)
    std = [opened.project.machine("tall").error.figures[name].std for name in FIGURES]
    assert np.sqrt(np.diag(covariance)) == pytest.approx([*std, 0.00005])
    assert np.count_nonzero(covariance - np.diag(np.diag(covariance))) == 0


def test_a_scaled_measure_keeps_its_directions(report: ArtefactReport) -> None:
    for measure in report.artefact.measures:
        small = scale_measure(measure, 0.1)
        assert small.length_mm == pytest.approx(0.1 * measure.length_mm)
        assert small.first_out == measure.first_out
        assert small.toward == measure.toward


# ---- files and ledger --------------------------------------------------------------------------------------


def test_issuing_writes_three_files_and_a_record(tmp_path: Path) -> None:
    folder = tmp_path / "demo"
    write_demo(folder, "observatory")
    report = issue_artefact(folder, "desk", artefact_sheet, ArtefactOptions(instruments=KIT))
    assert [path.name for path in report.files] == [
        "desk-artefact.3mf",
        "desk-artefact.stl",
        "desk-sheet.pdf",
    ]
    assert all(path.parent == folder / "artefacts" for path in report.files)
    threemf = read_meshes(report.files[0], None)
    assert threemf.unit_stated == "mm"
    assert threemf.sha256 == report.artefact.sha256
    again = threemf.objects[0]
    assert np.ptp(again.vertices, axis=0) == pytest.approx(report.artefact.size_mm, abs=1e-4)
    stl = trimesh.load(io.BytesIO(report.files[1].read_bytes()), file_type="stl")
    assert stl.is_watertight
    assert stl.volume == pytest.approx(report.artefact.volume_mm3, rel=1e-5)
    assert report.files[2].read_bytes().startswith(b"%PDF-")
    with open_ledger(folder / LEDGER_NAME) as ledger:
        kept = recorded_artefacts(ledger.records(), "desk")
    assert [item.record for item in kept] == [report.record]
    assert kept[0].artefact == report.artefact


def test_a_folder_that_cannot_be_made_leaves_no_record(tmp_path: Path) -> None:
    folder = tmp_path / "demo"
    write_demo(folder, "observatory")
    blocked = tmp_path / "file"
    blocked.write_text("in the way")
    with pytest.raises(DryfitError, match="folder"):
        issue_artefact(folder, "desk", artefact_sheet, folder=blocked / "inside")
    with open_ledger(folder / LEDGER_NAME) as ledger:
        assert ledger.records("artefact") == ()


# ---- simulated readings ------------------------------------------------------------------------------------


def test_simulated_readings_follow_the_sheet_and_say_that_they_are_invented(
    demo: Path, report: ArtefactReport
) -> None:
    material = open_project(demo).project.material("pla")
    figures = np.array([0.0, 0.0, 0.0, 0.1, 0.6, 0.0, 0.0, 0.0])
    entries = simulate_readings(report.artefact, figures, INSTRUMENTS, material, 0.03, seed=3, record=9)
    assert [entry.measure for entry in entries] == [step.measure for step in reading_order(report.artefact)]
    assert all(
        entry.by == "simulated" and entry.artefact == 9 and entry.machine == "tall" for entry in entries
    )
    again = simulate_readings(report.artefact, figures, INSTRUMENTS, material, 0.03, seed=3, record=9)
    assert again == entries
    other = simulate_readings(report.artefact, figures, INSTRUMENTS, material, 0.03, seed=4, record=9)
    assert [entry.value_mm for entry in other] != [entry.value_mm for entry in entries]


def test_a_leaning_machine_shows_in_the_gaps_of_the_square(demo: Path, report: ArtefactReport) -> None:
    material = open_project(demo).project.material("pla")
    figures = np.zeros(8)
    figures[4] = 0.6  # toward +X: 1.5 mm over 144 mm
    entries = simulate_readings(report.artefact, figures, INSTRUMENTS, material, 0.0, seed=1)
    gaps = {entry.measure: entry.value_mm for entry in entries}
    assert gaps["square-xz-A-144"] == pytest.approx(-144.0 * math.tan(math.radians(0.6)), abs=0.15)
    assert gaps["square-xz-B-144"] == pytest.approx(144.0 * math.tan(math.radians(0.6)), abs=0.15)


@settings(max_examples=15, deadline=None)
@given(st.integers(0, 10_000))
def test_displays_go_by_their_steps(report: ArtefactReport, seed: int) -> None:
    from dryfit.model.material import Material

    material = Material("pla", "PLA", Estimate(0.0), Estimate(70e-6))
    steps = {item.id: item.resolution_mm for item in INSTRUMENTS}
    for entry in simulate_readings(report.artefact, np.zeros(8), INSTRUMENTS, material, 0.03, seed):
        assert entry.value_mm is not None
        ratio = entry.value_mm / steps[entry.instrument]
        assert ratio == pytest.approx(round(ratio), abs=1e-6)
