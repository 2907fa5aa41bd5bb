"""The parts sheet without a browser: typed words as a request, buffers that are kept, reports and their state."""

import asyncio

import numpy as np
import pytest

from dryfit.app.feature_adding import FeatureRequest
from dryfit.app.feature_request import FeatureRefused
from dryfit.base.errors import Interrupted
from dryfit.model.feature import FEATURE_KINDS, Pick
from dryfit.model.finding import Finding, MeasuredFeature
from dryfit.web import bench as bench_module
from dryfit.web.found import feature_flag, place_flag, place_words
from dryfit.web.meshes import ViewMeshes
from dryfit.web.overlays import Overlays, ViewWalls, walls_address, walls_version
from dryfit.web.pages.parts_form import FACES_OF, KIND_WORDS, make_request
from dryfit.web.pages.parts_rows import count_words
from support.event_loops import run_alone, work_on
from support.projects import write_project


def pick(part="post-1", point=(1.0, 2.0, 3.0)):
    return Pick(part, np.array(point), np.array([0.0, 0.0, 1.0]), "plane", 5.0)


def test_every_kind_can_be_chosen():
    assert tuple(KIND_WORDS) == FEATURE_KINDS
    assert tuple(FACES_OF) == FEATURE_KINDS


def test_what_is_typed_is_the_request_of_the_command_line():
    typed = {"kind": "distance", "nominal": " 20.5", "std": "0.1", "limits": "limits", "limit": "20.4,20.6"}
    made = make_request(typed | {"id": "gap"}, [pick(), pick("post-2", (4.0, 5.0, 6.0))])
    assert made == FeatureRequest(
        kind="distance",
        id="gap",
        parts=("post-1", "post-2"),
        at=((1.0, 2.0, 3.0), (4.0, 5.0, 6.0)),
        nominal=20.5,
        std=0.1,
        limits=(20.4, 20.6),
    )


@pytest.mark.parametrize(
    ("chosen", "words", "expected"),
    [
        ("deviations", "-0.1,0.2", {"deviations": (-0.1, 0.2)}),
        ("iso_286", "H8", {"iso_286": "H8"}),
        ("iso_2768", "m", {"iso_2768": "m"}),
        ("limits", ",0.2", {"limits": (None, 0.2)}),
    ],
)
def test_limits_are_written_in_their_own_way(chosen, words, expected):
    made = make_request({"kind": "flatness", "limits": chosen, "limit": words}, [pick()])
    assert made == FeatureRequest(kind="flatness", parts=("post-1",), at=((1.0, 2.0, 3.0),), **expected)


def test_an_extent_is_over_parts_and_a_section_through_the_point():
    picks = [pick(), pick("post-2"), pick("post-1")]
    made = make_request({"kind": "extent", "along": "0,0,2"}, picks)
    assert made == FeatureRequest(kind="extent", parts=("post-1", "post-2"), along=(0.0, 0.0, 1.0))
    made = make_request({"kind": "section", "along": "0,0,1", "across": "1,0,0"}, [pick()])
    assert (made.at, made.across, made.along) == (((1.0, 2.0, 3.0),), (1.0, 0.0, 0.0), (0.0, 0.0, 1.0))


@pytest.mark.parametrize(
    ("typed", "picks", "words"),
    [
        ({"kind": "distance"}, 1, "1 of 2 faces picked"),
        ({"kind": "extent"}, 0, "0 of at least one part picked"),
        ({"kind": "flatness", "nominal": "two"}, 1, '"two" is no number'),
        ({"kind": "flatness", "limits": "iso_2768"}, 1, "the limits are not written"),
    ],
)
def test_what_is_missing_is_said(typed, picks, words):
    with pytest.raises(FeatureRefused, match=words):
        make_request(typed, [pick()] * picks)


