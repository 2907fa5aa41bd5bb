"""Results about pairs: one file, found by content, and only the pairs of a changed part looked at again."""

import pytest

from building import box_mesh
from dryfit.app import pair_memory
from dryfit.app.assembly_checks_space import look_at_pairs
from dryfit.app.checking import check_folder
from dryfit.app.checking_kept import open_kept
from dryfit.app.pair_memory import PairMemory
from dryfit.app.workers import Workers
from dryfit.calc.likeness import shape_of
from dryfit.store.kept import FOLDER
from support.mesh_files import box, stl_binary
from support.projects import document, part_row, write_project

SIZES = {"a": (10.0, 20.0, 30.0), "b": (11.0, 21.0, 31.0), "c": (12.0, 22.0, 33.0)}


@pytest.fixture
def folder(tmp_path):
    rows = "".join(part_row(name, reference=f"meshes/{name}.stl", unit='"mm"') for name in SIZES)
    text = document(parts=rows, joints="", characteristics="", assembly="")
    meshes = {f"meshes/{name}.stl": stl_binary(*box(size)) for name, size in SIZES.items()}
    return write_project(tmp_path, text, meshes)


@pytest.fixture
def looked(monkeypatch):
    """How many pairs were really looked at."""
    from dryfit.app import assembly_checks_space

    counts = []

    def counting(first, others, limits):
        counts.append(len(others))
        return look_at_pairs(first, others, limits)

    monkeypatch.setattr(assembly_checks_space, "look_at_pairs", counting)
    return counts


def test_only_the_pairs_of_a_changed_part_are_looked_at_again(folder, looked):
    """Three boxes at one corner: three pairs, of which a change of one part touches two."""
    check_folder(folder)
    assert sum(looked) == 3
    check_folder(folder)
    assert sum(looked) == 3
    (folder / "meshes" / "c.stl").write_bytes(stl_binary(*box((12.0, 22.0, 34.0))))
    report = check_folder(folder)
    assert sum(looked) == 5
    overlap = next(item for item in report.assembly if item.topic == "overlap" and item.parts == ("b", "c"))
    assert overlap.amount == pytest.approx(11 * 21 * 31, rel=1e-6)


def test_pairs_lie_in_one_file(folder):
    check_folder(folder)
    names = {path.name for path in (folder / FOLDER).glob("*.npz")}
    assert "pairs.npz" in names
    assert len(names) <= 1 + 3 + 3  # pairs, one for each mesh, the faces, the features and the findings


def test_another_mesh_option_or_program_version_misses(tmp_path, monkeypatch):
    hashes = {"a": "1", "b": "2", "c": "3"}
    record = shape_of(box_mesh((0, 0, 0), (1, 2, 3))).signature
    with Workers() as workers:
        memory = PairMemory(workers, open_kept(tmp_path), hashes)
        key = memory.key("x", ("a", "b"), 0.1)
        memory.keep(key, record)
        memory.save()
        again = PairMemory(workers, open_kept(tmp_path), hashes)
        assert again.find(key) is not None
        assert again.find(again.key("x", ("a", "b"), 0.2)) is None
        assert again.find(again.key("x", ("a", "c"), 0.1)) is None
        assert again.find(again.key("y", ("a", "b"), 0.1)) is None
        monkeypatch.setattr(pair_memory, "__version__", "0.0.0")
        assert again.find(again.key("x", ("a", "b"), 0.1)) is None


def test_without_hashes_nothing_is_known_and_nothing_kept(tmp_path):
    with Workers() as workers:
        memory = PairMemory(workers, open_kept(tmp_path))
        assert memory.key("x", ("a", "b")) is None
        memory.keep(None, "something")
        memory.save()
    assert not (tmp_path / FOLDER).exists()
