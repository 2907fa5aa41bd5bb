"""Mend the machine first: advice for a small portal, and the words in which it is given."""

from dataclasses import replace

import numpy as np
import pytest

from dryfit.app.compensating import compensate_parts
from dryfit.app.forecast import run_forecast
from dryfit.app.live import chain_for
from dryfit.app.loading import open_project
from dryfit.app.prediction import chain_of
from dryfit.app.trueing import advise_trueing
from dryfit.app.whatif import apply_what_if
from dryfit.calc.trueing import remaining_std_deg
from dryfit.model.machine import FIGURES, Estimated
from dryfit.view.blocks import Heading, Sentence
from dryfit.view.trueing import advise_words, trueing_blocks, trueing_plain
from support.projects import CHARACTERISTICS, MACHINE, document, write_project

FEET = "upright_feet_mm = [400, 380]\ngantry_width_mm = 520\n"
WIDE = CHARACTERISTICS.replace("[-0.2, 0.2]", "[-0.35, 0.35]")
STD = np.array([0.0005, 0.0005, 0.0005, 0.02, 0.02, 0.02, 0.02, 0.01])


def chain_with(tmp_path, keys=FEET):
    machine = MACHINE.replace("[machine.error]", f"{keys}[machine.error]")
    text = document(machine=machine, characteristics=WIDE)
    return chain_of(open_project(write_project(tmp_path / "portal", text)))


def advise(chain, std=STD, **figures):
    values = np.array([figures.get(name, 0.0) for name in FIGURES])
    return advise_trueing(chain, "tall", values, np.diag(std**2))


def advice_for(report, figure):
    return next(advice for advice in report.advices if advice.figure == figure)


@pytest.fixture
def chain(tmp_path):
    return chain_with(tmp_path)


def test_a_lean_of_the_uprights_becomes_a_shim(chain):
    report = advise(chain, skew_xz_deg=0.4)
    (advice,) = report.sure
    # 400 sin 0.4 degrees; u = 400 * 0.02 degrees in rad
    assert advice.setting.value == pytest.approx(2.79250, abs=1e-4)
    assert advice.setting.std == pytest.approx(0.13963, abs=1e-4)
    assert advice.remaining_std == pytest.approx(remaining_std_deg(0.02, 400.0, 0.05, 0.05))
    assert advice.clears == ("plumb",)
    words = advise_words(advice)
    assert words == (
        "The uprights lean 0.400(20) degrees toward +X. Put 2.79(14) mm under their feet on the +X side (400 mm "
        "between the feet along X), or take as much from under those on the -X side."
    )


def test_the_other_sign_raises_the_other_side(chain):
    (advice,) = advise(chain, skew_yz_deg=-0.4).sure
    words = advise_words(advice)
    assert "lean 0.400(20) degrees toward -Y. " in words
    assert "Put 2.65(13) mm under their feet on the -Y side (380 mm" in words


def test_a_lean_of_y_is_a_shift_of_the_gantry(chain):
    (advice,) = advise(chain, skew_xy_deg=0.3).sure
    words = advise_words(advice)
    assert advice.setting.value == pytest.approx(520.0 * np.sin(np.radians(0.3)))
    assert "Y leans 0.300(20) degrees toward +X. " in words
    assert "Move the +X end of the gantry toward -Y by 2.72(18) mm, its other end held (520 mm" in words
    (other,) = advise(chain, skew_xy_deg=-0.3).sure
    assert "toward -X. Move the +X end of the gantry toward +Y by 2.72(18) mm" in advise_words(other)


def test_a_scale_is_a_factor_of_the_steps(chain):
    (advice,) = advise(chain, scale_y=0.004).sure
    assert advice.setting.value == pytest.approx(1.0 / 1.004)
    assert "Y prints 0.400(50) % too long" in advise_words(advice)
    assert "multiply the steps per mm of Y by 0.99602(50)" in advise_words(advice)


def test_screws_are_turned(tmp_path):
    chain = chain_with(tmp_path, "upright_feet_mm = [400, 380]\nfoot_pitch_mm = 1.25\n")
    (advice,) = advise(chain, skew_xz_deg=0.4).sure
    assert advice.turns.value == pytest.approx(2.79250 / 1.25, abs=1e-4)
    assert "Raise the feet on the +X side by 2.23(11) turns, 2.79(14) mm over 400 mm." in advise_words(advice)
    # no shim is built up in steps then
    assert advice.remaining_std == pytest.approx(remaining_std_deg(0.02, 400.0, 0.05))


