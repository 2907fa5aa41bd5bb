"""Reading mesh files, beside the same bytes read raw and trimesh's own load, in one run.

Off by default. The ratios are printed and kept in extra_info: ours is read, hashed, merged and verified
(and measured, in the last benchmark); trimesh's with process=False is read only.
"""

from __future__ import annotations

import subprocess
import sys
import time

import numpy as np
import pytest
import trimesh

from dryfit.calc.mesh import measure_mesh
from dryfit.files.mesh import read_raw
from support.mesh_files import (
    glb,
    gltf_document,
    mesh_xml,
    model_xml,
    obj,
    package_3mf,
    ply_binary,
    ply_text,
    stl_binary,
    stl_text,
)
from support.shapes import torus

WRITERS = {
    "binary.stl": stl_binary,
    "text.stl": stl_text,
    "body.obj": obj,
    "text.ply": ply_text,
    "binary.ply": lambda v, f: ply_binary(v, f),
    "body.glb": lambda v, f: glb(*gltf_document(v, f, 5125)),
    "body.3mf": lambda v, f: package_3mf(
        model_xml(f'<object id="1">{mesh_xml(v, f)}</object>', '<item objectid="1"/>')
    ),
}
CASES = [(name, 100_000) for name in WRITERS] + [(name, 1_000_000) for name in WRITERS]
# The quality bar is on ten million triangles of binary STL: read, verified and measured.
LARGE = 10_000_000
MOST_TIME_RATIO = 3.0
MOST_MEMORY_RATIO = 4.0


def write_body(path, triangles):
    side = round((triangles / 2) ** 0.5)
    body = torus(500.0, 100.0, side, side)
    path.write_bytes(WRITERS[path.name](body.vertices, body.faces))
    return len(body.faces)


def seconds(action):
    start = time.perf_counter()
    action()
    return time.perf_counter() - start


@pytest.mark.parametrize(("name", "triangles"), CASES)
def test_reading(benchmark, tmp_path, name, triangles):
    path = tmp_path / name
    count = write_body(path, triangles)
    raw = min(seconds(lambda: np.fromfile(path, dtype=np.uint8)) for _ in range(3))
    theirs = seconds(lambda: trimesh.load(path, process=False))
    benchmark.pedantic(read_raw, args=(path,), rounds=3, iterations=1)
    ours = benchmark.stats.stats.min
    benchmark.extra_info |= {
        "triangles": count,
        "file_mb": path.stat().st_size / 1e6,
        "s_per_million": ours / count * 1e6,
        "ratio_to_fromfile": ours / raw,
        "ratio_to_trimesh": ours / theirs,
    }
    print(f"\n{name} {count}: {ours:.3f} s, {ours / theirs:.2f} of trimesh's load, {ours / raw:.0f} of raw")


OURS = "measure_mesh(read_raw(Path(sys.argv[1])).objects[0]).is_closed"
THEIRS = "len(trimesh.load(sys.argv[1], process=False).faces)"
IN_A_PROCESS = """
import sys, time
from pathlib import Path
import trimesh
from dryfit.calc.mesh import measure_mesh
from dryfit.files.mesh import read_raw
def kilobytes(key):
    # Of this process only: the peak that getrusage reports is handed down from the parent across exec.
    lines = Path("/proc/self/status").read_text().splitlines()
    return next(int(line.split()[1]) for line in lines if line.startswith(key))
before = kilobytes("VmRSS")
start = time.perf_counter()
assert WORK
print(time.perf_counter() - start, (kilobytes("VmHWM") - before) * 1024)
"""


def run_alone(work, path):
    """Seconds, and bytes at the peak, of one piece of work in a fresh process."""
    command = [sys.executable, "-c", IN_A_PROCESS.replace("WORK", work), str(path)]
    done = subprocess.run(command, check=True, capture_output=True, encoding="utf-8")
    took, peak = map(float, done.stdout.split())
    return took, peak


def test_ten_million_triangles_read_verified_and_measured(benchmark, tmp_path):
    """Both sides take turns, each time in a fresh process, so that a busy moment does not favour one."""
    path = tmp_path / "binary.stl"
    count = write_body(path, LARGE)
    pairs = [(run_alone(OURS, path), run_alone(THEIRS, path)) for _ in range(4)]
    benchmark.pedantic(run_alone, args=(OURS, path), rounds=1, iterations=1)
    took = min(ours[0] for ours, _ in pairs)
    theirs = min(theirs[0] for _, theirs in pairs)
    memory_ratio = max(ours[1] for ours, _ in pairs) / path.stat().st_size
    ratios = sorted(ours[0] / theirs[0] for ours, theirs in pairs)
    benchmark.extra_info |= {
        "triangles": count,
        "seconds": took,
        "ratio_to_trimesh": took / theirs,
        "ratios_pair_by_pair": ratios,
        "memory_ratio_to_file": memory_ratio,
    }
    shown = ", ".join(f"{ratio:.2f}" for ratio in ratios)
    print(
        f"\n{count}: {took:.2f} s, {took / theirs:.2f} of trimesh's load (pair by pair {shown}), "
        f"{memory_ratio:.2f} of the file's size"
    )
    assert took <= MOST_TIME_RATIO * theirs
    assert memory_ratio <= MOST_MEMORY_RATIO


def test_measuring(benchmark):
    body = torus(500.0, 100.0, 707, 707)
    assert benchmark(measure_mesh, body).is_closed
