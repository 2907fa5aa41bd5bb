"""Run the commands that README.md and docs/ show, and put what they print below them.

Usage: python tools/readme.py [--check | --tests] [PAGE ...]. Without an option the pages are rewritten. With
--check nothing is written: exit 1 where a page or a picture is out of date. With --tests the blocks marked
"tests" are run too, which takes as long as the whole test suite.

A fenced block is treated by the comment on the line before it:

    <!-- run -->            lines that begin with "$ " (and the "> " that follow) are run; their output replaces
                            the rest
    <!-- run: head 8 -->    the same, cut after that many lines of output per command
    <!-- run: refused -->   the same, and the last command must exit with 2
    <!-- append: FILE -->   the block is appended to that file, as a reader would with an editor
    <!-- tests -->          run with --tests only

A comment <!-- setup: COMMAND --> by itself runs a command without showing it. Each page has a scratch folder of
its own. Times, hashes and scratch paths are masked, so that a page changes only when the words or figures do.
"""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
PICTURE = ROOT / "docs" / "pictures" / "forecast.svg"
MARK = re.compile(r"<!-- (run|append|setup|tests)(?:: (.*?))? -->\s*")
# The day on which the commands run, and the next, should midnight pass meanwhile.
_TODAY = datetime.now(UTC).date()
_THESE_DAYS = "|".join(str(day) for day in (_TODAY, _TODAY + timedelta(days=1)))
MASKS = (
    (re.compile(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d(?:\.\d+)?(?:Z|\+00:00)"), "2026-01-01T12:00:00Z"),
    (re.compile(rf"(?:{_THESE_DAYS}) \d\d:\d\d"), "2026-01-01 12:00"),
    (re.compile(_THESE_DAYS), "2026-01-01"),
    (re.compile(r"\b[0-9a-f]{64}\b"), "0" * 64),
    (re.compile(r"\bin \d+(?:\.\d+)?s\b(?: \([\d:]+\))?"), "in ... s"),
)


class PageFault(Exception):
    """A page that cannot be run as it stands."""


@dataclass(frozen=True, slots=True)
class Block:
    """A marked block: lines of the page from the opening fence to the closing one, and what its mark says."""

    kind: str
    option: str
    first: int
    last: int


def pages() -> list[Path]:
    """Every page that holds a mark."""
    found = [ROOT / "README.md", *sorted((ROOT / "docs").rglob("*.md"))]
    return [page for page in found if MARK.search(page.read_text(encoding="utf-8"))]


def find_blocks(lines: list[str], page: Path) -> Iterator[Block]:
    """Marked blocks in order; a setup has no lines of its own."""
    for number, line in enumerate(lines):
        match = MARK.fullmatch(line)
        if match is None:
            continue
        kind, option = match.group(1), match.group(2) or ""
        if kind == "setup":
            yield Block(kind, option, number, number)
            continue
        first = number + 1
        if first >= len(lines) or not lines[first].startswith("```"):
            raise PageFault(f"{page.name}, line {number + 1}: no fenced block follows the mark")
        last = next((at for at in range(first + 1, len(lines)) if lines[at].startswith("```")), None)
        if last is None:
            raise PageFault(f"{page.name}, line {first + 1}: the block is not closed")
        yield Block(kind, option, first, last)


class Scratch:
    """A folder with what a reader has after unpacking the sources, and this environment as its .venv."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        for name in ("Makefile", "tools", "tests", "src", "pyproject.toml"):
            (folder / name).symlink_to(ROOT / name)
        (folder / ".venv").symlink_to(sys.prefix)

    def run(self, command: str) -> tuple[int, list[str]]:
        """Exit status and masked lines of a shell command."""
        path = f"{Path(sys.prefix) / 'bin'}{os.pathsep}{os.environ['PATH']}"
        environment = {**os.environ, "PATH": path, "LC_ALL": "C.UTF-8", "NO_COLOR": "1", "PYTHONUTF8": "1"}
        # Two threads of linear algebra round otherwise than one, and a tie may then fall the other way.
        environment |= {"OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1"}
        for name in ("MAKEFLAGS", "MAKELEVEL", "FORCE_COLOR", "COLUMNS"):
            environment.pop(name, None)
        if command == "make demo":  # the environment is there: make must not install into it
            command = "make --silent VENV=.venv --old-file=.venv/.ready demo"
        done = subprocess.run(
            ["sh", "-c", command],
            cwd=self.folder,
            env=environment,
            stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            encoding="utf-8",
            check=False,
        )
        text = done.stdout.replace(f"{self.folder}/", "").replace(str(self.folder), ".")
        for pattern, mask in MASKS:
            text = pattern.sub(mask, text)
        return done.returncode, [line.rstrip() for line in text.strip("\n").split("\n")] if text else []


def rewritten(page: Path, with_tests: bool) -> str:
    """The page with the output of its commands as it is now."""
    lines = page.read_text(encoding="utf-8").split("\n")
    with tempfile.TemporaryDirectory(prefix="dryfit-page-") as folder:
        scratch = Scratch(Path(folder).resolve())
        replaced = [
            (block, _new_body(block, lines, scratch, page, with_tests)) for block in find_blocks(lines, page)
        ]
    for block, body in reversed(replaced):
        if body is not None:
            lines[block.first + 1 : block.last] = body
    return "\n".join(lines)


def _new_body(
    block: Block, lines: list[str], scratch: Scratch, page: Path, with_tests: bool
) -> list[str] | None:
    """New lines between the fences; None where they stay as they are."""
    body = lines[block.first + 1 : block.last]
    if block.kind == "append":
        target = scratch.folder / block.option
        if not target.exists():
            raise PageFault(f"{page.name}: there is no {block.option} to append to")
        target.write_text(
            target.read_text(encoding="utf-8") + "\n" + "\n".join(body) + "\n", encoding="utf-8"
        )
        return None
    if block.kind == "setup":
        status, said = scratch.run(block.option)
        if status:
            raise PageFault(f"{page.name}: `{block.option}` exits with {status}:\n" + "\n".join(said))
        return None
    if block.kind == "tests":
        return _short_test_run(scratch) if with_tests else None
    return _session(block, body, scratch, page)


def _session(block: Block, body: list[str], scratch: Scratch, page: Path) -> list[str]:
    commands = _commands(body)
    # Lines that `make demo` itself prints begin with "$ " too: only its own command counts.
    commands = commands[:1] if commands and commands[0] == "make demo" else commands
    if not commands:
        raise PageFault(f'{page.name}, line {block.first + 1}: no line begins with "$ "')
    most = int(block.option.removeprefix("head ")) if block.option.startswith("head ") else None
    shown: list[str] = []
    for place, command in enumerate(commands):
        status, said = scratch.run(command)
        is_refused = block.option == "refused" and place == len(commands) - 1
        if (status != 2) if is_refused else (status > 1):
            raise PageFault(f"{page.name}: `{command}` exits with {status}:\n" + "\n".join(said))
        cut = most is not None and len(said) > most
        shown += [
            *f"$ {command}".replace("\n", "\n> ").split("\n"),
            *(said[:most] if cut else said),
            *(["..."] if cut else []),
        ]
    return shown


def _commands(body: list[str]) -> list[str]:
    """Commands of a session; lines that begin with "> " go on from the command above, as in a shell."""
    commands: list[str] = []
    is_open = False
    for line in body:
        if line.startswith("$ "):
            commands.append(line[2:])
            is_open = True
        elif is_open and line.startswith("> "):
            commands[-1] += "\n" + line[2:]
        else:
            is_open = False
    return commands


def _short_test_run(scratch: Scratch) -> list[str]:
    status, said = scratch.run(
        f"cd '{ROOT}' && python -m pytest -q -p no:cacheprovider -n 2 --dist worksteal"
    )
    if status:
        raise PageFault("the tests do not pass:\n" + "\n".join(said[-20:]))
    return ["$ make test", "...", said[-1].strip("= ")]


def draw_picture(folder: Path) -> bytes | None:
    """The forecast of the demonstration as a drawing; None where this version cannot draw."""
    scratch = Scratch(folder)
    if "--sheet" not in "\n".join(scratch.run("dryfit forecast --help")[1]):
        return None
    status, said = scratch.run(
        "dryfit demo demo && { dryfit forecast demo --unrecorded --sheet sheet.svg || [ $? -eq 1 ]; }"
    )
    if status:
        raise PageFault("the picture cannot be drawn:\n" + "\n".join(said))
    return (folder / "sheet.svg").read_bytes()


def refresh(is_check: bool, with_tests: bool, chosen: list[str]) -> list[str]:
    """Names of what was, or is, out of date."""
    stale: list[str] = []

    def settle(path: Path, new: bytes, write: Callable[[bytes], object]) -> None:
        if not path.exists() or path.read_bytes() != new:
            stale.append(str(path.relative_to(ROOT) if path.is_relative_to(ROOT) else path))
            if not is_check:
                path.parent.mkdir(parents=True, exist_ok=True)
                write(new)

    for page in [ROOT / name for name in chosen] or pages():
        settle(page, rewritten(page, with_tests).encode("utf-8"), page.write_bytes)
    if not chosen:
        with tempfile.TemporaryDirectory(prefix="dryfit-page-") as folder:
            drawn = draw_picture(Path(folder).resolve())
        if drawn is not None:
            settle(PICTURE, drawn, PICTURE.write_bytes)
    return stale


def main(arguments: list[str]) -> int:
    is_check, with_tests = "--check" in arguments, "--tests" in arguments
    chosen = [argument for argument in arguments if not argument.startswith("--")]
    if shutil.which("make") is None:
        print("make is not there: the pages cannot be run", file=sys.stderr)
        return 1
    try:
        stale = refresh(is_check, with_tests, chosen)
    except PageFault as fault:
        print(fault, file=sys.stderr)
        return 1
    for name in stale:
        print(f"{name}: {'out of date, run `make readme`' if is_check else 'rewritten'}")
    return 1 if is_check and stale else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
