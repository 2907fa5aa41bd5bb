"""Write docs/real-meshes.md: what the program says of every mesh that general-purpose libraries ship.

Usage: python tools/real_meshes.py [--into FOLDER] [--also FOLDER]

The source archives are fetched with pip, unpacked in a scratch folder, and every mesh file in them is read
and examined in a process with a limit of time and memory. Exit 1 where a file ends in neither an answer nor a
refusal with its reason. --also looks at other files in the same way: told on the screen, not on the page.
"""

from __future__ import annotations

import argparse
import hashlib
import multiprocessing
import queue
import re
import resource
import subprocess
import sys
import tarfile
import tempfile
import threading
import time
import traceback
from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from multiprocessing.connection import Connection
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
TARGET = ROOT / "docs" / "real-meshes.md"

# General-purpose libraries whose source archives hold meshes, as test data or as examples.
PACKAGES = (
    *("meshcat==0.3.2", "meshio==5.3.5", "openmesh==1.2.1", "pybullet==3.2.7", "pyglet==2.1.19"),
    "pyvista==0.49.1",
)
ENDINGS = (".stl", ".3mf", ".obj", ".ply", ".glb", ".gltf")
MOST_S = 60.0
MOST_BYTES = 4 << 30
MANY = 3  # files of one folder that say the same are told in one row from so many on
# Their files are called after products: told by the first digits of their SHA-256 instead.
CODED = frozenset({"meshcat", "pybullet"})

HEAD = """# Real meshes

Meshes that nobody made for this program: the test data and examples in the source archives of general-purpose
libraries. Each file is read, and each object in it examined for its health, its walls and its figures, in a process
that may take {most_s:.0f} s and {most_gb} GB. This page is written by `python tools/real_meshes.py`.

**{counts}**

Made with {packages}. A content that is there twice is looked at once. A file that states no unit is taken in
its own numbers, so that what is judged in millimetres (cracks, precision) is judged as if they were.
A file with several objects adds up their faults. Files of one folder that say the same, three or more, are one row
with the least and the greatest figure. *Sound* is: closed, faces outwards, nothing passes through itself. Files
that are called after products are told by the first eight digits of their SHA-256. Seconds are those of the slowest
of a row, reading included, on two cores that did other work as well.
"""


@dataclass(frozen=True, slots=True)
class Row:
    """What became of one file.

    ending     "answer", "refusal" or "failure"
    triangles  of all objects; 0 where the file was refused
    says       kinds of fault with their counts; of a refusal the reason alone, with count 0
    """

    package: str
    name: str
    ending: str
    triangles: int
    says: tuple[tuple[str, int], ...]
    seconds: float


def fetch(packages: Iterable[str], folder: Path) -> dict[str, Path]:
    """Source archives fetched and unpacked: the folder of each by package."""
    found = {}
    for package in packages:
        name = package.partition("==")[0]
        place = folder / "archives" / name
        place.mkdir(parents=True, exist_ok=True)
        if not list(place.glob("*.tar.gz")):
            command = ["-m", "pip", "download", "--no-deps", "--no-binary", ":all:", "-q", "-d", str(place)]
            subprocess.run([sys.executable, *command, package], check=True)
        inside = folder / "meshes" / name
        for archive in place.glob("*.tar.gz"):
            with tarfile.open(archive) as opened:
                opened.extractall(inside, filter="data")
        found[package.replace("==", " ")] = inside
    return found


def mesh_files(folder: Path) -> list[Path]:
    """The mesh files below a folder, each content once, in the order of their names."""
    seen: set[str] = set()
    found = []
    for path in sorted(folder.rglob("*")):
        if path.suffix.lower() not in ENDINGS or not path.is_file():
            continue
        digest = hashlib.sha256(path.read_bytes()).hexdigest()
        if digest not in seen:
            seen.add(digest)
            found.append(path)
    return found