def test_the_words_of_places_and_dimension_lines():
    measured = MeasuredFeature("drum", "extent", ("a",), "mm", "stop", "", measured=200.0)
    assert feature_flag(measured) == "drum 200 mm"
    many = Finding("wall", ("a",), "stop", "thin", places_mm=np.zeros((5, 3)))
    assert place_flag(many, 1, 5) == "wall, place 2 of 5"
    assert place_words(np.array([1.0, -0.0, 2.345])) == "x 1.00, y 0.00, z 2.35 mm in the model"
    assert count_words([many, many, Finding("bed", ("a",), "caution", "flare")]) == "2 stop, 1 caution"
    assert count_words([Finding("bed", ("a",), "pass", "clear")]) == "clear"


def test_buffers_are_kept_under_what_they_hold_until_there_are_too_many():
    overlays = Overlays(most_bytes=20)
    first, again, second = (
        overlays.keep(b"0123456789"),
        overlays.keep(b"0123456789"),
        overlays.keep(b"abcdefghij"),
    )
    assert first == again != second
    name = first.rpartition("/")[2].removesuffix(".bin")
    assert run_alone(overlays.answer(name)).body == b"0123456789"
    overlays.keep(b"x")
    gone = run_alone(overlays.answer(name))
    assert gone.status_code == 404
    assert b"choose it again" in gone.body


@pytest.fixture
def folder(tmp_path):
    return write_project(tmp_path)


def test_the_parts_are_checked_once_and_recalled_when_the_project_is_read_again(folder):
    async def first(bench):
        assert bench.parts_report is None
        await bench.check_parts()
        assert [(job.words, job.state) for job in bench.jobs][-1] == ("checking the parts", "finished")
        assert [part.id for part in bench.parts_report.parts] == ["base", "post-1", "post-2", "lintel"]

    async def second(bench):
        return bench.parts_report

    work_on(folder, first)
    assert work_on(folder, second).part("lintel").is_kept


def test_a_report_does_not_outlive_the_state_that_it_is_of(folder):
    async def story(bench):
        await bench.check_parts()
        document = folder / "project.toml"
        document.write_text(
            document.read_text()
            .replace('order = ["base", "post-1"', 'order = ["base", "post-2"', 1)
            .replace('"post-2", "post-2"', '"post-2", "post-1"')
        )
        before = bench.parts_report
        await bench.reload()
        return before, bench.parts_report

    before, after = work_on(folder, story)
    assert before is not None
    assert after is not before


def test_a_check_is_cancelled_and_leaves_no_report(folder, monkeypatch):
    def endless(*arguments, progress):
        while True:
            progress(0, 1)

    monkeypatch.setattr(bench_module, "check_parts", endless)

    async def story(bench):
        check = asyncio.create_task(bench.check_parts())
        while not any(job.words == "checking the parts" for job in bench.jobs):
            await asyncio.sleep(0.01)
        assert bench.is_checking
        bench.cancel(bench.jobs[-1].id)
        with pytest.raises(Interrupted):
            await check
        return bench.is_checking, bench.parts_report

    assert work_on(folder, story) == (False, None)


def test_the_surface_of_walls_is_served_for_what_was_measured(folder):
    async def story(bench):
        walls = ViewWalls(bench, ViewMeshes(bench))
        before = await walls.answer("lintel", "x")
        await bench.check_parts()
        check = bench.parts_report.part("lintel")
        stale = await walls.answer("lintel", "x")
        right = await walls.answer("lintel", walls_version(check))
        assert walls_address(check).endswith(f"/lintel.bin?v={walls_version(check)}")
        return before.status_code, stale.status_code, np.frombuffer(right.body, "<f4").reshape(-1, 3, 4)

    before, stale, corners = work_on(folder, story)
    assert (before, stale) == (404, 409)
    # The lintel is 200 x 60 x 20 mm: on every side the wall is as thick as it is long across.
    for axis, size in enumerate((200.0, 60.0, 20.0)):
        flat = np.ptp(corners[:, :, axis], axis=1) == 0.0
        assert flat.sum() > 1000
        assert np.allclose(corners[flat][:, :, 3], size, atol=1e-3)
    assert corners[:, :, 2].min() == 120.0
