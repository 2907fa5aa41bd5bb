"""An observation in a form: its fields, and how what is typed is understood."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

from dryfit.app.observation_form import ObservationEdit
from dryfit.app.schedule_problem import write_terms
from dryfit.view.digits import write_estimate

# How well a value is known, and the fields that say so.
KNOWN_BY: Mapping[str, tuple[str, tuple[str, ...]]] = MappingProxyType(
    {
        "std": ("a standard uncertainty", ("std",)),
        "within": ("within so much of it", ("within", "distribution")),
        "limits": ("two limits", ("low", "high", "distribution")),
        "exact": ("exact", ()),
    }
)
DISTRIBUTIONS: Mapping[str, str] = MappingProxyType(
    {
        "uniform": "anywhere between",
        "triangular": "rather in the middle",
        "normal": "normal, these at 95 %",
    }
)
GIVEN_AT: Mapping[str, str] = MappingProxyType({"prototype": "prototype", "model": "model"})


def cells_of(typed: Mapping[str, str]) -> dict[str, str]:
    """The cells that a form means: those of the chosen way of knowing, and none that only repeat what is usual."""
    known = typed.get("known", "std")
    used = {"id", "of", "over", "value", "unit", "given_at", "source", "date", "reliability"}
    used |= set(KNOWN_BY[known][1])
    if known == "limits":
        used.discard("value")
    cells = {key: text for key, text in typed.items() if key in used and text.strip()}
    if known == "exact":
        cells["std"] = "0"
    elif known != "std":
        cells.setdefault("distribution", next(iter(DISTRIBUTIONS)))
    if cells.get("given_at") == "prototype":
        del cells["given_at"]
    return cells


def known_by(cells: Mapping[str, str]) -> str:
    """The way of knowing of an observation as the document has it."""
    if "low" in cells:
        return "limits"
    if "within" in cells:
        return "within"
    return "exact" if cells.get("std") == "0" else "std"


def reads_words(edit: ObservationEdit) -> str:
    """How an observation is understood, in mm whatever it was typed in."""
    reads = edit.reads
    value = write_estimate(reads.value.value, reads.value.std)
    of = write_terms(reads.terms)
    if reads.over:
        return f"Understood as {of} / {reads.over} = {value}."
    new = f" It adds the dimension {', '.join(edit.dimensions)}." if edit.dimensions else ""
    return f"Understood as {of} = {value} mm at the size of the {reads.given_at}.{new}"