def say(path: Path) -> tuple[str, int, tuple[tuple[str, int], ...]]:
    """Ending, triangles and faults of a file; what is neither an answer nor a refusal is raised."""
    from dryfit.app.examination import examine_mesh
    from dryfit.app.health_words import health_findings
    from dryfit.base.errors import DryfitError
    from dryfit.files.mesh import read_raw

    try:
        read = read_raw(path)
    except DryfitError as error:
        return "refusal", 0, ((error.what.replace(str(path.parent), "").replace(path.name, "the file"), 0),)
    counts: dict[str, int] = defaultdict(int)
    for mesh in read.objects:
        found = examine_mesh(mesh)
        health_findings(mesh.name, found.health)  # it must be possible to say it, too
        for problem in found.health.problems:
            counts[problem.kind] += problem.count
        for reason in found.health.not_checked:
            counts[f"not searched to the end: {re.sub('[0-9]+', 'N', reason)}"] += 1
    return "answer", sum(len(mesh.faces) for mesh in read.objects), tuple(counts.items())


def work(pipe: Connection) -> None:
    """A process that answers for one path after another."""
    resource.setrlimit(resource.RLIMIT_AS, (MOST_BYTES, MOST_BYTES))
    while True:
        path = pipe.recv()
        if path is None:
            return
        started = time.perf_counter()
        try:
            answer = say(path)
        except BaseException as error:  # everything that is not a refusal is what this looks for
            last = traceback.extract_tb(error.__traceback__)[-1]
            answer = ("failure", 0, ((f"{type(error).__name__} in {last.name}: {error}"[:160], 0),))
        pipe.send((*answer, time.perf_counter() - started))


class Desk:
    """One process, started again where a file ended it or took too long."""

    def __init__(self) -> None:
        self._start()

    def _start(self) -> None:
        context = multiprocessing.get_context("spawn")
        self._pipe, theirs = context.Pipe()
        self._process = context.Process(target=work, args=(theirs,), daemon=True)
        self._process.start()
        theirs.close()

    def ask(self, package: str, name: str, path: Path) -> Row:
        """What becomes of a file within the limits."""
        started, answer, why = time.perf_counter(), None, f"no answer within {MOST_S:.0f} s"
        try:
            self._pipe.send(path)
            if self._pipe.poll(MOST_S + 5.0):  # the process itself takes some of it to start
                answer = self._pipe.recv()
        except (EOFError, OSError):
            why = "the process was ended"
        if answer is None:
            self._process.kill()
            self._process.join()
            self._start()
            return Row(package, name, "failure", 0, ((why, 0),), time.perf_counter() - started)
        if answer[3] > MOST_S:
            return Row(package, name, "failure", answer[1], ((why, 0),), answer[3])
        return Row(package, name, *answer)

    def close(self) -> None:
        """Let the process end."""
        self._pipe.send(None)
        self._process.join()


