"""The three-dimensional view as the sheets use it."""

from __future__ import annotations

import asyncio
from collections.abc import Mapping
from typing import TYPE_CHECKING

from dryfit.app.live import Snapshot
from dryfit.base.errors import ComputationRefused
from dryfit.view.as_built_page import wash_entries
from dryfit.web.model_view import ModelView
from dryfit.web.render import box, show_refusal, text

if TYPE_CHECKING:
    from dryfit.web.bench import Bench


async def show_model(
    bench: Bench,
    snapshot: Snapshot,
    is_small: bool = False,
    colouring: str = "part",
    built: Mapping[str, str] | None = None,
) -> ModelView | None:
    """The model as placed by the forecast; None where the project has no part to show.

    built : state of each part as built, where it can be coloured by that
    """
    if not snapshot.opened.project.parts:
        text("p", "No part is in the project yet: drop mesh files on the parts sheet.", "soft")
        return None
    with box("model small" if is_small else "model"):
        view = ModelView(bench)
        try:
            view.show()
        except ComputationRefused as error:
            show_refusal(error)
        if built is not None:
            view.set_built(built, wash_entries())
        view.set_colouring(colouring)
    await asyncio.sleep(0)
    return view
