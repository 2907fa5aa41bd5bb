"""The workbench under load: a project of 60 large parts on disk, its server, and a browser that watches itself."""

from __future__ import annotations

import json
import re
import shutil
import struct
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import numpy as np

from building import SIDE_MM, grid_project
from dryfit.model.joint import Joint
from dryfit.model.machine import FIGURES, Machine
from dryfit.model.mesh import TriangleMesh

COUNTS = (5, 4, 3)  # 60 parts
CELLS = 92  # to a side of a face: 6 * 92 * 92 * 2 = 101,568 triangles
PARTS = int(np.prod(COUNTS))
CHROMIUM = shutil.which("chromium")
ARGUMENTS = ("--no-sandbox", "--disable-gpu", "--use-gl=swiftshader", "--enable-unsafe-swiftshader")
# Longest pause between two frames, and longest task of the page's one thread, since the page was opened.
WATCH = """
window.seen = { frame: 0, task: 0, timer: 0 };
let [lastFrame, lastTimer] = [performance.now(), performance.now()];
const onFrame = () => {
  const now = performance.now();
  window.seen.frame = Math.max(window.seen.frame, now - lastFrame);
  lastFrame = now;
  requestAnimationFrame(onFrame);
};
requestAnimationFrame(onFrame);
setInterval(() => {
  const now = performance.now();
  window.seen.timer = Math.max(window.seen.timer, now - lastTimer);
  lastTimer = now;
}, 10);
new PerformanceObserver((list) => {
  for (const entry of list.getEntries()) window.seen.task = Math.max(window.seen.task, entry.duration);
}).observe({ type: "longtask", buffered: true });
"""
USEFUL = "() => document.body?.innerText.includes('limits') && document.querySelector('h1, h2, h3') !== null"
# Milliseconds from each of some moves of the first slider until rows and verdict are those of its value.
DRAG = """async () => {
  const slider = document.querySelector('input[data-lever]');
  const figure = document.querySelector('.verdict');  // it says the value; a row's digits may stay the same
  const [low, high] = [Number(slider.min), Number(slider.max)];
  const took = [];
  for (let move = 0; move < 8; move += 1) {
    const before = figure.textContent;
    const start = performance.now();
    slider.value = low + (high - low) * (0.15 + 0.7 * ((3 * move) % 8) / 8);
    slider.dispatchEvent(new Event('input', { bubbles: true }));
    while (figure.textContent === before) await new Promise((next) => setTimeout(next, 2));
    took.push(performance.now() - start);
    await new Promise((next) => setTimeout(next, 1500)); // the settled answer and its drawing are done by then
  }
  return took;
}"""
DRAWING = "document.querySelector('.model-view')?.drawing"
FIRST = f"() => {DRAWING}?.counts().arrived > 0"
EVERY = (
    f"() => {{ const d = {DRAWING}, c = d?.counts();"
    " return c?.parts && c.arrived === c.parts && !d.nextToLoad(); }"
)


def wavy_box(low: np.ndarray, side_mm: float, cells: int = CELLS) -> TriangleMesh:
    """A box whose faces are finely divided and rippled by half a millimetre, as a rough surface is."""
    across = np.linspace(0.0, 1.0, cells + 1)
    u, v = (grid.ravel() for grid in np.meshgrid(across, across, indexing="ij"))
    index = np.arange((cells + 1) ** 2).reshape(cells + 1, cells + 1)
    a, b, c, d = (part.ravel() for part in (index[:-1, :-1], index[1:, :-1], index[1:, 1:], index[:-1, 1:]))
    faces = np.vstack([np.column_stack([a, b, c]), np.column_stack([a, c, d])])
    points, triangles = [], []
    for axis in range(3):
        for end in (0.0, 1.0):
            face = np.zeros((len(u), 3))
            face[:, axis], face[:, (axis + 1) % 3], face[:, (axis + 2) % 3] = end, u, v
            triangles.append((faces if end else faces[:, ::-1]) + len(points) * len(u))
            points.append(face)
    unit = np.vstack(points)
    ripple = np.sin(40.0 * unit).prod(axis=1)[:, None] * (unit - 0.5)
    return TriangleMesh(low + side_mm * unit + ripple, np.vstack(triangles))