def ask_all(files: Sequence[tuple[str, str, Path]]) -> list[Row]:
    """Every file, two at a time; rows in the order of the files."""
    left: queue.SimpleQueue[int] = queue.SimpleQueue()
    for index in range(len(files)):
        left.put(index)
    rows: dict[int, Row] = {}

    def go() -> None:
        desk = Desk()
        while True:
            try:
                index = left.get_nowait()
            except queue.Empty:
                break
            rows[index] = desk.ask(*files[index])
            print(f"\r{len(rows)} of {len(files)}", end="", file=sys.stderr, flush=True)
        desk.close()

    threads = [threading.Thread(target=go) for _ in range(2)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    print(file=sys.stderr)
    return [rows[index] for index in range(len(files))]


def count(rows: Sequence[Row]) -> str:
    """One line of counts."""
    answers = [row for row in rows if row.ending == "answer"]
    sound = sum(1 for row in answers if not row.says)
    refused = sum(1 for row in rows if row.ending == "refusal")
    slowest = max((row.seconds for row in rows), default=0.0)
    return (
        f"{len(rows)} files, {sum(row.triangles for row in rows)} triangles: {sound} sound, "
        f"{len(answers) - sound} with faults named, {refused} refused with the reason, "
        f"{sum(1 for row in rows if row.ending == 'failure')} without an answer; "
        f"the slowest took {slowest:.1f} s."
    )


def page(rows: Sequence[Row], packages: Sequence[str]) -> str:
    """The whole page."""
    head = HEAD.format(
        most_s=MOST_S, most_gb=MOST_BYTES >> 30, counts=count(rows), packages=", ".join(packages)
    )
    lines = [head]
    for package in packages:
        mine = [row for row in rows if row.package == package]
        lines += ["", f"## {package}", "", count(mine), ""]
        lines += ["| file | triangles | what it says | seconds |", "| --- | ---: | --- | ---: |"]
        lines += [_line(group) for group in _grouped(mine)]
    return "\n".join(lines) + "\n"


def _grouped(rows: Sequence[Row]) -> list[list[Row]]:
    """Rows of one folder that say the same together, where they are many; the rest each for itself."""
    same: dict[tuple[object, ...], list[Row]] = defaultdict(list)
    for row in rows:
        kinds = tuple(kind for kind, _ in row.says)
        same[(_collection(row.name), row.ending, kinds)].append(row)
    groups: list[list[Row]] = []
    for together in same.values():
        groups += [together] if len(together) >= MANY else [[row] for row in together]
    return sorted(groups, key=lambda group: (-len(group), group[0].name))


def _collection(name: str) -> str:
    """The folder of a file; numbered folders beside one another are one."""
    return re.sub(r"(?<=/)\d+(?=/|$)", "*", name.rpartition("/")[0])


def _where(name: str) -> str:
    collection = _collection(name)
    return f"in {collection}/" if collection else ""


def _line(group: Sequence[Row]) -> str:
    first = group[0]
    name = first.name if len(group) == 1 else f"{len(group)} files {_where(first.name)}".rstrip()
    if first.ending == "answer":
        told = [_fault(kind, [dict(row.says)[kind] for row in group]) for kind, _ in first.says]
        words = ", ".join(told) or "sound"
    else:
        reasons = "; ".join(kind for kind, _ in first.says)
        words = f"{'refused' if first.ending == 'refusal' else 'NO ANSWER'}: {reasons}"
    triangles = _range([row.triangles for row in group])
    seconds = sorted(row.seconds for row in group)
    cells = (name, triangles, words.replace("|", "\\|"), f"{seconds[-1]:.2f}")
    return "| " + " | ".join(cells) + " |"


def _fault(kind: str, counts: Sequence[int]) -> str:
    return kind if kind.startswith("not searched") else f"{kind} {_range(counts)}"


def _range(figures: Sequence[int]) -> str:
    least, most = min(figures), max(figures)
    return str(least) if least == most else f"{least} to {most}"


def _named(package: str, path: Path, folder: Path) -> str:
    """Path below the package's own folder, its last three parts; or what its content is known by."""
    if package.partition(" ")[0] in CODED:
        return hashlib.sha256(path.read_bytes()).hexdigest()[:8] + path.suffix.lower()
    return "/".join(path.relative_to(folder).parts[1:][-3:])


def main() -> int:
    parser = argparse.ArgumentParser(description="what the program says of real meshes")
    parser.add_argument(
        "--into", type=Path, help="scratch folder that stays, so that nothing is fetched twice"
    )
    parser.add_argument("--also", type=Path, help="folder with other meshes, told on the screen alone")
    given = parser.parse_args()
    with tempfile.TemporaryDirectory() as scratch:
        folders = fetch(PACKAGES, given.into or Path(scratch))
        rows = ask_all(
            [
                (package, _named(package, path, folder), path)
                for package, folder in folders.items()
                for path in mesh_files(folder)
            ]
        )
    others = (
        [("also", str(path.relative_to(given.also)), path) for path in mesh_files(given.also)]
        if given.also
        else []
    )
    more = ask_all(others)
    for row in more:
        print(_line([row]))
    TARGET.write_text(page(rows, list(folders)), encoding="utf-8")
    print(count([*rows, *more]))
    return 1 if any(row.ending == "failure" for row in (*rows, *more)) else 0


if __name__ == "__main__":
    sys.exit(main())
