"""The tables of the document: plain TOML values -> rows, with every fault of shape."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any, TypeVar

from dryfit.store.explain import EXAMPLES
from dryfit.store.reading_rows import read_row
from dryfit.store.row import Finding, Row
from dryfit.store.rows_adhesive import AdhesiveRow
from dryfit.store.rows_characteristic import CharacteristicRow
from dryfit.store.rows_evidence import ObservationRow, RelationRow
from dryfit.store.rows_feature import DimensionRow, FeatureRow
from dryfit.store.rows_instrument import InstrumentRow
from dryfit.store.rows_joint import JointRow
from dryfit.store.rows_lens import LensRow
from dryfit.store.rows_machine import MachineRow, MaterialRow
from dryfit.store.rows_part import AssemblyRow, PartRow, ProjectRow, SearchRow
from dryfit.store.rows_photo import PhotoRow
from dryfit.store.words import describe_value, suggest

# In the order in which the program writes them.
TABLES = (
    *(
        "project",
        "search",
        "material",
        "machine",
        "adhesive",
        "instrument",
        "lens",
        "photo",
        "dimension",
        "observation",
        "relation",
    ),
    *("part", "joint", "characteristic", "feature", "assembly"),
)
LISTS = (
    *(
        "material",
        "machine",
        "adhesive",
        "instrument",
        "lens",
        "photo",
        "dimension",
        "observation",
        "relation",
    ),
    *("part", "joint", "characteristic", "feature"),
)

RowType = TypeVar("RowType", bound=Row)


@dataclass(slots=True)
class Tables:
    """The rows that are valid by themselves, and the findings about the others."""

    project: ProjectRow | None = None
    search: SearchRow = field(default_factory=SearchRow)
    materials: list[MaterialRow] = field(default_factory=list)
    machines: list[MachineRow] = field(default_factory=list)
    adhesives: list[AdhesiveRow] = field(default_factory=list)
    instruments: list[InstrumentRow] = field(default_factory=list)
    lenses: list[LensRow] = field(default_factory=list)
    photos: list[PhotoRow] = field(default_factory=list)
    dimensions: list[DimensionRow] = field(default_factory=list)
    observations: list[ObservationRow] = field(default_factory=list)
    relations: list[RelationRow] = field(default_factory=list)
    parts: list[PartRow] = field(default_factory=list)
    joints: list[JointRow] = field(default_factory=list)
    characteristics: list[CharacteristicRow] = field(default_factory=list)
    features: list[FeatureRow] = field(default_factory=list)
    assembly: AssemblyRow = field(default_factory=AssemblyRow)
    findings: list[Finding] = field(default_factory=list)


def read_tables(raw: dict[str, Any]) -> Tables:
    """All tables of a document of the newest schema."""
    tables = Tables()
    found = tables.findings
    found.extend(_find_unknown(raw))
    tables.project = _read_one(raw, "project", ProjectRow, found)
    if "project" not in raw:
        do = f"add [project] with {EXAMPLES['name']} and {EXAMPLES['scale']}"
        found.append(Finding(("project",), "the table [project] is missing", do))
    tables.search = _read_one(raw, "search", SearchRow, found) or tables.search
    tables.materials = _read_many(raw, "material", MaterialRow, found)
    tables.machines = _read_many(raw, "machine", MachineRow, found)
    tables.adhesives = _read_many(raw, "adhesive", AdhesiveRow, found)
    tables.instruments = _read_many(raw, "instrument", InstrumentRow, found)
    tables.lenses = _read_many(raw, "lens", LensRow, found)
    tables.photos = _read_many(raw, "photo", PhotoRow, found)
    tables.dimensions = _read_many(raw, "dimension", DimensionRow, found)
    tables.observations = _read_many(raw, "observation", ObservationRow, found)
    tables.relations = _read_many(raw, "relation", RelationRow, found)
    tables.parts = _read_many(raw, "part", PartRow, found)
    tables.joints = _read_many(raw, "joint", JointRow, found)
    tables.characteristics = _read_many(raw, "characteristic", CharacteristicRow, found)
    tables.features = _read_many(raw, "feature", FeatureRow, found)
    tables.assembly = _read_one(raw, "assembly", AssemblyRow, found) or tables.assembly
    return tables


def list_rows(raw: dict[str, Any], name: str) -> Iterator[tuple[int, dict[str, Any]]]:
    """Index and plain values of each row of a list of tables, whatever else is wrong with them."""
    rows = raw.get(name)
    for index, row in enumerate(rows if isinstance(rows, list) else []):
        if isinstance(row, dict):
            yield index, row


def _find_unknown(raw: dict[str, Any]) -> Iterator[Finding]:
    for key in raw:
        if key not in TABLES and key != "schema":
            noun = "table" if isinstance(raw[key], dict | list) else "key"
            yield Finding((key,), f'the {noun} "{key}" is unknown', suggest(key, TABLES, "tables"))


def _read_one(raw: dict[str, Any], name: str, kind: type[RowType], found: list[Finding]) -> RowType | None:
    if name not in raw:
        return None
    if not isinstance(raw[name], dict):
        what = f"a table is expected here, not {describe_value(raw[name])}"
        found.append(Finding((name,), what, f"write it once, as [{name}]"))
        return None
    return read_row(raw[name], (name,), kind, found)


def _read_many(raw: dict[str, Any], name: str, kind: type[RowType], found: list[Finding]) -> list[RowType]:
    if not isinstance(raw.get(name, []), list):
        what = f"a list of tables is expected here, not {describe_value(raw[name])}"
        found.append(Finding((name,), what, f"write [[{name}]] with two brackets"))
        return []
    rows = []
    for index, values in enumerate(raw.get(name, [])):
        row = read_row(values, (name, index), kind, found)
        if row is not None:
            rows.append(row)
    return rows
