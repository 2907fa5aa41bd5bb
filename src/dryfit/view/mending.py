"""What mending did, in rows and sentences."""

from __future__ import annotations

from typing import Any

from dryfit.app.mending import MendReport
from dryfit.model.finding import Finding, gravest
from dryfit.view.blocks import Block, Heading, Sentence, State, Table
from dryfit.view.digits import write_number
from dryfit.view.plain import finding_plain


def mend_blocks(report: MendReport) -> list[Block]:
    """Steps, how far the surface moved, and what remains."""
    state = mend_state(report)
    where = f"written to {report.mended}" if report.is_written else "nothing written, as asked"
    rows = tuple((what, str(count)) for what, count in report.steps)
    blocks: list[Block] = [
        Heading(f"{report.project}: {report.part} mended, {where}", state),
        Table(("done", "how often"), rows, frozenset({1})),
        Sentence(_moved(report)),
        Sentence(f"{report.triangles[0]} triangles before, {report.triangles[1]} after.{_volume(report)}"),
    ]
    blocks += [Sentence(f"{text}.", "caution", mark=True) for text in report.not_done]
    blocks += [_remaining(item) for item in report.remaining]
    if not report.remaining:
        blocks.append(Sentence("Nothing remains to mend.", "pass"))
    if report.is_written:
        blocks.append(
            Sentence(
                f"The original {report.original} is kept; project.toml names the mended file now, in mm."
            )
        )
    return blocks


def mend_state(report: MendReport) -> State:
    """The gravest state that remains."""
    states = [item.state for item in report.remaining]
    return gravest([*states, "caution"] if report.not_done else states)


def mend_plain(report: MendReport) -> dict[str, Any]:
    """Keys of `dryfit mend --json`."""
    return {
        "project": report.project,
        "part": report.part,
        "state": mend_state(report),
        "written": report.is_written,
        "original": report.original,
        "mended": report.mended,
        "sha256": report.sha256,
        "steps": [{"what": what, "count": count} for what, count in report.steps],
        "not_done": list(report.not_done),
        "moved_mm": report.moved_mm,
        "moved_rms_mm": report.moved_rms_mm,
        "volume_change_mm3": report.volume_change_mm3,
        "filled_mm2": report.filled_mm2,
        "triangles_before": report.triangles[0],
        "triangles_after": report.triangles[1],
        "before": [finding_plain(item) for item in report.before],
        "remaining": [finding_plain(item) for item in report.remaining],
    }


def _moved(report: MendReport) -> str:
    if report.moved_mm < 1e-9:
        return "The surface did not move."
    greatest, mean = _small(report.moved_mm), _small(report.moved_rms_mm)
    return f"The surface moved by at most {greatest} mm, {mean} mm root mean square."


def _small(value: float) -> str:
    return f"{value:.3g}" if value < 0.01 else write_number(value)


def _volume(report: MendReport) -> str:
    filled = f" Patches over holes: {write_number(report.filled_mm2)} mm2." if report.filled_mm2 else ""
    if report.volume_change_mm3 is None:
        return f"{filled} The surface was open or branched before: no volume to compare with."
    return f"{filled} Volume changed by {write_number(report.volume_change_mm3)} mm3."


def _remaining(item: Finding) -> Sentence:
    do = f" To do: {item.do}." if item.do else ""
    return Sentence(f"remains: {item.what}.{do}", item.state, mark=True)
