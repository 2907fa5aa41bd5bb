"""What to turn on a machine, in sentences: which side, how much, what remains, what it clears."""

from __future__ import annotations

from typing import Any

from dryfit.app.trueing import PER_MM, SURE, Advice, TrueingReport
from dryfit.view.blocks import Block, Heading, Sentence
from dryfit.view.digits import write_estimate, write_number
from dryfit.view.outcome_changes import outcome_table, outcomes_plain
from dryfit.view.sources import describe_figure

_AXES = {"skew_xz_deg": "X", "skew_yz_deg": "Y"}
_LONG = {"scale_x": "X", "scale_y": "Y", "scale_z": "Z"}
_CAUTION = (
    "Switch the machine off and unplug it before loosening anything; hold the uprights while their bolts are out. "
    "Afterwards check belts and cables for free travel, level the bed again and measure the machine again."
)


def trueing_blocks(report: TrueingReport) -> list[Block]:
    """What to do, one sentence per figure, and what all of it together would clear."""
    sure = report.sure
    if not sure:
        return [
            Heading(f"{report.machine}: nothing to turn", "pass"),
            *(Sentence(f"{_doubt(advice)}.", mark=True) for advice in report.advices if advice.value),
        ]
    stops = sum(item.state_before == "stop" for item in report.changes)
    left = sum(item.state_after == "stop" for item in report.changes)
    blocks: list[Block] = [
        Heading(
            f"{report.machine}: mend the machine first: {len(sure)} {'figure' if len(sure) == 1 else 'figures'} to set "
            f"right leave {left} of {len(report.changes)} characteristics out of limits instead of {stops}"
        )
    ]
    blocks += [Sentence(f"{advise_words(advice)} {_after(advice)}", mark=True) for advice in sure]
    blocks += [Sentence(f"{_doubt(advice)}.", mark=True) for advice in report.advices if _is_doubtful(advice)]
    if any(advice.handle == "feet" for advice in sure):
        blocks.append(
            Sentence(
                "The feet are those by which the uprights stand on the frame that carries bed and guides. Levelling "
                "the whole machine on its table changes no angle in it."
            )
        )
    changed = [item for item in report.changes if "stop" in (item.state_before, item.state_after)]
    if changed:
        blocks.append(outcome_table(changed, "now", "mended"))
    if report.copies:
        blocks.append(
            Sentence(
                f"Corrected copies are printed of {len(report.copies)} parts; on the mended machine they would be "
                f"wrong. Let them go then: dryfit compensate {report.machine} --undo.",
                "caution",
            )
        )
    blocks.append(Sentence(_CAUTION, "caution"))
    return blocks


def advise_words(advice: Advice) -> str:
    """What is so and what to do about it, with sides."""
    if advice.handle == "feet":
        return _feet(advice)
    if advice.handle == "gantry":
        return _gantry(advice)
    if advice.handle == "steps":
        axis = _LONG[advice.figure]
        size = "long" if advice.value > 0 else "short"
        return (
            f"{axis} prints {write_estimate(100.0 * abs(advice.value), 100.0 * advice.std)} % too {size}. See first "
            f"that its belt is tight or its screw free of play; then multiply the steps per mm of {axis} by "
            f"{write_estimate(advice.setting.value, advice.setting.std)}."
        )
    less, where = ("narrower", "too wide") if advice.value > 0 else ("wider", "too narrow")
    what = "Outlines print" if advice.figure == "boundary_offset_mm" else "The first layers print another"
    return (
        f"{what} {write_estimate(abs(advice.value), advice.std)} mm {where} on each side. Let the program that makes "
        f"the layers draw them {less} by as much; no part of the machine is to be turned for it."
    )


