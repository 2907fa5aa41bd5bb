"""Put deliberate faults into a copy of the sources and see whether the tests notice.

Usage: python tools/mutants.py [--share N] [WORD ...]. Each fault of tools/mutants/*.toml replaces one text in one
file of a copy of src/; the tests named beside it must then fail. With words, only the faults whose function or
file contains one of them are tried, and public functions without a fault are not listed. With --share N every
N-th fault is tried, beginning with another one at each commit. Exit 1 where a fault goes unnoticed, where its
text is not found exactly once, or where a public function of calc/ has no fault.
"""

from __future__ import annotations

import ast
import os
import shutil
import subprocess
import sys
import tempfile
import time
import tomllib
from collections.abc import Iterable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from queue import SimpleQueue

ROOT = Path(__file__).resolve().parent.parent
CALC = ROOT / "src" / "dryfit" / "calc"
PROCESSES = 2
TIMEOUT_S = 120.0


@dataclass(frozen=True, slots=True)
class Mutant:
    """function: package.name under calc/ that the fault lies in or serves; tests: what must turn red."""

    function: str
    file: str
    text: str
    replacement: str
    tests: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Outcome:
    """verdict: "noticed", or what went wrong."""

    mutant: Mutant
    verdict: str
    seconds: float


def read_mutants() -> list[Mutant]:
    files = sorted((ROOT / "tools" / "mutants").glob("*.toml"))
    rows = [row for file in files for row in tomllib.loads(file.read_text(encoding="utf-8"))["mutant"]]
    return [Mutant(**{**row, "tests": tuple(row["tests"])}) for row in rows]


def public_functions() -> list[str]:
    """package.function of every function that a package of calc/ exports."""
    found = []
    for package in sorted(path for path in CALC.iterdir() if (path / "__init__.py").exists()):
        exported = _exported(package / "__init__.py")
        defined = {
            node.name
            for module in package.rglob("*.py")
            for node in ast.parse(module.read_text(encoding="utf-8")).body
            if isinstance(node, ast.FunctionDef)
        }
        found += [f"{package.name}.{name}" for name in exported if name in defined]
    return found


def _exported(init: Path) -> list[str]:
    for node in ast.parse(init.read_text(encoding="utf-8")).body:
        if isinstance(node, ast.Assign) and any(getattr(t, "id", "") == "__all__" for t in node.targets):
            return [str(name) for name in ast.literal_eval(node.value)]
    raise SystemExit(f"{init}: no __all__")


def environment_for(copy: Path) -> dict[str, str]:
    return {**os.environ, "PYTHONPATH": str(copy), "PYTHONDONTWRITEBYTECODE": "1"}


def check_import(copy: Path) -> None:
    """The tests must import the copy, not the installed package."""
    command = [sys.executable, "-c", "import dryfit; print(dryfit.__file__)"]
    done = subprocess.run(
        command, cwd=ROOT, env=environment_for(copy), capture_output=True, encoding="utf-8", check=True
    )
    if not Path(done.stdout.strip()).is_relative_to(copy):
        raise SystemExit(f"the tests would import {done.stdout.strip()}, not the copy")


def run_tests(copy: Path, tests: Sequence[str]) -> subprocess.CompletedProcess[str]:
    command = [sys.executable, "-m", "pytest", *tests, "-x", "-q", "-p", "no:cacheprovider", "-p", "no:xdist"]
    return subprocess.run(
        command,
        cwd=ROOT,
        env=environment_for(copy),
        capture_output=True,
        encoding="utf-8",
        timeout=TIMEOUT_S,
        check=False,
    )


def try_mutant(mutant: Mutant, copy: Path) -> Outcome:
    start = time.monotonic()
    target = copy / mutant.file.removeprefix("src/")
    original = target.read_text(encoding="utf-8") if target.exists() else ""
    count = original.count(mutant.text)
    if count != 1:
        return Outcome(mutant, f"text found {count} times", 0.0)
    target.write_text(original.replace(mutant.text, mutant.replacement), encoding="utf-8")
    try:
        code = run_tests(copy, mutant.tests).returncode
        # 1: tests ran and some failed. Anything else (no such test, broken import) proves nothing.
        verdict = {0: "NOT NOTICED", 1: "noticed"}.get(code, f"pytest exit {code}")
    except subprocess.TimeoutExpired:
        verdict = "noticed (does not end)"
    finally:
        target.write_text(original, encoding="utf-8")
    return Outcome(mutant, verdict, time.monotonic() - start)


def try_all(mutants: Sequence[Mutant], folder: Path) -> list[Outcome]:
    copies: SimpleQueue[Path] = SimpleQueue()
    for number in range(PROCESSES):
        copy = folder / str(number)
        shutil.copytree(ROOT / "src", copy, ignore=shutil.ignore_patterns("__pycache__", "*.pyc"))
        check_import(copy)
        copies.put(copy)

    def attempt(mutant: Mutant) -> Outcome:
        copy = copies.get()
        try:
            return try_mutant(mutant, copy)
        finally:
            copies.put(copy)

    with ThreadPoolExecutor(PROCESSES) as pool:
        return list(pool.map(attempt, mutants))


def unbroken_tests_pass(mutants: Iterable[Mutant], folder: Path) -> bool:
    """A test that fails anyway notices every fault: all named tests must pass on the unchanged copy."""
    copy = folder / "unchanged"
    shutil.copytree(ROOT / "src", copy, ignore=shutil.ignore_patterns("__pycache__", "*.pyc"))
    tests = sorted({test for mutant in mutants for test in mutant.tests})
    done = run_tests(copy, tests)
    if done.returncode != 0:
        print(done.stdout[-3000:])
        print("the named tests do not all pass on the unchanged sources")
    return done.returncode == 0


def turn_of_this_commit(parts: int) -> int:
    """Which part of the faults is tried: each commit takes the next, so that all come round."""
    count = subprocess.run(
        ["git", "rev-list", "--count", "HEAD"], cwd=ROOT, capture_output=True, encoding="utf-8", check=False
    )
    return int(count.stdout) % parts if count.returncode == 0 else 0


def main(words: Sequence[str]) -> int:
    every = read_mutants()
    share = int(words[1]) if words[:1] == ["--share"] else 0
    words = words[2:] if share else words
    chosen = [m for m in every if not words or any(word in m.function or word in m.file for word in words)]
    if share:
        chosen = chosen[turn_of_this_commit(share) :: share]
    with tempfile.TemporaryDirectory() as folder:
        # With a share of the faults the whole test suite runs as well, and says so where a test fails anyway.
        if not share and not unbroken_tests_pass(chosen, Path(folder)):
            return 1
        outcomes = try_all(chosen, Path(folder))
    for outcome in outcomes:
        change = " ".join(outcome.mutant.text.split())[:60]
        print(f"{outcome.verdict:24} {outcome.seconds:5.1f} s  {outcome.mutant.function:34} {change}")
    survived = [outcome for outcome in outcomes if not outcome.verdict.startswith("noticed")]
    covered = {mutant.function for mutant in every}
    missing = [] if words else [name for name in public_functions() if name not in covered]
    for name in missing:
        print(f"no fault is tried in {name}: add one to tools/mutants/")
    listed = "" if words else f"; {len(missing)} public functions without one"
    print(f"{len(outcomes)} faults, {len(survived)} unnoticed{listed}")
    return 1 if survived or missing else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
