"""The sheets of the workbench and their addresses."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

from nicegui import app, ui

from dryfit.web.meshes import ViewMeshes
from dryfit.web.overlays import ViewWalls
from dryfit.web.pages import (
    as_built,
    bench_sheet,
    changes,
    evidence,
    fit,
    hold,
    joints,
    machine_sheet,
    overview,
    parts,
    scan_sheet,
    schedule,
    settings,
)
from dryfit.web.pages.machine_answers import Answers
from dryfit.web.pictures import ViewPictures
from dryfit.web.shell import STATIC

if TYPE_CHECKING:
    from dryfit.web.bench import Bench


def build_pages(bench: Bench) -> None:
    """Make every sheet reachable. Called once, before the server starts."""
    app.add_static_files(STATIC, Path(__file__).parents[1].joinpath("static"), max_cache_age=0)
    copies = ViewMeshes(bench)
    copies.register(app)
    app.on_shutdown(copies.close)
    ViewWalls(bench, copies).register(app)
    bench.overlays.register(app)
    ViewPictures(bench).register(app)
    plain: dict[str, Callable[[Bench], None]] = {
        "/": overview.build,
        "/hold": hold.build,
        "/joints": joints.build,
    }
    for address, build in plain.items():
        _register(address, build, bench)

    @ui.page("/evidence")
    def _evidence(show: str = "") -> None:
        evidence.build(bench, show)

    @ui.page("/fit")
    def _fit(show: str = "") -> None:
        fit.build(bench, show)

    @ui.page("/parts")
    def _parts(show: str = "") -> None:
        parts.build(bench, show)

    @ui.page("/schedule")
    def _schedule(show: str = "") -> None:
        schedule.build(bench, show)

    answers = Answers(bench)

    @ui.page("/machine")
    def _machine(show: str = "") -> None:
        machine_sheet.build(bench, answers, show)

    @ui.page("/bench")
    def _bench(machine: str = "", measure: str = "", do: str = "", part: str = "") -> None:
        bench_sheet.build(bench, answers, machine, measure, do, part)

    @ui.page("/as-built")
    def _as_built(show: str = "") -> None:
        as_built.build(bench, answers, show)

    @ui.page("/scan")
    def _scan(show: str = "") -> None:
        scan_sheet.build(bench, show)

    @ui.page("/changes")
    def _changes(since: str = "", until: str = "") -> None:
        changes.build(bench, answers, since, until)

    @ui.page("/settings")
    def _settings(find: str = "") -> None:
        settings.build(bench, find)


def _register(address: str, build: Callable[[Bench], None], bench: Bench) -> None:
    @ui.page(address)
    def _page() -> None:
        build(bench)
