"""The workbench notices what is recorded about machines, here or by another process."""

import asyncio
import time

import pytest

from dryfit.app.qualify import Choices, qualify_machine
from dryfit.web import bench as bench_module
from dryfit.web.pages.machine_answers import Answers
from support.event_loops import work_on
from support.read_artefacts import write_artefact, write_readings, write_unknown


@pytest.fixture
def folder(tmp_path):
    return write_unknown(tmp_path)


@pytest.fixture(autouse=True)
def quick_poll(monkeypatch):
    monkeypatch.setattr(bench_module, "POLL_S", 0.02)


async def until(is_so, timeout_s=20.0):
    end = time.monotonic() + timeout_s
    while not is_so():
        assert time.monotonic() < end, "it never came"
        await asyncio.sleep(0.01)


def knowledge(bench):
    return bench.snapshot.opened.project.machine("tall").error.knowledge


def test_a_qualification_by_another_process_is_taken_at_once(folder):
    write_readings(folder, write_artefact(folder))

    async def story(bench):
        assert knowledge(bench) == "prior"
        await asyncio.to_thread(qualify_machine, folder, "tall", Choices(keep=True))
        await until(lambda: knowledge(bench) == "estimated")
        assert not bench.on_disk_changed

    work_on(folder, story)


def test_a_reading_is_told_to_the_pages_without_reading_the_project_anew(folder):
    artefact = write_artefact(folder)

    async def story(bench):
        snapshot, heard = bench.snapshot, []
        await until(lambda: bench.marks.latest == artefact[0])
        bench.subscribe(lambda: heard.append(bench.marks.latest))
        records = await asyncio.to_thread(write_readings, folder, artefact)
        await until(lambda: records[-1] in heard)
        assert bench.snapshot is snapshot

    work_on(folder, story)


def test_a_document_changed_as_well_is_still_offered_first(folder):
    write_readings(folder, write_artefact(folder))

    async def story(bench):
        document = folder / "project.toml"
        document.write_text(document.read_text() + "\n# a word\n")
        await until(lambda: bench.on_disk_changed)
        await asyncio.to_thread(qualify_machine, folder, "tall", Choices(keep=True))
        await until(lambda: bench.marks.qualification > 0)
        await asyncio.sleep(0.2)
        assert knowledge(bench) == "prior"
        await bench.reload()
        assert knowledge(bench) == "estimated"

    work_on(folder, story)


def test_a_slow_answer_is_made_once_until_something_is_recorded(folder):
    artefact = write_artefact(folder)

    async def story(bench):
        answers, made = Answers(bench), []
        await until(lambda: bench.marks.latest == artefact[0])

        def work():
            made.append(1)
            return len(made)

        assert await asyncio.gather(answers.get("a", work), answers.get("a", work)) == [1, 1]
        await asyncio.to_thread(write_readings, folder, artefact)
        await until(lambda: bench.marks.latest > artefact[0])
        assert await answers.get("a", work) == 2

    work_on(folder, story)
