"""The lens of one's own camera, from rendered chessboards to the sizes of a photograph. Everything is invented."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import PIL.Image
import pytest

from dryfit.app.photo_arrays import photo_arrays
from dryfit.app.photographs import open_photo
from dryfit.store.document import read_document
from support.boards import LENS, SQUARE_ON, write_bad_board, write_boards
from support.command import refusal, run, run_json
from support.pictures import pixels, write_picture

BOARD = ("--columns", 9, "--rows", 6, "--square", "25mm", "--name", "bench")


@pytest.fixture(scope="module")
def boards(tmp_path_factory: pytest.TempPathFactory) -> list[Path]:
    return write_boards(tmp_path_factory.mktemp("boards"))


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    run("new", tmp_path / "house", "--scale", "1:20")
    document = tmp_path / "house" / "project.toml"
    document.write_text(document.read_text().replace("[project]", "# a comment that stays\n[project]", 1))
    return tmp_path / "house"


def test_lens_is_found_written_and_used(boards: list[Path], folder: Path, tmp_path: Path) -> None:
    picture = write_picture(tmp_path / "front.png", array=pixels(640, 480))
    run("photo", "add", picture, "-p", folder)
    status, plain = run_json("photo", "lens", *boards, *BOARD, "--used-by", "front", "-p", folder)
    assert status == 0
    assert plain["is_written"]
    assert plain["used_by"] == ["front"]
    figures = {item["name"]: item for item in plain["figures"]}
    for name, true in (("focal length", LENS.focal_px), ("k1", LENS.k1), ("centre, x", LENS.centre_px[0])):
        assert abs(figures[name]["value"] - true) < 4.0 * figures[name]["std"]
    text = (folder / "project.toml").read_text()
    assert "# a comment that stays" in text
    project = read_document(folder).project
    own = project.lenses[0]
    values, vectors = np.linalg.eigh(np.array(own.covariance)[:7, :7])
    assert values.min() > 0.0
    at_hand = open_photo(folder, project.photos[0])
    assert at_hand.focal is not None
    assert at_hand.focal.whence == "lens bench"
    assert at_hand.lens is not None
    assert np.allclose(at_hand.lens.lens.vector, own.figures)
    run("photo", "mark", "front", "-p", folder, "--point", "a=100,100")
    arrays = photo_arrays(open_photo(folder, read_document(folder).project.photos[0]))
    assert np.allclose(arrays.lens.covariance, own.covariance)
    assert len(vectors) == 7


def test_bad_view_stops_until_it_is_decided(boards: list[Path], folder: Path, tmp_path: Path) -> None:
    bad = write_bad_board(tmp_path / "warped.png")
    status, plain = run_json("photo", "lens", *boards, bad, *BOARD, "-p", folder)
    assert status == 1
    assert not plain["is_written"]
    assert plain["bad"][0]["file"] == "warped.png"
    assert plain["bad"][0]["ratio"] > 2.0
    assert plain["bad"][0]["without_px"] < 0.5 * plain["rms_px"]
    assert "[[lens]]" not in (folder / "project.toml").read_text()
    without = ("--without", "warped.png")
    assert "reason" in refusal("photo", "lens", *boards, bad, *BOARD, *without, "-p", folder)["what"]
    reason = ("--because", "the board was bent")
    status, plain = run_json("photo", "lens", *boards, bad, *BOARD, *without, *reason, "-p", folder)
    assert status == 0
    assert plain["is_written"]
    assert "the board was bent" in read_document(folder).project.lenses[0].source


def test_bad_boards_are_refused_together(boards: list[Path], folder: Path, tmp_path: Path) -> None:
    grey = write_picture(tmp_path / "no-board.png", array=pixels(640, 480))
    missing = tmp_path / "missing.png"
    refused = refusal("photo", "lens", *boards[:3], grey, missing, *BOARD, "-p", folder)
    assert [Path(fault["where"]).name for fault in refused["faults"]] == ["no-board.png", "missing.png"]
    squares = ("--columns", 10, "--rows", 7, "--square", "25mm", "--name", "bench")
    refused = refusal("photo", "lens", boards[0], *squares, "-p", folder)
    assert "9 x 6" in refused["faults"][0]["what"]
    assert "three" in refusal("photo", "lens", *boards[:2], *BOARD, "-p", folder)["what"]
    small = tmp_path / "small.png"
    PIL.Image.open(boards[3]).resize((320, 240), PIL.Image.Resampling.LANCZOS).save(small)
    assert "sizes" in refusal("photo", "lens", *boards[:3], small, *BOARD, "-p", folder)["what"]
    copy = tmp_path / "copy.png"
    copy.write_bytes(boards[0].read_bytes())
    assert "same picture" in refusal("photo", "lens", *boards[:3], copy, *BOARD, "-p", folder)["what"]


def test_views_that_are_all_alike_are_refused(folder: Path, tmp_path: Path) -> None:
    flat = write_boards(tmp_path / "flat", SQUARE_ON[:3])
    refused = refusal("photo", "lens", *flat, *BOARD, "-p", folder)
    assert "cannot be told apart" in refused["what"]


def test_photograph_of_another_size_is_refused(boards: list[Path], folder: Path, tmp_path: Path) -> None:
    upright = write_picture(tmp_path / "side.png", array=pixels(480, 640))
    run("photo", "add", upright, "-p", folder)
    refused = refusal("photo", "lens", *boards, *BOARD, "--used-by", "side", "-p", folder)
    assert "the other way" in refused["what"]
    assert "[[lens]]" not in (folder / "project.toml").read_text()