def test_without_a_spacing_the_height_is_given_per_hundred_millimetres(tmp_path):
    chain = chain_with(tmp_path, "")
    report = advise(chain, skew_xz_deg=0.4, skew_xy_deg=0.2)
    assert "by 0.698(35) mm for each 100 mm between the feet along X; state upright_feet_mm" in advise_words(
        advice_for(report, "skew_xz_deg")
    )
    assert "state gantry_width_mm" in advise_words(advice_for(report, "skew_xy_deg"))
    assert advice_for(report, "skew_xz_deg").remaining_std == 0.02
    assert any("at best" in block.text for block in trueing_blocks(report) if isinstance(block, Sentence))


def test_outlines_are_no_matter_of_the_machine(chain):
    (advice,) = advise(chain, boundary_offset_mm=0.1).sure
    assert "0.100(20) mm too wide on each side" in advise_words(advice)
    assert "no part of the machine is to be turned" in advise_words(advice)


def test_a_figure_not_told_from_zero_is_left_alone(chain):
    report = advise(chain, skew_xz_deg=0.03)
    assert report.sure == ()
    blocks = trueing_blocks(report)
    assert isinstance(blocks[0], Heading)
    assert blocks[0].state == "pass"
    assert "less than 2 standard uncertainties from zero" in blocks[1].text


def test_what_it_clears_is_what_the_forecast_says_of_it(chain):
    report = advise(chain, skew_xz_deg=0.4, scale_z=0.004)
    left = {advice.figure: advice.remaining_std for advice in report.sure}
    changes = [f"tall.{name}=0+-{std!r}" for name, std in left.items()]
    # the document states the same lean and no scale
    before = apply_what_if(chain.project, ["tall.scale_z=0.004+-0.0005"])
    after = apply_what_if(before, changes)
    for project, values in ((before, "before"), (after, "after")):
        forecast = run_forecast(chain_for(chain, project))
        for item, change in zip(forecast.characteristics, report.changes, strict=True):
            assert getattr(change, f"predicted_{values}") == pytest.approx(item.predicted, abs=1e-12)
            assert getattr(change, f"p_out_{values}") == pytest.approx(item.p_out, abs=1e-12)


def test_figures_that_readings_tie_together_keep_their_tie(chain):
    correlation = np.eye(8)
    correlation[3, 4] = correlation[4, 3] = 0.6
    rows = tuple(tuple(row) for row in correlation.tolist())
    estimated = Estimated(3, "2026-01-01T00:00:00Z", rows, "pla", (0.0,) * 8, 20.0)
    machine = chain.project.machines[0]
    model = replace(machine.error, knowledge="estimated", estimated=estimated)
    project = replace(chain.project, machines=(replace(machine, error=model),))
    tied = replace(chain, project=project)
    values = np.array([0, 0, 0, 0.1, 0.4, 0, 0, 0])
    report = advise_trueing(tied, "tall", values, correlation * np.outer(STD, STD))
    expected = run_forecast(replace(chain, project=apply_what_if(project, ["tall.skew_xy_deg=0.1+-0.02"])))
    for item, change in zip(expected.characteristics, report.changes, strict=True):
        assert change.std_before == pytest.approx(item.std, rel=1e-9)


def test_corrected_copies_are_called_to_mind(tmp_path):
    machine = MACHINE.replace("[machine.error]", f"{FEET}[machine.error]")
    folder = write_project(tmp_path / "portal", document(machine=machine))
    compensate_parts(folder, "tall", ("post-1",), write=True)
    report = advise(chain_of(open_project(folder)), skew_xz_deg=0.4)
    assert report.copies == ("post-1",)
    assert any("--undo" in block.text for block in trueing_blocks(report) if isinstance(block, Sentence))


def test_the_plain_form_holds_every_figure(chain):
    report = advise(chain, skew_xz_deg=0.4, scale_y=0.004)
    plain = trueing_plain(report)
    assert [row["figure"] for row in plain["advices"]] == list(FIGURES)
    row = next(row for row in plain["advices"] if row["figure"] == "skew_xz_deg")
    assert (row["setting_unit"], row["spacing_mm"], row["is_told_from_zero"]) == ("mm", 400.0, True)


def test_cautions_are_given(chain):
    text = " ".join(b.text for b in trueing_blocks(advise(chain, skew_xz_deg=0.4)) if isinstance(b, Sentence))
    assert "unplug" in text
    assert "Levelling the whole machine on its table changes no angle in it" in text
