"""An area on which files are dropped, or in which they are chosen."""

from __future__ import annotations

import json
from collections.abc import Sequence

from dryfit.web.render import box, text


def drop_area(
    name: str,
    words: str,
    hint: str,
    choose: str,
    address: str,
    endings: Sequence[str] = (),
    several: bool = True,
) -> None:
    """Files dropped here, or chosen, go to the server; what becomes of them is drawn by the server.

    name : of the area for readers of the screen, choose: of the field in it
    address : where the files are sent; endings : of the files that can be chosen, () for all
    """
    with box("drop", "section", name) as area:
        text("strong", words)
        text("span", hint, "soft")
        chooser = box("", "input", choose).props('type="file"')
        if several:
            chooser.props["multiple"] = True
        if endings:
            chooser.props["accept"] = ",".join(endings)
        progress = box("receiving", "span").props('role="status"')
    target = f"getHtmlElement({progress.id})"

    def send(files: str, chosen_by: str) -> str:
        return f"dryfitSheet.send({files}, {target}, {chosen_by}, {json.dumps(address)})"

    over = "e.preventDefault(); e.currentTarget.classList"
    chooser.on("change", js_handler=f"(e) => {send('e.target.files', 'e.target')}")
    area.on("dragover", js_handler=f"(e) => {{ {over}.add('over-it'); }}")
    area.on("dragleave", js_handler="(e) => e.currentTarget.classList.remove('over-it')")
    area.on(
        "drop", js_handler=f"(e) => {{ {over}.remove('over-it'); {send('e.dataTransfer.files', 'null')}; }}"
    )
