"""Pages as PDF or as pictures: a Typst source and the data that it shows."""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import Any

from dryfit.base.errors import NotWritten


def render_pdf(source: str, data: Mapping[str, Any], figures: Mapping[str, str] | None = None) -> bytes:
    """A document as PDF; the same bytes for the same input.

    source : Typst markup; reads its data by json(bytes(sys.inputs.data)) and each figure, an SVG, by
        image(bytes(sys.inputs.at(NAME)), format: "svg"), so that no text needs escaping
    Uses the fonts that come with the typesetter, no others, and no network.
    Raises NotWritten where the source cannot be set.
    """
    return bytes(_compile(source, data, figures or {}, "pdf", None))


def render_pages(
    source: str,
    data: Mapping[str, Any],
    figures: Mapping[str, str] | None = None,
    dots_per_inch: float = 100.0,
) -> list[bytes]:
    """The same, one PNG picture per page."""
    pages = _compile(source, data, figures or {}, "png", dots_per_inch)
    return [pages] if isinstance(pages, bytes) else [bytes(page) for page in pages]


def _compile(
    source: str, data: Mapping[str, Any], figures: Mapping[str, str], form: Any, dots_per_inch: float | None
) -> Any:
    import typst

    inputs = {"data": json.dumps(data, allow_nan=False), **figures}
    try:
        return typst.compile(
            source.encode("utf-8"),
            format=form,
            ppi=dots_per_inch,
            sys_inputs=inputs,
            ignore_system_fonts=True,
            timestamp=0,
        )
    except typst.TypstError as error:
        do = "report this: the page is made by the program"
        raise NotWritten(f"the page cannot be set: {error}", "document as PDF", do) from error
