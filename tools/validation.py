"""Write docs/validation.md from the comparisons that tests/published makes.

Usage: python tools/validation.py [--check]. With --check nothing is written; exit 1 where the file is out of
date. Numbers are printed to few enough digits that the table is the same on every machine.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
import tempfile
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parent.parent
TARGET = ROOT / "docs" / "validation.md"

HEAD = """# Validation

Every figure below comes from outside the program: a published standard, a closed form, a general-purpose library
or a computation made apart from it. The tests in `tests/published/` compare it with what the program computes and
fail where the difference exceeds the tolerance. This page is written from their results by `make validation`.

*Seen* means that the source's text, or the library's own output, was read. *Not seen* means that the source is
named from memory, or that the closed form or the separate computation is described beside the test; the figure was
recomputed and reproduces.

Where a source prints a rounded figure, the tolerance is about half a unit of its last digit. A tolerance of a
Monte Carlo comparison is four standard errors of the draws.
"""


def collect() -> list[dict[str, Any]]:
    """Run the published tests and gather their rows. Exits where a test fails."""
    with tempfile.TemporaryDirectory() as folder:
        lines = Path(folder) / "rows.jsonl"
        environment = {**os.environ, "DRYFIT_VALIDATION": str(lines)}
        command = [
            sys.executable,
            "-m",
            "pytest",
            "tests/published",
            "-q",
            "-p",
            "no:cacheprovider",
            "-p",
            "no:xdist",
        ]
        done = subprocess.run(
            command, cwd=ROOT, env=environment, check=False, capture_output=True, encoding="utf-8"
        )
        if done.returncode != 0:
            sys.exit(f"{done.stdout}\nthe published tests do not pass: nothing written")
        return [json.loads(line) for line in lines.read_text(encoding="utf-8").splitlines()]


def unrepeated(rows: Iterable[Mapping[str, Any]]) -> list[Mapping[str, Any]]:
    """Rows in order of source and quantity; one row per quantity: the first."""
    kept: dict[tuple[str, str], Mapping[str, Any]] = {}
    for row in rows:
        kept.setdefault((row["source"], row["quantity"]), row)
    return [kept[key] for key in sorted(kept)]


def number(value: float) -> str:
    """Seven significant digits; what is zero to within rounding is written 0."""
    return "0" if abs(value) < 1e-12 else f"{value:.7g}"


def rounding(row: Mapping[str, Any]) -> float:
    """Below this a difference is rounding, which is not the same on every machine."""
    return max(1e-9 * abs(row["theirs"]), 1e-9, 0.2 * row["tolerance"] if row["theirs"] == 0 else 0.0)


def difference(row: Mapping[str, Any]) -> str:
    """Ours less theirs, or the bound under which it lies."""
    apart = row["ours"] - row["theirs"]
    return f"< {rounding(row):.0e}" if abs(apart) < rounding(row) else f"{apart:+.2g}"


def table(rows: Iterable[Mapping[str, Any]]) -> str:
    lines = [HEAD]
    source = None
    for row in rows:
        if row["source"] != source:
            source = row["source"]
            known = "seen" if row["seen"] else "not seen"
            lines.append(f"\n## {source} ({known})\n")
            lines.append("| quantity | unit | theirs | ours | difference | tolerance |")
            lines.append("| --- | --- | ---: | ---: | ---: | ---: |")
        ours = row["theirs"] if abs(row["ours"] - row["theirs"]) < rounding(row) else row["ours"]
        cells = (
            row["quantity"],
            row["unit"] or "-",
            number(row["theirs"]),
            number(ours),
            difference(row),
            f"{row['tolerance']:.2g}",
        )
        lines.append("| " + " | ".join(cell.replace("|", "\\|") for cell in cells) + " |")
    return "\n".join(lines) + "\n"


def main() -> int:
    text = table(unrepeated(collect()))
    if "--check" in sys.argv[1:]:
        if not TARGET.exists() or TARGET.read_text(encoding="utf-8") != text:
            print("docs/validation.md is out of date: run `make validation`")
            return 1
        return 0
    TARGET.parent.mkdir(exist_ok=True)
    TARGET.write_text(text, encoding="utf-8")
    print(
        f"docs/validation.md: {text.count('## ')} sources, {text.count(chr(10) + '| ') - 2 * text.count('## ')} rows"
    )
    return 0


if __name__ == "__main__":
    sys.exit(main())
