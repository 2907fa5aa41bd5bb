"""The forecast in rows and sentences."""

from __future__ import annotations

import math

from dryfit.app.hold_lines import fit_state
from dryfit.model.finding import gravest
from dryfit.model.forecast import (
    AsBuiltBasis,
    CharacteristicForecast,
    ForecastReport,
    LearntFigure,
    OffOfItself,
    SuspectPart,
    SuspectReading,
)
from dryfit.view.blocks import Block, Heading, Sentence, State, Table
from dryfit.view.digits import write_estimate, write_limits, write_number, write_probability, write_signed
from dryfit.view.sources import describe_source

_MAIN_CAUSES = 3
_OFF_KNOWN_MM = 0.1  # to which a departure of a whole part is shown
_WORTH_TELLING = (
    0.95  # share of its standard uncertainty that readings leave a figure, from which on it is told
)
state_of = fit_state  # both faces and the hold point go by one rule


def forecast_state(report: ForecastReport) -> State:
    """The gravest state of a forecast; without characteristics nothing was checked."""
    states = (state_of(item, report.risk) for item in report.characteristics)
    return gravest(states, "not checked")


def forecast_blocks(report: ForecastReport, brief: bool = False) -> list[Block]:
    """Heading, table of characteristics, a sentence for each that is not clear, free motions, assumptions.

    brief : only what is not clear or was not before readings, without assumptions; what holds is counted
    """
    if brief:
        return _brief_blocks(report)
    blocks: list[Block] = [Heading(f"{report.project}: {_verdict(report)}", forecast_state(report))]
    if report.what_if:
        blocks.append(Sentence(f"What if: {', '.join(report.what_if)}"))
    if report.characteristics:
        blocks.append(_table(report.characteristics, report.risk, report.prior))
    blocks += basis_blocks(report.basis)
    for item in report.characteristics:
        blocks += _sentences(item, report.risk)
    if not report.characteristics:
        blocks.append(Sentence("No characteristic is stated: add [[characteristic]] rows with limits."))
    blocks += _free(report)
    blocks += [Sentence(text, mark=True) for text in _assumptions(report)]
    return blocks


def _brief_blocks(report: ForecastReport) -> list[Block]:
    blocks: list[Block] = [Heading(f"{report.project}: {_verdict(report)}", forecast_state(report))]
    if report.what_if:
        blocks.append(Sentence(f"What if: {', '.join(report.what_if)}"))
    unclear = tuple(item for item in report.characteristics if state_of(item, report.risk) != "pass")
    clear = [item for item in report.characteristics if state_of(item, report.risk) == "pass"]
    # What readings have cleared is news as well.
    news = {item.id for item in (*unclear, *report.prior) if state_of(item, report.risk) != "pass"}
    shown = tuple(item for item in report.characteristics if item.id in news)
    if shown:
        blocks.append(_table(shown, report.risk, report.prior))
    blocks += basis_blocks(report.basis)
    if clear:
        nearest = max(clear, key=lambda item: item.p_out or 0.0)
        held = "it holds" if len(clear) == 1 else f"{len(clear)} hold"
        blocks.append(
            Sentence(
                f"{held}; nearest to a limit is {nearest.id}: {write_probability(nearest.p_out)}.", "pass"
            )
        )
    free = [item.part for item in report.placing if item.free_motions]
    if free:
        loose = "1 part is" if len(free) == 1 else f"{len(free)} parts are"
        blocks.append(Sentence(f"{loose} under-located: {', '.join(free)}.", "caution"))
    worst = max(unclear, key=_departure, default=None)
    if worst is not None:
        blocks += _sentences(worst, report.risk)
    count = len(report.assumptions)
    noun = "1 assumption" if count == 1 else f"{count} assumptions"
    blocks.append(Sentence(f"{noun}: dryfit forecast without --brief lists what was taken."))
    return blocks