def write_large_project(folder: Path) -> Path:
    """60 parts of 101,568 triangles each, 200 joints and 40 gaps, as a project folder."""
    project, _ = grid_project(COUNTS, 200, 40)
    (folder / "meshes").mkdir(parents=True)
    rows = ['schema = 1\n[project]\nname = "grid"\nscale = "1:1"\n']
    rows += ['[[material]]\nid = "p"\nfamily = "PLA"\nshrinkage = 0.002\nshrinkage_std = 0.0005\n']
    rows += [_machine(machine) for machine in project.machines]
    for part, cell in zip(project.parts, np.ndindex(*COUNTS), strict=True):
        mesh = wavy_box(SIDE_MM * np.array(cell), 0.99 * SIDE_MM)
        (folder / f"meshes/{part.id}.stl").write_bytes(_stl(mesh))
        rows.append(
            f'[[part]]\nid = "{part.id}"\nmesh = "meshes/{part.id}.stl"\nunit = "mm"\n'
            f'machine = "{part.machine}"\nmaterial = "p"\n'
        )
    rows += [_joint(joint) for joint in project.joints]
    for item in project.characteristics:
        rows.append(
            f'[[characteristic]]\nid = "{item.id}"\nkind = "gap"\njoint = "{item.joint}"\nlimits_mm = [-0.3, 0.3]\n'
        )
    rows.append(f'[assembly]\ndatum = "{project.parts[0].id}"\n')
    (folder / "project.toml").write_text("\n".join(rows), encoding="utf-8")
    return folder


def _machine(machine: Machine) -> str:
    values = "\n".join(f"{name} = {machine.error.figures[name].value}" for name in FIGURES)
    spreads = ", ".join(f"{name} = {machine.error.figures[name].std}" for name in FIGURES)
    return (
        f'[[machine]]\nid = "{machine.id}"\nbuild_volume_mm = [1000, 1000, 1000]\n[machine.error]\n{values}\n'
        f"first_layer_height_mm = 0.2\nrepeatability_mm = 0.05\nstd = {{ {spreads} }}\n"
    )


def _joint(joint: Joint) -> str:
    assert joint.faces is not None
    assert joint.locator_points_mm is not None
    points, normals = joint.faces.points_on_first.round(6).tolist(), joint.faces.normals.round(9).tolist()
    return (
        f'[[joint]]\nid = "{joint.id}"\nparts = {json.dumps(list(joint.parts))}\nlocators = "pin-and-slot"\n'
        f"locator_points_mm = {joint.locator_points_mm.round(6).tolist()}\n"
        "contact_play_mm = 0.05\nlocator_play_mm = 0.05\n"
        f"[joint.faces]\npoints_mm = {points}\nnormals = {normals}\n"
    )


def _stl(mesh: TriangleMesh) -> bytes:
    records = np.zeros(len(mesh.faces), dtype=[("n", "<f4", 3), ("v", "<f4", (3, 3)), ("a", "<u2")])
    records["v"] = mesh.vertices[mesh.faces]
    return b" " * 80 + struct.pack("<I", len(mesh.faces)) + records.tobytes()


@contextmanager
def serving(folder: Path) -> Iterator[tuple[str, subprocess.Popen[str], float]]:
    """`dryfit serve` on a folder: its address, its process, and seconds until it said where it is."""
    command = [str(Path(sys.executable).with_name("dryfit")), "serve", str(folder)]
    start = time.perf_counter()
    process = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, encoding="utf-8")
    try:
        assert process.stdout is not None
        heard = []
        for line in process.stdout:
            heard.append(line)
            found = re.search(r"(http://\S+?)/ ", line)
            if found:
                break
        else:
            raise AssertionError("".join(heard))
        yield found.group(1), process, time.perf_counter() - start
    finally:
        process.terminate()
        process.wait(20)
        process.stdout.close()


def peak_mb(process: subprocess.Popen[str]) -> dict[str, float]:
    """Most memory that the server and its worker ever held [MB], from the kernel's own account."""
    found = {"server": _high_water(process.pid), "worker": 0.0}
    children = Path(f"/proc/{process.pid}/task/{process.pid}/children").read_text().split()
    for task in Path(f"/proc/{process.pid}/task").iterdir():
        children += (task / "children").read_text().split()
    found["worker"] = max([0.0, *(_high_water(int(child)) for child in set(children))])
    return {name: round(value) for name, value in found.items()}


def _high_water(pid: int) -> float:
    try:
        status = Path(f"/proc/{pid}/status").read_text()
    except FileNotFoundError:
        return 0.0
    found = re.search(r"VmHWM:\s+(\d+) kB", status)
    return int(found.group(1)) / 1024 if found else 0.0


@contextmanager
def watching_page() -> Iterator[Any]:
    """A page of a fresh browser that notes how long it did not answer."""
    from playwright.sync_api import sync_playwright

    with sync_playwright() as play:
        browser = play.chromium.launch(executable_path=CHROMIUM, args=list(ARGUMENTS))
        page = browser.new_context(viewport={"width": 1440, "height": 900}).new_page()
        page.add_init_script(WATCH)
        try:
            yield page
        finally:
            browser.close()


def seconds_until(page: Any, condition: str, start: float, limit_s: float = 240.0) -> float:
    page.wait_for_function(condition, timeout=1000 * limit_s, polling=20)
    return time.perf_counter() - start


def longest_pauses(page: Any) -> dict[str, float]:
    """Longest time without a frame, without a timer's tick, and of one task [s]."""
    return {name: round(value / 1000, 2) for name, value in page.evaluate("() => window.seen").items()}
