"""Results kept by what they were made from: found again, missed when anything changed, and never code."""

import dataclasses
import io
import os
import pickle
import zipfile

import numpy as np
import pytest

from dryfit.store.kept import FOLDER, UNUSED_DAYS, Kept, key_of
from dryfit.store.records import UnreadableRecord, read_record, write_record


@dataclasses.dataclass(frozen=True)
class Inner:
    values: np.ndarray
    words: tuple[str, ...]


@dataclasses.dataclass(frozen=True)
class Outer:
    name: str
    inner: tuple[Inner, ...]
    table: dict[str, float]
    nothing: None = None
    number: float = 0.0
    flag: bool = True


def outer():
    inner = Inner(np.arange(6, dtype=np.int64).reshape(3, 2), ("a", "b"))
    return Outer("ring-1", (inner, inner), {"x": 1.5}, number=float("inf"))


def test_a_record_comes_back_as_it_went():
    back = read_record(write_record(outer()), (Outer, Inner))
    assert isinstance(back, Outer)
    assert (back.name, back.table, back.nothing, back.number, back.flag) == (
        "ring-1",
        {"x": 1.5},
        None,
        float("inf"),
        True,
    )
    assert [item.words for item in back.inner] == [("a", "b"), ("a", "b")]
    values = back.inner[1].values
    assert values.dtype == np.int64
    assert (values == np.arange(6).reshape(3, 2)).all()
    assert not values.flags.writeable


def test_nan_survives():
    back = read_record(write_record(Outer("", (), {"a": float("nan")})), (Outer,))
    assert back.table["a"] != back.table["a"]


@pytest.mark.parametrize("value", [object(), {1: 2}, {"a": object()}])
def test_what_has_no_plain_form_is_refused(value):
    with pytest.raises(TypeError):
        write_record(Outer("", (), value))


def test_a_class_that_is_not_named_is_not_made():
    with pytest.raises(UnreadableRecord):
        read_record(write_record(outer()), (Outer,))


def test_damaged_bytes_are_no_record():
    whole = write_record(outer())
    for cut in (0, 1, len(whole) // 2, len(whole) - 1):
        with pytest.raises(UnreadableRecord):
            read_record(whole[:cut], (Outer, Inner))
    rng = np.random.default_rng(5)
    for _ in range(2000):
        bytes_ = bytearray(whole)
        bytes_[rng.integers(len(bytes_))] ^= int(rng.integers(1, 256))
        try:
            read_record(bytes(bytes_), (Outer, Inner))
        except UnreadableRecord:
            continue  # a flipped bit inside a number is a number; anything else is refused


class Bomb:
    def __reduce__(self):
        return os.mkdir, ("/nowhere/dryfit-was-run",)


def test_a_pickle_is_refused_and_not_run():
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w") as archive:
        array = io.BytesIO()
        np.lib.format.write_array(array, np.array([Bomb()], dtype=object), allow_pickle=True)
        archive.writestr("skeleton.npy", array.getvalue())
    with pytest.raises(UnreadableRecord):
        read_record(stream.getvalue(), (Outer,))
    with pytest.raises(UnreadableRecord):
        read_record(pickle.dumps(Bomb()), (Outer,))


def test_a_member_that_inflates_is_refused():
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("skeleton.npy", bytes(10_000_000))
    with pytest.raises(UnreadableRecord, match="compressed"):
        read_record(stream.getvalue(), (Outer,))


def test_a_result_is_found_under_its_key_alone(tmp_path):
    kept = Kept(tmp_path, (Outer, Inner))
    key = key_of({"mesh": "a", "options": 1})
    assert kept.find(key) is None
    kept.keep(key, outer())
    assert kept.find(key).name == "ring-1"
    assert kept.find(key_of({"mesh": "a", "options": 2})) is None
    assert Kept(tmp_path, (Outer, Inner), blind=True).find(key) is None
    assert (kept.unreadable, kept.unwritten) == (0, 0)
    assert (tmp_path / FOLDER / ".gitignore").read_text(encoding="utf-8") == "*\n"


def test_the_key_does_not_hang_on_the_order_of_the_recipe():
    assert key_of({"a": 1, "b": 2}) == key_of({"b": 2, "a": 1})
    with pytest.raises(ValueError, match="JSON"):
        key_of({"a": float("nan")})


def test_a_damaged_result_is_made_anew_and_counted(tmp_path):
    kept = Kept(tmp_path, (Outer, Inner))
    kept.keep("k", outer())
    (tmp_path / FOLDER / "k.npz").write_bytes(b"half")
    assert kept.find("k") is None
    assert kept.unreadable == 1
    kept.keep("k", outer())
    assert kept.find("k") is not None


def test_a_folder_that_cannot_be_written_costs_time_and_nothing_else(tmp_path):
    (tmp_path / FOLDER).write_text("a file is in the way", encoding="utf-8")
    kept = Kept(tmp_path, (Outer, Inner))
    kept.keep("k", outer())
    assert kept.unwritten == 1
    assert kept.find("k") is None
    assert kept.forget_unused() == 0


def test_results_that_nobody_asks_for_are_let_go(tmp_path):
    kept = Kept(tmp_path, (Outer, Inner))
    kept.keep("old", outer())
    kept.keep("used", outer())
    for name in ("old", "used"):
        os.utime(tmp_path / FOLDER / f"{name}.npz", (0, 0))
    assert kept.find("used") is not None  # asking counts as use
    now = (tmp_path / FOLDER / "used.npz").stat().st_mtime
    assert kept.forget_unused(now) == 1
    assert kept.find("old") is None
    assert kept.forget_unused(now + 86400 * (UNUSED_DAYS + 1)) == 1