def basis_blocks(basis: AsBuiltBasis | None) -> list[Block]:
    """On which readings of which parts a forecast rests, what they taught, and what is wrong with them."""
    if basis is None:
        return []
    blocks: list[Block] = []
    if basis.count:
        noun = "1 reading" if basis.count == 1 else f"{basis.count} readings"
        listed = ", ".join(f"{part} {count}" for part, count in basis.readings)
        earlier = f"; {basis.earlier} of earlier prints" if basis.earlier else ""
        blocks.append(Sentence(f"It rests on {noun} of printed parts: {listed or 'none as built'}{earlier}."))
    unread = [part for part in basis.printed if part not in dict(basis.readings)]
    if unread:
        blocks.append(Sentence(f"Printed and not read: {', '.join(unread)}."))
    if basis.left_out:
        noun = "1 reading is" if basis.left_out == 1 else f"{basis.left_out} readings are"
        blocks.append(Sentence(f"{noun} left out, as decided."))
    blocks += [own_shape_sentence(item) for item in basis.of_themselves]
    blocks += [suspect_part_sentence(item) for item in basis.suspect_parts]
    blocks += [suspect_sentence(item, basis.limit) for item in basis.suspects]
    blocks += [Sentence(f"{text}.", "caution", mark=True) for text in basis.cautions]
    told = [item for item in sorted(basis.figures, key=_tightened) if _tightened(item) < _WORTH_TELLING]
    for item in told[:_MAIN_CAUSES]:
        was, now = write_estimate(item.before, item.before_std), write_estimate(item.after, item.after_std)
        blocks.append(
            Sentence(f"The readings tell of the {describe_source(item.name)}: {was} before, {now} now.")
        )
    return blocks


def own_shape_sentence(item: OffOfItself) -> Sentence:
    """A print that was decided to be off for a reason of its own."""
    return Sentence(
        f"{item.part} is taken as off for a reason of its own, by about {write_number(item.std_mm)} mm: {item.because} "
        f"(record {item.record})."
    )


def suspect_part_sentence(item: SuspectPart) -> Sentence:
    """A print whose readings together contradict all others, and what can be done."""
    count = "reading" if item.count == 1 else f"{item.count} readings together"
    return Sentence(
        f"The {count} of {item.part} contradict{'s' if item.count == 1 else ''} those of the other parts, by up to "
        f"{write_signed(item.off_mm, _OFF_KNOWN_MM)} mm (chi-square {write_number(item.chi_square, 1)}, chance "
        f"{write_probability(item.chance)}), and what is believed of its machine is drawn toward them. Where the part "
        f"is off for a reason of its own, say so: dryfit read {item.part} --own-shape {own_shape_of(item)} "
        "--because TEXT.",
        "caution",
        mark=True,
    )


def own_shape_of(item: SuspectPart) -> str:
    """By about how much it seems to be off [mm]: the largest departure, rounded up to one digit."""
    size = abs(item.off_mm)
    step = 10.0 ** math.floor(math.log10(size))
    return f"{math.ceil(size / step) * step:g}"


def suspect_sentence(item: SuspectReading, limit: float) -> Sentence:
    """A reading that the others contradict, and what can be done."""
    records = ", ".join(str(record) for record in item.records)
    noun = "record" if len(item.records) == 1 else "records"
    text = (
        f"A reading of {item.part} contradicts the others: {write_number(item.value_mm)} mm ({noun} {records}) is off "
        f"by {write_signed(item.off_mm, item.off_std_mm)} mm, {abs(item.normalised):.1f} standard uncertainties; "
        f"from {limit:.1f} on it is suspect ({item.words}). "
    )
    if item.is_confirmed:
        return Sentence(f"{text}The reader confirmed it.", "caution", mark=True)
    do = (
        f"Read it again (dryfit read {item.part} --correct {item.records[0]} --value MM), or leave it out "
        f"(--leave-out {item.records[0]} --because TEXT)."
    )
    return Sentence(f"{text}{do}", "caution", mark=True)


def _tightened(item: LearntFigure) -> float:
    return item.after_std / item.before_std if item.before_std > 0 else 1.0


def _departure(item: CharacteristicForecast) -> float:
    """How far the predicted value lies from the middle of its limits, in half bands; 0 where one is missing."""
    if item.lower_limit is None or item.upper_limit is None:
        return 0.0
    middle = 0.5 * (item.lower_limit + item.upper_limit)
    return abs(item.predicted - middle) / (0.5 * (item.upper_limit - item.lower_limit))


def _verdict(report: ForecastReport) -> str:
    count = len(report.characteristics)
    states = [state_of(item, report.risk) for item in report.characteristics]
    out, unknown = states.count("stop"), states.count("not checked")
    if not count:
        return "nothing to forecast"
    if not out and not unknown:
        return f"all {count} characteristics hold at a risk of {write_number(100 * report.risk)} % each"
    pieces = []
    if out:
        failing = [
            item for item, state in zip(report.characteristics, states, strict=True) if state == "stop"
        ]
        will = "will" if all(_is_likely_out(item) for item in failing) else "may"
        pieces.append(f"{out} of {count} characteristics {will} be out of limits")
    if unknown:
        pieces.append(f"{unknown} of {count} are undetermined")
    return ", ".join(pieces)


