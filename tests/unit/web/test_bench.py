"""The open project of a server: work in threads, listeners, a document that changes on disk, visits."""

import asyncio
import threading
import time

import pytest

from dryfit.app.visits import note_visit
from dryfit.base.errors import DocumentRefused, DryfitError, Interrupted
from dryfit.web import bench as bench_module
from support.event_loops import work_on
from support.projects import write_project


@pytest.fixture
def folder(tmp_path):
    return write_project(tmp_path)


@pytest.fixture(autouse=True)
def quick_poll(monkeypatch):
    monkeypatch.setattr(bench_module, "POLL_S", 0.02)


async def until(is_so, timeout_s=5.0):
    end = time.monotonic() + timeout_s
    while not is_so():
        assert time.monotonic() < end, "it never came"
        await asyncio.sleep(0.01)


def edit(folder, old, new):
    document = folder / "project.toml"
    text = document.read_text()
    assert old in text
    document.write_text(text.replace(old, new, 1))


def test_the_project_is_read_in_a_thread(folder):
    async def story(bench):
        assert bench.refusal is None
        assert bench.snapshot.opened.project.name == "Portal"
        assert bench.loaded_at is not None
        assert [(job.words, job.state) for job in bench.jobs] == [("reading the project", "finished")]

    work_on(folder, story)


def test_the_loop_stays_free_while_work_is_done(folder):
    async def story(bench):
        ticks, is_done = 0, threading.Event()
        working = asyncio.create_task(bench.run_job("long", lambda _: is_done.wait(5)))
        for _ in range(20):
            await asyncio.sleep(0.005)
            ticks += 1
        assert bench.jobs[-1].state == "running"
        is_done.set()
        assert await working is True
        assert ticks == 20

    work_on(folder, story)


def test_progress_reaches_every_listener(folder):
    async def story(bench):
        seen = {"one": [], "other": []}
        bench.subscribe(lambda: seen["one"].append(bench.jobs[-1].done))
        bench.subscribe(lambda: seen["other"].append(bench.jobs[-1].done))

        def work(progress):
            for step in range(3):
                progress(step + 1, 3)
                time.sleep(0.12)

        await bench.run_job("counting", work)
        await asyncio.sleep(0.01)
        assert seen["one"] == seen["other"]
        assert {1, 2, 3} <= set(seen["one"])
        assert (bench.jobs[-1].done, bench.jobs[-1].total, bench.jobs[-1].state) == (3, 3, "finished")

    work_on(folder, story)


def test_while_work_only_goes_on_nothing_counts_as_changed(folder):
    """So that pages leave their buttons alone, among them the one that cancels the work."""

    async def story(bench):
        seen = []

        def work(progress):
            for step in range(3):
                progress(step + 1, 4)
                time.sleep(0.12)

        bench.subscribe(lambda: seen.append((bench.changes, bench.jobs[-1].done)))
        before = bench.changes
        await bench.run_job("counting", work)
        await asyncio.sleep(0.01)
        assert bench.changes == before + 2  # it began and it ended
        assert {(before + 1, done) for done in (1, 2, 3)} <= set(seen)

    work_on(folder, story)


def test_a_listener_that_left_hears_no_more(folder):
    async def story(bench):
        heard = []
        leave = bench.subscribe(lambda: heard.append(1))
        leave()
        leave()
        await bench.reload()
        await asyncio.sleep(0.01)
        assert heard == []

    work_on(folder, story)


def test_a_fault_of_one_listener_spares_the_others(folder):
    async def story(bench):
        faults, heard = [], []
        asyncio.get_running_loop().set_exception_handler(
            lambda _, context: faults.append(context["exception"])
        )
        bench.subscribe(lambda: 1 / 0)
        bench.subscribe(lambda: heard.append(1))
        bench.tell()
        await asyncio.sleep(0.01)
        assert heard == [1]
        assert isinstance(faults[0], ZeroDivisionError)

    work_on(folder, story)


def test_work_is_cancelled_at_its_next_step(folder):
    async def story(bench):
        steps = []

        def work(progress):
            for step in range(1000):
                progress(step, 1000)
                steps.append(step)
                time.sleep(0.005)

        working = asyncio.create_task(bench.run_job("endless", work))
        await until(lambda: len(steps) > 2)
        bench.jobs[-1].cancel()
        with pytest.raises(Interrupted):
            await working
        assert bench.jobs[-1].state == "cancelled"
        assert len(steps) < 100

    work_on(folder, story)


def test_a_refusal_is_kept_with_the_job(folder):
    async def story(bench):
        def work(_):
            raise DryfitError("it will not", "here", "do otherwise")

        with pytest.raises(DryfitError, match="it will not"):
            await bench.run_job("trying", work)
        assert (bench.jobs[-1].state, bench.jobs[-1].error.do) == ("refused", "do otherwise")

    work_on(folder, story)


