"""Pairs of parts: looked at once, in one process or in two with the same result, and kept by content."""

import dataclasses
import shutil

import numpy as np
import pytest

from dryfit.app import assembly_checks_likeness, assembly_checks_space, examination, pair_memory, workers
from dryfit.app.assembly_checks import check_assembly
from dryfit.app.checking import check_parts
from dryfit.app.checking_kept import open_kept
from dryfit.app.examination import hash_mesh
from dryfit.app.loading import open_project
from dryfit.app.pair_memory import PairMemory
from dryfit.app.workers import Workers
from dryfit.base.errors import Interrupted
from support.mesh_files import box, stl_binary
from support.projects import document, part_row, write_project

# a, b and c in a row, b into a by 1 mm; b and c of one shape, d alone
BOXES = {
    "a": ((20, 30, 40), (0, 0, 0)),
    "b": ((20, 30, 50), (19, 0, 0)),
    "c": ((20, 30, 50), (39, 0, 0)),
    "d": ((20, 30, 50.2), (80, 0, 0)),
}


@pytest.fixture
def folder(tmp_path):
    rows = "".join(part_row(name, reference=f"meshes/{name}.stl", unit='"mm"') for name in BOXES)
    folder = write_project(tmp_path, document(parts=rows, joints="", characteristics="", assembly=""))
    for name, (size, low) in BOXES.items():
        (folder / "meshes" / f"{name}.stl").write_bytes(stl_binary(*box(size, low)))
    return folder


@pytest.fixture
def counted(monkeypatch):
    """The pairs that are really looked at, and those really compared."""
    calls = {"space": 0, "likeness": 0}
    look, compare = assembly_checks_space.look_at_pairs, assembly_checks_likeness.compare_with

    def looking(first, others, limits):
        calls["space"] += len(others)
        return look(first, others, limits)

    def comparing(first, others):
        calls["likeness"] += len(others)
        return compare(first, others)

    monkeypatch.setattr(assembly_checks_space, "look_at_pairs", looking)
    monkeypatch.setattr(assembly_checks_likeness, "compare_with", comparing)
    return calls


def findings_of(opened, memory=None):
    return check_assembly(opened.project, opened.shapes, memory=memory)


def plain(findings):
    return [
        (f.topic, f.state, f.parts, f.what, None if f.places_mm is None else np.asarray(f.places_mm).tolist())
        for f in findings
    ]


def memory_of(opened, pool):
    hashes = {name: hash_mesh(shape.mesh) for name, shape in opened.shapes.items()}
    return PairMemory(pool, open_kept(opened.folder), hashes)


def check(opened):
    with Workers() as pool:
        memory = memory_of(opened, pool)
        found = plain(findings_of(opened, memory))
        memory.save()
        return found


def test_a_second_check_compares_nothing_and_finds_the_same(folder, counted):
    opened = open_project(folder)
    first = check(opened)
    assert counted["space"] == 2  # a and b, b and c; d is apart by its box
    assert counted["likeness"] > 0
    counted.update(space=0, likeness=0)
    assert check(opened) == first
    assert counted == {"space": 0, "likeness": 0}
    assert first == plain(findings_of(opened))


@pytest.mark.parametrize("module", [pair_memory])
def test_another_program_version_or_meaning_misses(folder, counted, monkeypatch, module):
    opened = open_project(folder)
    check(opened)
    for name, value in (("__version__", "0.0.0"), ("RESULTS_VERSION", examination.RESULTS_VERSION + 1)):
        counted.update(space=0)
        monkeypatch.setattr(module, name, value)
        check(opened)
        assert counted["space"] == 2, name


def test_another_limit_misses(folder, counted):
    opened = open_project(folder)
    check(opened)
    counted.update(space=0)
    limits = dataclasses.replace(assembly_checks_space.SpaceLimits(), least_depth_mm=0.02)
    with Workers() as pool:
        check_assembly(opened.project, opened.shapes, limits=limits, memory=memory_of(opened, pool))
    assert counted["space"] == 2


@pytest.mark.slow
def test_two_processes_find_what_one_finds(folder, monkeypatch):
    opened = open_project(folder)
    alone = check_parts(opened, fresh=True)
    shutil.rmtree(folder / "kept")
    monkeypatch.setattr(workers, "FEW_TRIANGLES", 0)
    monkeypatch.setattr(assembly_checks_likeness, "FEW_TRIANGLES", 0)
    monkeypatch.setattr(workers, "cpu_count", lambda: 2)
    together = check_parts(opened)
    assert plain(together.findings) == plain(alone.findings)
    for part in alone.parts:
        same = together.part(part.id).thickness
        assert np.array_equal(same.wall_mm, part.thickness.wall_mm)


def test_it_can_be_stopped_between_pairs(folder):
    opened = open_project(folder)

    def stop(done, total):
        raise Interrupted("stopped", "here", "start again")

    with pytest.raises(Interrupted):
        check_assembly(opened.project, opened.shapes, progress=stop)