def _is_likely_out(item: CharacteristicForecast) -> bool:
    return item.p_out is not None and item.p_out > 0.5


def _table(
    items: tuple[CharacteristicForecast, ...], risk: float, prior: tuple[CharacteristicForecast, ...] = ()
) -> Table:
    """One row each; where parts were read, with what was expected before."""
    before = {item.id: item for item in prior}
    rows = []
    for item in items:
        then = _before(before[item.id]) if prior else ()
        rows.append(
            (
                item.id,
                f"{write_estimate(item.predicted, item.std)} {item.unit}",
                *then,
                write_limits(item.lower_limit, item.upper_limit),
                write_probability(item.p_out),
                "; ".join(main_causes(item)),
            )
        )
    states = tuple(state_of(item, risk) for item in items)
    then = ("before readings", "outside then") if prior else ()
    heads = ("characteristic", "predicted (std)", *then, "limits", "outside", "largest causes")
    return Table(heads, tuple(rows), frozenset(range(1, len(heads) - 1)), states)


def _before(item: CharacteristicForecast) -> tuple[str, str]:
    return write_estimate(item.predicted, item.std), write_probability(item.p_out)


def main_causes(item: CharacteristicForecast, most: int = _MAIN_CAUSES) -> list[str]:
    """The largest causes in words: by how much each moves the value, or its share of the variance."""
    words = []
    for cause in item.contributions[:most]:
        if abs(cause.mean_shift) > 0.5 * item.std or (item.std == 0 and cause.mean_shift):
            words.append(f"{cause.source} {write_signed(cause.mean_shift, item.std)}")
        elif cause.variance_share >= 0.05:
            words.append(f"{cause.source} {100 * cause.variance_share:.0f} % of variance")
    return words


def _sentences(item: CharacteristicForecast, risk: float) -> list[Block]:
    """What is wrong with a characteristic, and whether first order can be trusted with it."""
    said: list[Block] = []
    if item.p_out is None:
        parts = ", ".join(item.free_parts)
        text = (
            f"{item.id} is undetermined: nothing holds {parts} in every direction. State locators, another "
            "contact, or how well the part is set by hand (locator_play_mm)."
        )
        said.append(Sentence(text, "not checked"))
    elif item.p_out > risk:
        said.append(Sentence(_fails(item), "stop"))
    if item.is_linear_doubtful:
        text = (
            f"{item.id}: first order misses the exact value by {abs(item.linear_minus_exact):.2g} {item.unit}, "
            "more than a tenth of its limits; its spread is doubtful."
        )
        said.append(Sentence(text, "caution"))
    return said


def _fails(item: CharacteristicForecast) -> str:
    limits = write_limits(item.lower_limit, item.upper_limit)
    will = "will" if _is_likely_out(item) else "may"
    text = (
        f"{item.id} {will} not hold: {write_estimate(item.predicted, item.std)} {item.unit} against {limits}."
    )
    if not item.contributions:
        return f"{text} The model itself is out of limits."
    cause = item.contributions[0]
    moved = item.predicted - item.nominal
    if abs(moved) > item.std and cause.mean_shift * moved > 0:
        share = cause.mean_shift / moved
        if share <= 1.005:
            return f"{text} {100 * share:.0f} % of the shift is the {describe_source(cause.source)}."
        alone = f"{write_signed(cause.mean_shift, item.std)} {item.unit}"
        return f"{text} The {describe_source(cause.source)} alone moves it by {alone}; others take some back."
    widest = max(item.contributions, key=lambda entry: entry.variance_share)
    if widest.variance_share > 0:
        share_text = f"{100 * widest.variance_share:.0f} % of its variance"
        return f"{text} It spreads too far: {share_text} is the {describe_source(widest.source)}."
    return text


def _free(report: ForecastReport) -> list[Block]:
    return [
        Sentence(f"{item.part} is under-located: it {'; '.join(item.free_motions)}.", "caution")
        for item in report.placing
        if item.free_motions
    ]


def _assumptions(report: ForecastReport) -> list[str]:
    return [f"assumed: {text}" for text in report.assumptions]


def is_clear(report: ForecastReport) -> bool:
    """Whether nothing is out of limits or undetermined."""
    return forecast_state(report) in ("pass", "caution")