def test_an_unforeseen_fault_is_raised_and_shown(folder):
    async def story(bench):
        with pytest.raises(ZeroDivisionError):
            await bench.run_job("dividing", lambda _: 1 / 0)
        assert bench.jobs[-1].state == "refused"
        assert "ZeroDivisionError: division by zero" in bench.jobs[-1].error.what

    work_on(folder, story)


def test_old_work_is_forgotten_and_running_work_is_not(folder):
    async def story(bench):
        is_done = threading.Event()
        long = asyncio.create_task(bench.run_job("long", lambda _: is_done.wait(5)))
        await asyncio.sleep(0)
        for number in range(40):
            await bench.run_job(str(number), lambda _: None)
        words = [job.words for job in bench.jobs]
        assert len(words) <= bench_module.MOST_JOBS_KEPT
        assert {"long", "39"} <= set(words)
        is_done.set()
        await long

    work_on(folder, story)


def test_a_change_on_disk_is_offered_and_not_taken(folder):
    async def story(bench):
        heard = []
        bench.subscribe(lambda: heard.append(bench.on_disk_changed))
        before = bench.snapshot
        edit(folder, 'name = "Portal"', 'name = "Gate"')
        await until(lambda: bench.on_disk_changed)
        await asyncio.sleep(0.01)
        assert heard == [True]
        assert bench.snapshot is before
        await bench.reload()
        assert bench.snapshot.opened.project.name == "Gate"
        assert not bench.on_disk_changed

    work_on(folder, story)


def test_a_document_put_back_is_no_change(folder):
    async def story(bench):
        edit(folder, 'name = "Portal"', 'name = "Gate"')
        await until(lambda: bench.on_disk_changed)
        edit(folder, 'name = "Gate"', 'name = "Portal"')
        await until(lambda: not bench.on_disk_changed)

    work_on(folder, story)


def test_a_document_that_went_away_is_a_change(folder):
    async def story(bench):
        (folder / "project.toml").unlink()
        await until(lambda: bench.on_disk_changed)
        await bench.reload()
        assert bench.refusal is not None
        assert bench.snapshot is not None

    work_on(folder, story)


def test_the_last_good_state_stays_where_the_new_one_is_refused(folder):
    async def story(bench):
        good = bench.snapshot
        edit(folder, 'machine = "tall"', 'machine = "tal"')
        await bench.reload()
        assert bench.snapshot is good
        assert isinstance(bench.refusal, DocumentRefused)
        assert "tal" in bench.refusal.faults[0].what
        # What was refused is shown already, so it is not offered once more.
        await asyncio.sleep(0.1)
        assert not bench.on_disk_changed
        edit(folder, 'machine = "tal"', 'machine = "tall"')
        await until(lambda: bench.on_disk_changed)
        await bench.reload()
        assert bench.refusal is None

    work_on(folder, story)


def test_a_broken_document_is_shown_from_the_start_and_can_be_mended(folder):
    edit(folder, "schema = 1", "schema = 'one'")

    async def story(bench):
        assert bench.snapshot is None
        assert isinstance(bench.refusal, DocumentRefused)
        edit(folder, "schema = 'one'", "schema = 1")
        await until(lambda: bench.on_disk_changed)
        await bench.reload()
        assert bench.snapshot is not None

    work_on(folder, story)


def test_the_first_visit_has_nothing_to_compare_with(folder):
    work_on(folder, lambda bench: _visit_is(bench, None))


async def _visit_is(bench, causes):
    since = bench.visit.since
    assert (None if since is None else since.causes) == causes


def test_the_next_visit_says_what_changed(folder):
    work_on(folder, lambda bench: _visit_is(bench, None))
    work_on(folder, lambda bench: _visit_is(bench, ()))
    edit(folder, "skew_xz_deg = 0.4", "skew_xz_deg = 0.1")
    causes = ("tall.skew_xz_deg: 0.4 (std 0.02) -> 0.1 (std 0.02)", "the document was edited")
    work_on(folder, lambda bench: _visit_is(bench, causes))


def test_a_visit_without_a_forecast_since_has_no_news(folder):
    work_on(folder, lambda bench: _visit_is(bench, None))
    visit = note_visit(folder)
    assert visit.since is None
    assert visit.previous_at is not None
    assert visit.at > visit.previous_at


def test_a_ledger_that_is_none_is_shown_as_a_refusal(folder):
    (folder / "ledger.db").write_bytes(b"this is no database at all, nor was it ever one" * 20)

    async def story(bench):
        assert bench.refusal is not None
        assert bench.visit is None

    work_on(folder, story)
