"""The schedule of a project: sizes, suspects, decisions, changes, hold point, scale, what to measure next."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from dryfit.app.ledger_reading import read_records
from dryfit.app.measuring import nominal_of
from dryfit.app.print_records import print_payload
from dryfit.app.schedule import Options, schedule_folder
from dryfit.app.schedule_lines import schedule_lines
from dryfit.app.schedule_solving import solve, with_schedule
from dryfit.base.errors import ComputationRefused, ReferenceUnknown
from dryfit.base.estimate import Estimate
from dryfit.model.evidence import JointObservations
from dryfit.store.document import parse_document, read_document
from dryfit.store.ledger import open_ledger
from support.printed_parts import print_of

HEAD = 'schema = 1\n[project]\nname = "Tower"\nscale = "1:20"\n'
MACHINE = (
    '[[machine]]\nid = "m"\nbuild_volume_mm = [500, 500, 500]\n[[material]]\nid = "pla"\nfamily = "PLA"\n'
    '[[part]]\nid = "wall"\nmesh = "meshes/a.stl"\nunit = "mm"\nmachine = "m"\nmaterial = "pla"\n'
    '[[feature]]\nid = "wall-height"\nkind = "extent"\npart = "wall"\ndirection = [0, 0, 1]\n'
    'dimension = "drum"\ndeviations_mm = [-1.5, 1.5]\n'
)


def dimensions(*ids: str) -> str:
    return "".join(f'[[dimension]]\nid = "{id}"\n' for id in ids)


def observed(id: str, of: str, mm: float, std: float) -> str:
    return f'[[observation]]\nid = "{id}"\nof = "{of}"\nvalue = {mm}\nunit = "mm"\nstd = {std}\n'


SUM = '[[relation]]\nid = "heights"\nkind = "sum"\nwhole = "overall"\nof = ["drum", "dome"]\n'
SOUND = (
    HEAD
    + dimensions("drum", "dome", "overall")
    + observed("d1", "drum", 3650.0, 30.0)
    + observed("d2", "drum", 3656.0, 30.0)
    + observed("r1", "dome", 9200.0, 17.0)
    + observed("r2", "dome", 9190.0, 17.0)
)
WRONG = SOUND + observed("guide", "overall", 13200.0, 60.0) + SUM + MACHINE


def project_of(text: str):
    return parse_document(text, "project.toml").project


def folder_of(tmp_path: Path, text: str = WRONG) -> Path:
    (tmp_path / "project.toml").write_text(text, encoding="utf-8")
    return tmp_path


def is_size(found: Estimate | None, value: float, std: float) -> bool:
    return found is not None and (found.value, found.std) == (
        pytest.approx(value),
        pytest.approx(std, abs=1e-9),
    )


def test_repeated_values_give_their_weighted_mean() -> None:
    size = solve(project_of(SOUND + SUM)).prototype("drum")
    assert is_size(size, 3653.0, 30.0 / np.sqrt(2.0))


def test_relations_hold_to_rounding_and_carry_uncertainty() -> None:
    solved = solve(project_of(SOUND + SUM))
    drum, dome, overall = (solved.prototype(id) for id in ("drum", "dome", "overall"))
    assert overall.value == pytest.approx(drum.value + dome.value, abs=1e-9)
    assert overall.std == pytest.approx(np.hypot(drum.std, dome.std))
    assert is_size(solved.model("overall"), overall.value / 20, overall.std / 20)


def test_the_wrong_guide_is_named_with_what_hangs_on_it(tmp_path: Path) -> None:
    report = schedule_folder(folder_of(tmp_path))
    assert report.state == "stop"
    (suspect,) = report.suspects
    assert suspect.label.id == "guide"
    assert suspect.alike == ("heights (overall = drum + dome)",)
    assert (suspect.features, suspect.parts) == (("wall-height",), ("wall",))
    moved = {item.id: item.prototype_mm.value for item in suspect.without}
    assert moved["drum"] == pytest.approx(3653.0)
    assert moved["overall"] == pytest.approx(3653.0 + 9195.0)
    assert report.robust["drum"] == pytest.approx(3653.0, abs=10.0)
    # Named, and still counted: nothing is left out by itself.
    assert {item.label.id for item in report.tested} >= {"guide"}


def test_a_decision_is_recorded_honoured_listed_and_taken_back(tmp_path: Path) -> None:
    folder = folder_of(tmp_path)
    schedule_folder(folder)
    without = schedule_folder(folder, Options("without", ("guide",), "it counts the weather vane"))
    assert without.state == "pass"
    assert [(item.id, item.because) for item in without.decisions] == [
        ("guide", "it counts the weather vane")
    ]
    assert {change.id for change in without.changes} == {"drum", "dome", "overall"}
    drum = next(change for change in without.changes if change.id == "drum")
    assert drum.touched.features == ("wall-height",)
    again = schedule_folder(folder)
    assert (again.state, again.changes, again.record) == ("pass", (), without.record)
    kept = schedule_folder(folder, Options("keep", ("guide",), "the plate on the wall says so"))
    assert kept.state == "caution"
    assert kept.suspects[0].decision is not None
    assert schedule_folder(folder, Options("restore", ("guide",))).state == "stop"
    assert [record.payload["verb"] for record in read_records(folder, "decision")] == [
        "without",
        "keep",
        "restore",
    ]


def test_a_moved_dimension_names_the_parts_that_are_printed_already(tmp_path: Path) -> None:
    folder = folder_of(tmp_path)
    assert next(item for item in schedule_folder(folder).dimensions if item.id == "drum").printed == ()
    project = read_document(folder).project
    with open_ledger(folder / "ledger.db") as ledger:
        ledger.append("print", print_payload(replace(print_of(project, "wall", 0), result="failed")))
        failed = schedule_folder(folder, Options(record=False))
        ledger.append("print", print_payload(print_of(project, "wall", 0)))
    assert next(item for item in failed.dimensions if item.id == "drum").printed == ()
    without = schedule_folder(folder, Options("without", ("guide",), "it counts the weather vane"))
    assert next(item for item in without.dimensions if item.id == "drum").printed == ("wall",)
    assert next(change for change in without.changes if change.id == "drum").touched.printed == ("wall",)


def test_a_decision_needs_its_reason_and_something_to_be_about(tmp_path: Path) -> None:
    folder = folder_of(tmp_path)
    with pytest.raises(ReferenceUnknown, match="reason"):
        schedule_folder(folder, Options("without", ("guide",), " "))
    with pytest.raises(ReferenceUnknown, match="guide"):
        schedule_folder(folder, Options("without", ("gide",), "because"))
    with pytest.raises(ReferenceUnknown, match="no decision"):
        schedule_folder(folder, Options("restore", ("guide",)))
    assert read_records(folder) == ()


def test_a_decision_that_leaves_no_schedule_is_refused_and_not_recorded(tmp_path: Path) -> None:
    text = SOUND + observed("plate", "drum", 3700.0, 0.0) + observed("deed", "drum", 3650.0, 0.0)
    folder = folder_of(tmp_path, text)
    schedule_folder(folder, Options("without", ("plate",), "a copy"))
    with pytest.raises(ComputationRefused, match="plate"):
        schedule_folder(folder, Options("restore", ("plate",)))
    assert schedule_folder(folder).decisions[0].id == "plate"


def test_a_size_that_nothing_measures_is_told_and_the_others_stand() -> None:
    solved = solve(
        project_of(SOUND + dimensions("crown.width", "a", "b") + _sum("ab", "overall", "a", "b") + SUM)
    )
    assert solved.why_unknown("crown.width") == "nothing measures crown.width"
    assert "apart from b" in solved.why_unknown("a")
    assert solved.is_known("drum")


def _sum(id: str, whole: str, *parts: str) -> str:
    listed = ", ".join(f'"{part}"' for part in parts)
    return f'[[relation]]\nid = "{id}"\nkind = "sum"\nwhole = "{whole}"\nof = [{listed}]\n'


def test_contradictory_exact_values_are_refused_by_name() -> None:
    text = SOUND + observed("plate", "drum", 3700.0, 0.0) + observed("deed", "drum", 3650.0, 0.0)
    with pytest.raises(ComputationRefused, match="plate") as refused:
        solve(project_of(text))
    assert "deed" in refused.value.what
    assert "d1" not in refused.value.what


def test_relations_that_leave_no_room_are_refused_by_name() -> None:
    text = SOUND + _sum("one", "drum", "dome", "overall") + _sum("two", "overall", "drum", "dome")
    with pytest.raises(ComputationRefused, match="above zero") as refused:
        solve(project_of(text))
    assert '"one"' in refused.value.where


def test_an_exact_value_is_kept_exactly() -> None:
    solved = solve(project_of(SOUND + observed("plate", "drum", 3660.0, 0.0)))
    assert solved.prototype("drum") == Estimate(3660.0, 0.0)


@pytest.mark.parametrize(
    ("relation", "holds"),
    [
        ('kind = "equal"\nof = ["a", "b", "c"]', lambda a, b, c: (a - b, b - c)),
        ('kind = "symmetric"\npairs = [["a", "c"]]', lambda a, b, c: (a - c,)),
        ('kind = "spacing"\nof = ["a", "b", "c"]', lambda a, b, c: (a - 2 * b + c,)),
        ('kind = "ratio"\nof = ["a", "b"]\nvalue = 1.5', lambda a, b, c: (a - 1.5 * b,)),
        ('kind = "ratio"\nof = ["a", "b"]\nsame_as = ["c", "a"]', lambda a, b, c: (a / b - c / a,)),
    ],
)
def test_every_kind_of_relation_holds(relation: str, holds) -> None:
    text = HEAD + dimensions("a", "b", "c") + f'[[relation]]\nid = "r"\n{relation}\n'
    text += observed("oa", "a", 100.0, 3.0) + observed("ob", "b", 90.0, 2.0) + observed("oc", "c", 115.0, 4.0)
    solved = solve(project_of(text))
    sizes = [solved.prototype(id).value for id in "abc"]
    assert np.array(holds(*sizes)) == pytest.approx(0.0, abs=1e-9)


def test_members_that_scatter_are_as_uncertain_as_their_scatter_says() -> None:
    """b, unmeasured, follows a with twice the variance of one member's scatter added."""
    text = (
        HEAD
        + dimensions("a", "b")
        + '[[relation]]\nid = "r"\nkind = "equal"\nof = ["a", "b"]\nstd = "4 mm"\n'
    )
    solved = solve(project_of(text + observed("oa", "a", 100.0, 3.0)))
    assert solved.prototype("b").std == pytest.approx(np.sqrt(9.0 + 2 * 16.0))


