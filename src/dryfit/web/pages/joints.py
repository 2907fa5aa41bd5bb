"""Proposals for joints: looked for on the meshes, shown on the model, accepted or refused."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from typing import TYPE_CHECKING

from nicegui.element import Element

from dryfit.app.joints import decide_joints, propose_joints
from dryfit.app.live import Snapshot
from dryfit.base.errors import DryfitError
from dryfit.model.joint import Joint
from dryfit.view.blocks import Block, Heading
from dryfit.view.digits import NONE, write_number
from dryfit.view.reports import joint_blocks
from dryfit.web.model_view import ModelView
from dryfit.web.pages.model import show_model
from dryfit.web.render import box, button, show_blocks, show_refusal, state_mark, text
from dryfit.web.shell import follow, sheet

if TYPE_CHECKING:
    from dryfit.web.bench import Bench

_HEADS = ("joint", "parts", "contacts", "area in mm2", "locators", "")


def build(bench: Bench) -> None:
    """The page. found: what the last search on this page said, kept while the rows are drawn anew."""
    found: list[Block] = []
    with sheet(bench, "joints", "joints"):
        follow(bench, lambda snapshot: _show(bench, snapshot, found))


async def _show(bench: Bench, snapshot: Snapshot, found: list[Block]) -> None:
    joints = snapshot.opened.project.joints
    waiting = [joint for joint in joints if joint.proposed]
    trouble: list[Element] = []

    async def look() -> None:
        await _write(bench, trouble[0], lambda: _look(bench, found))

    async def decide(accept: list[str], refuse: list[str]) -> None:
        async def work() -> None:
            await bench.compute(lambda: decide_joints(bench.path, accept, refuse))

        await _write(bench, trouble[0], work)

    with box("parts-sheet"):
        with box("lane"):
            show_blocks([Heading(_verdict(len(waiting), len(joints)), "caution" if waiting else None)])
            with box("buttons"):
                button("Look for mating faces", look, "" if waiting else "main")
                if waiting:
                    every = ["all"]
                    button("Accept all", partial(decide, every, []), "main", name="accept all proposals")
                    button("Refuse all", partial(decide, [], every), name="refuse all proposals")
            trouble.append(box("trouble"))
            table = box("scroll")
        with box("lane beside"):
            view = await show_model(bench, snapshot)
            text("p", "Choosing a joint brings out its parts and the outline of their common face.", "soft")
    with table:
        if waiting:
            text("h3", "To decide")
            _table(waiting, view, decide)
        if len(waiting) < len(joints):
            text("h3", "In use")
            _table([joint for joint in joints if not joint.proposed], view, None)
        if found:
            with box("", "details"):
                text("summary", "what the last search found")
                show_blocks(found, level=3)


def _verdict(waiting: int, all_of_them: int) -> str:
    if waiting:
        return (
            f"{waiting} proposed joint{'' if waiting == 1 else 's'} to decide; {all_of_them - waiting} in use"
        )
    return f"{all_of_them} joint{'' if all_of_them == 1 else 's'} in use, none to decide"


async def _look(bench: Bench, found: list[Block]) -> None:
    report = await bench.run_job(
        "looking for mating faces", lambda progress: propose_joints(bench.path, progress=progress)
    )
    found[:] = joint_blocks(report)


async def _write(bench: Bench, trouble: Element, work: Callable[[], object]) -> None:
    trouble.clear()
    try:
        async with bench.writing:
            await work()  # type: ignore[misc]
    except DryfitError as error:
        if not trouble.is_deleted:
            with trouble:
                show_refusal(error)
        return
    await bench.reload()


def _table(joints: list[Joint], view: ModelView | None, decide: Callable[..., object] | None) -> None:
    with box("figures", "table"):
        with box("", "thead"), box("", "tr"):
            for head in _HEADS:
                text("th", head).props["scope"] = "col"
        with box("", "tbody"):
            for joint in joints:
                _row(joint, view, decide)


def _row(joint: Joint, view: ModelView | None, decide: Callable[..., object] | None) -> None:
    def bring_out() -> None:
        if view is not None:
            view.highlight(joint.parts, [joint.id])

    with box("", "tr"):
        with box("id", "td"):
            entry = text("button", joint.id, "choose").props('type="button"')
            entry.on("click", bring_out, args=[])
        text("td", " and ".join(joint.parts))
        text("td", str(len(joint.faces.normals)) if joint.faces else "on the meshes")
        text("td", write_number(joint.faces.area_mm2, 0) if joint.faces and joint.faces.area_mm2 else NONE)
        text("td", joint.locators)
        with box("", "td"), box("buttons"):
            if decide is None:
                state_mark("pass", with_word=False)
                text("span", "in use")
            else:
                button("Accept", partial(decide, [joint.id], []), name=f"accept {joint.id}")
                button("Refuse", partial(decide, [], [joint.id]), name=f"refuse {joint.id}")