def _feet(advice: Advice) -> str:
    axis = _AXES[advice.figure]
    toward, away = ("+", "-") if advice.value > 0 else ("-", "+")
    size = write_estimate(abs(advice.setting.value), advice.setting.std)
    lean = write_estimate(abs(advice.value), advice.std)
    words = f"The uprights lean {lean} degrees toward {toward}{axis}. "
    if not advice.is_spacing_stated:
        return (
            f"{words}Raise their feet on the {toward}{axis} side by {size} mm for each {PER_MM:g} mm between the feet "
            f"along {axis}; state upright_feet_mm for the machine to have it worked out."
        )
    over = write_number(advice.spacing_mm)
    if advice.turns is not None:
        turned = write_estimate(abs(advice.turns.value), advice.turns.std)
        return (
            f"{words}Raise the feet on the {toward}{axis} side by {turned} turns, {size} mm over {over} mm."
        )
    return (
        f"{words}Put {size} mm under their feet on the {toward}{axis} side ({over} mm between the feet along {axis}), "
        f"or take as much from under those on the {away}{axis} side."
    )


def _gantry(advice: Advice) -> str:
    toward, end = ("+X", "-Y") if advice.value > 0 else ("-X", "+Y")
    size = write_estimate(abs(advice.setting.value), advice.setting.std)
    lean = write_estimate(abs(advice.value), advice.std)
    words = (
        f"Seen from above, Y leans {lean} degrees toward {toward}. Move the +X end of the gantry toward {end} by "
        f"{size} mm"
    )
    if not advice.is_spacing_stated:
        return (
            f"{words} for each {PER_MM:g} mm between its guides; state gantry_width_mm to have it worked out."
        )
    return f"{words}, its other end held ({write_number(advice.spacing_mm)} mm between its guides)."


def _after(advice: Advice) -> str:
    """What would remain, and what it would clear by itself."""
    unit = " %" if advice.handle == "steps" else " degrees" if advice.figure.startswith("skew") else " mm"
    factor = 100.0 if advice.handle == "steps" else 1.0
    remains = (
        f"Afterwards it is zero within {factor * advice.remaining_std:.2g}{unit} (one standard uncertainty"
    )
    if not advice.is_spacing_stated and advice.figure.startswith("skew"):
        remains += ", at best"
    words = f"{remains})."
    if advice.clears:
        words += f" That alone clears {', '.join(advice.clears)}."
    if advice.spoils:
        words += (
            f" That alone spoils {', '.join(advice.spoils)}, which two faults now keep right between them."
        )
    return words


def _is_doubtful(advice: Advice) -> bool:
    return bool(advice.value) and not advice.is_sure


def _name(advice: Advice) -> str:
    """The figure in words, with its value in the unit in which people read it."""
    words = describe_figure(advice.figure)
    if advice.handle == "steps":
        return f"{words}, {write_estimate(100 * advice.value, 100 * advice.std)} %,"
    unit = "degrees" if advice.figure.startswith("skew") else "mm"
    return f"{words}, {write_estimate(advice.value, advice.std)} {unit},"


def _doubt(advice: Advice) -> str:
    return (
        f"{_name(advice)} is less than {SURE:g} standard uncertainties "
        "from zero: leave it, or measure it better first"
    )


def trueing_plain(report: TrueingReport) -> dict[str, Any]:
    """Keys of the trueing advice in --json."""
    return {
        "machine": report.machine,
        "advices": [_advice_plain(advice) for advice in report.advices],
        "characteristics": outcomes_plain(report.changes),
        "corrected_copies": list(report.copies),
    }


def _advice_plain(advice: Advice) -> dict[str, Any]:
    unit = "-" if advice.handle == "steps" else "mm"
    return {
        "figure": advice.figure,
        "value": advice.value,
        "std": advice.std,
        "handle": advice.handle,
        "is_told_from_zero": advice.is_sure,
        "setting": advice.setting.value,
        "setting_std": advice.setting.std,
        "setting_unit": unit,
        "spacing_mm": advice.spacing_mm if advice.figure.startswith("skew") else None,
        "spacing_is_stated": advice.is_spacing_stated,
        "screw_turns": None if advice.turns is None else advice.turns.value,
        "screw_turns_std": None if advice.turns is None else advice.turns.std,
        "remaining_std": advice.remaining_std,
        "clears": list(advice.clears),
        "spoils": list(advice.spoils),
        "words": advise_words(advice),
    }