def test_the_scale_may_follow_from_one_size_in_the_model() -> None:
    head = 'schema = 1\n[project]\nname = "T"\nscale_from = { dimension = "overall", model_mm = 642.4 }\n'
    solved = solve(project_of((SOUND + SUM).replace(HEAD, head)))
    overall, scale = solved.prototype("overall"), solved.scale()
    assert scale is not None
    assert scale.value == pytest.approx(642.4 / 12848.0)
    assert scale.std / scale.value == pytest.approx(overall.std / overall.value)
    assert is_size(solved.model("overall"), 642.4, 0.0)
    # drum / (drum + dome): by the law of propagation, JCGM 100:2008, 5.1.2
    drum, dome = solved.prototype("drum"), solved.prototype("dome")
    spread = np.hypot(dome.value * drum.std, drum.value * dome.std) / overall.value**2
    assert solved.model("drum").std == pytest.approx(642.4 * spread)


@pytest.mark.parametrize("fixed", [True, False])
def test_a_size_given_at_model_scale_counts_at_that_scale(fixed: bool) -> None:
    head = (
        HEAD if fixed else HEAD.replace('scale = "1:20"', 'scale_from = { dimension = "a", model_mm = 50 }')
    )
    text = head + dimensions("a", "b") + observed("oa", "a", 1000.0, 1.0)
    text += '[[observation]]\nid = "ob"\nof = "b"\nvalue = "90 mm"\nstd = "0.1 mm"\ngiven_at = "model"\n'
    solved = solve(project_of(text))
    assert solved.prototype("b").value == pytest.approx(1800.0)
    assert solved.prototype("b").std == pytest.approx(2.0 if fixed else np.hypot(2.0, 1.8))
    assert is_size(solved.model("b"), 90.0, 0.1)


