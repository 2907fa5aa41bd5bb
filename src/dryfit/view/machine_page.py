"""A machine in words: how it is known, what comes next, and what its readings say."""

from __future__ import annotations

from dryfit.app.machine_page import MachineFacts
from dryfit.app.qualify_report import QualifyReport
from dryfit.calc.charts import Moved
from dryfit.model.finding import State
from dryfit.view.blocks import Block, Heading, Sentence, Table
from dryfit.view.digits import write_estimate, write_number, write_probability, write_vector
from dryfit.view.qualify import figure_table, qualify_state


def machine_state(facts: MachineFacts) -> State:
    """Not checked until its figures are known; caution where some were stated without uncertainty or left out."""
    model = facts.machine.error
    if model.knowledge == "prior":
        return "not checked"
    return "caution" if model.unstated or model.exact else "pass"


def machine_heading(facts: MachineFacts) -> Heading:
    """How the machine is known, in one line."""
    id, knowledge = facts.machine.id, facts.machine.error.knowledge
    if knowledge == "estimated" and facts.last is not None:
        q = facts.last
        words = f"{id}: qualified on {q.at[:10]} from {len(q.readings)} readings (ledger record {q.record})"
    elif knowledge == "stated":
        words = f"{id}: its figures are stated in the document"
    else:
        words = f"{id}: never qualified; the forecast counts with what an unknown machine may be off by"
    return Heading(words, machine_state(facts))


def machine_blocks(facts: MachineFacts) -> list[Block]:
    """What it is and where its figures come from."""
    machine = facts.machine
    model = machine.error
    rows = [("build volume", f"{write_vector(machine.build_volume_mm, 0)} mm")]
    rows.append(("figures", _whence(facts)))
    if facts.last is not None and model.knowledge == "estimated":
        rows.append(("artefact's material", facts.last.material))
        rows.append(("scatter of a printed point", _scatter(facts)))
    elif facts.artefact is not None:
        rows.append(("artefact's material", facts.artefact.artefact.material))
    if model.knowledge == "stated":
        rows.append(("scatter of a printed point", f"{write_number(model.repeatability_mm)} mm, stated"))
    rows += _handles(facts)
    blocks: list[Block] = [Table(("", ""), tuple(rows))]
    if model.unstated:
        blocks.append(
            Sentence(
                f"Left out in the document and taken as exactly 0: {', '.join(model.unstated)}.",
                "caution",
                mark=True,
            )
        )
    if model.exact:
        blocks.append(
            Sentence(
                f"Stated without uncertainty, and so taken for perfectly known: {', '.join(model.exact)}.",
                "caution",
                mark=True,
            )
        )
    if model.knowledge == "stated" and facts.last is not None:
        blocks.append(
            Sentence(
                f"The qualification of {facts.last.at[:10]} (ledger record {facts.last.record}) is not used: take "
                "[machine.error] out of the document to use it.",
                "caution",
                mark=True,
            )
        )
    return blocks


def _whence(facts: MachineFacts) -> str:
    knowledge = facts.machine.error.knowledge
    if knowledge == "estimated" and facts.last is not None:
        q = facts.last
        return f"estimated from {len(q.readings)} readings on {q.at[:10]}, ledger record {q.record}"
    if knowledge == "stated":
        return "stated in the document"
    return "never qualified: square within 0.3 degrees, to scale within 0.3 % (common practice, no source)"


def _scatter(facts: MachineFacts) -> str:
    q = facts.last
    if q is None:
        return ""
    if q.repeatability_mm <= 0.0:
        return f"below what the readings can show ({write_number(q.repeatability_std_mm)} mm)"
    return f"{write_estimate(q.repeatability_mm, q.repeatability_std_mm)} mm"


def _handles(facts: MachineFacts) -> list[tuple[str, str]]:
    """What the document states of feet and gantry, by which the machine is set right."""
    machine = facts.machine
    rows = []
    if machine.upright_feet_mm is not None:
        along_x, along_y = (write_number(value) for value in machine.upright_feet_mm)
        rows.append(("feet of the uprights", f"{along_x} mm apart along X, {along_y} mm along Y"))
    if machine.gantry_width_mm is not None:
        rows.append(("guides of the gantry", f"{write_number(machine.gantry_width_mm)} mm apart"))
    return rows


def figure_blocks(facts: MachineFacts) -> list[Block]:
    """The figures that the forecast counts with."""
    return [figure_table(facts.figures)]


def next_words(facts: MachineFacts) -> Sentence:
    """What comes next on the way to a known machine."""
    id = facts.machine.id
    if facts.artefact is None:
        return Sentence(
            f"There is no test artefact for {id} yet. Next: design one in a terminal, dryfit artefact {id}; print it, "
            "then take its readings on the bench.",
            "not checked",
        )
    if not facts.read:
        return Sentence(
            f"The artefact of {facts.artefact.at[:10]} (ledger record {facts.artefact.record}) is designed and not "
            f"read yet. Next: print it, then take its {facts.planned} readings on the bench.",
            "not checked",
        )
    taken = f"{facts.read} of {facts.planned} readings of the artefact are taken"
    if facts.last is None:
        return Sentence(f"{taken}; no qualification rests on them yet.", "not checked")
    if facts.fresh:
        noun = "1 of them came" if facts.fresh == 1 else f"{facts.fresh} of them came"
        return Sentence(f"{taken}; {noun} after the last qualification.", "caution")
    return Sentence(f"{taken}; the last qualification rests on them.", "pass")


def look_heading(report: QualifyReport) -> Heading:
    """What the readings say as they stand now."""
    count = len(report.readings)
    if report.suspects:
        noun = "a measure is" if len(report.suspects) == 1 else f"{len(report.suspects)} measures are"
        end = "kept in, knowingly" if report.is_kept else "and nothing is recorded until it is decided"
        return Heading(f"{count} readings; {noun} suspect, {end}", qualify_state(report))
    return Heading(f"{count} readings agree with one set of figures", qualify_state(report))


def look_blocks(report: QualifyReport) -> list[Block]:
    """Global test, what was left out, and whether the machine has moved."""
    # With a suspect that is not decided neither test says anything of the machine.
    if report.suspects and not report.is_kept:
        return []
    blocks: list[Block] = []
    if report.p_value is not None:
        chance = write_probability(report.p_value)
        expected = f"{write_number(report.scatter_expected_mm)} mm ({report.scatter_from})"
        state: State = "caution" if report.p_value < 0.05 else "pass"
        verdict = "more than expected" if report.p_value < 0.05 else "as expected"
        blocks.append(
            Sentence(
                f"They scatter {verdict}: printed points within {expected}, chance {chance}.",
                state,
                mark=True,
            )
        )
    blocks += [
        Sentence(
            f"Left out: record {item.record} ({item.measure}, {write_number(item.value_mm)} mm): {item.because}.",
            mark=True,
        )
        for item in report.left_out
    ]
    return blocks if report.moved is None else [*blocks, _moved(report.moved)]


def _moved(moved: Moved) -> Sentence:
    chance = write_probability(moved.p_value)
    if moved.has_moved:
        words = (
            f"The machine has moved since the print before (chance of such a difference otherwise {chance})."
        )
        return Sentence(words, "caution", mark=True)
    return Sentence(
        f"No sign that the machine has moved since the print before (chance {chance}).", "pass", mark=True
    )


def recorded_words(report: QualifyReport) -> Sentence:
    """What the button did."""
    if report.is_recorded:
        return Sentence(f"Qualified: ledger record {report.qualification.record}.", "pass")
    return Sentence(f"Nothing was recorded: {report.why_not}.", "stop")