def test_lengths_measured_together_enter_with_their_covariance() -> None:
    """Two sizes off one photograph share its scale: their difference is known far better than either."""
    project = project_of(HEAD + dimensions("a", "b"))
    covariance = np.array([[100.0, 99.0], [99.0, 100.0]])
    group = JointObservations(
        "photo:front", ("a", "b"), ((("a", 1.0),), (("b", 1.0),)), np.array([1000.0, 1100.0]), covariance
    )
    solved = solve(project, (group,))
    assert solved.adjustment.covariance == pytest.approx(covariance)
    tied = solve(project_of(HEAD + dimensions("a", "b") + observed("tape", "a", 1010.0, 0.0)), (group,))
    # Conditioning of a bivariate normal: 1100 + 0.99 * 10, and 100 (1 - 0.99^2)
    assert is_size(tied.prototype("b"), 1109.9, np.sqrt(100 * (1 - 0.99**2)))


def test_photographs_are_traced(tmp_path: Path) -> None:
    group = JointObservations(
        "photo:front", ("x",), ((("drum", 1.0),),), np.array([3655.0]), np.array([[25.0]])
    )
    report = schedule_folder(folder_of(tmp_path, SOUND), Options(record=False), (group,))
    drum = next(item for item in report.dimensions if item.id == "drum")
    assert drum.photographs == ("photo:front",)
    assert sum(source.weight for source in drum.sources) == pytest.approx(1.0)
    assert sum(source.variance_share for source in drum.sources) == pytest.approx(1.0)


def test_features_take_their_nominal_from_the_schedule() -> None:
    project = with_schedule(project_of(WRONG), {})
    nominal, words = nominal_of(project, project.features[0])
    solved = solve(project_of(WRONG))
    assert nominal == solved.model("drum")
    assert "by the schedule" in words


def test_where_the_schedule_is_refused_features_have_no_nominal() -> None:
    text = WRONG + observed("plate", "drum", 3700.0, 0.0) + observed("deed", "drum", 3650.0, 0.0)
    project = with_schedule(project_of(text), {})
    with pytest.raises(ComputationRefused, match="refused"):
        nominal_of(project, project.features[0])
    (line,) = schedule_lines(project_of(text), ())
    assert line.state == "stop"


def test_a_stated_size_beside_observations_counts_once(tmp_path: Path) -> None:
    text = SOUND.replace('id = "drum"\n', 'id = "drum"\nprototype_mm = 3659\nprototype_std_mm = 30\n', 1)
    project = project_of(text)
    size = solve(project).prototype("drum")
    assert is_size(size, 3655.0, 30.0 / np.sqrt(3.0))
    # A project whose sizes came from the schedule gives the same again.
    assert solve(with_schedule(project, {})).prototype("drum") == size


def test_the_hold_point_stops_at_open_suspects_and_tells_moved_nominals(tmp_path: Path) -> None:
    folder = folder_of(tmp_path)
    project = read_document(folder).project
    stop = next(line for line in schedule_lines(project, ()) if line.state == "stop")
    assert stop.subject == "guide"
    assert "wall" in stop.reason
    schedule_folder(folder)
    schedule_folder(folder, Options("without", ("guide",), "vane", record=False))
    lines = list(schedule_lines(project, read_records(folder)))
    moved = next(line for line in lines if line.subject == "wall-height")
    assert moved.state == "caution"
    assert "moved from" in moved.reason
    schedule_folder(folder)
    lines = list(schedule_lines(project, read_records(folder)))
    assert [line.state for line in lines] == ["pass"]


def test_unknown_sizes_are_not_checked_at_the_hold_point() -> None:
    lines = list(schedule_lines(project_of(SOUND + dimensions("crown.width")), ()))
    assert [(line.subject, line.state) for line in lines if line.state == "not checked"] == [
        *[("overall", "not checked"), ("crown.width", "not checked")]
    ]


def test_without_evidence_the_hold_point_says_nothing_of_it() -> None:
    text = HEAD + '[[dimension]]\nid = "a"\nprototype_mm = 100\n'
    assert list(schedule_lines(project_of(text), ())) == []


def test_what_next_prefers_what_features_with_limits_hang_on(tmp_path: Path) -> None:
    text = SOUND + SUM + dimensions("vane.height") + MACHINE
    report = schedule_folder(folder_of(tmp_path, text), Options(what_next=True, next_std_mm=10.0))
    worth = report.worth
    assert worth is not None
    assert worth.candidates[0].words == "drum"
    # 21.2 mm of the drum are 1.06 mm of the model: beyond +-1.5 mm with a chance of 2 (1 - Phi(1.414)).
    assert worth.chance == pytest.approx(0.1573, abs=1e-4)
    after = 10.0 * 21.2132 / np.hypot(10.0, 21.2132)
    assert worth.candidates[0].std_after_mm == pytest.approx(after, rel=1e-4)
    vane = next(item for item in worth.candidates if item.words == "vane.height")
    assert (vane.std_before_mm, vane.chance_after) == (None, pytest.approx(worth.chance))
    assert vane.std_after_mm == pytest.approx(10.0, rel=1e-5)
