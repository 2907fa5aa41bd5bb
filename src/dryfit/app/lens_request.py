"""What is asked of a lens on the command line, out of words."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import PurePath

from dryfit.app.lens_records import LensAsked, LensRefused
from dryfit.calc.quantities import NotALength, read_length


def read_lens_request(
    columns: int,
    rows: int,
    square: str,
    name: str,
    without: Sequence[str] | None = None,
    keep: Sequence[str] | None = None,
    because: str = "",
    used_by: Sequence[str] | None = None,
    window_px: int | None = None,
    is_k3_found: bool | None = None,
    again: bool = False,
    look: bool = False,
) -> LensAsked:
    """The request; photographs may be named with their folders. Raises LensRefused where the square is no length."""
    try:
        square_mm = read_length(square)
    except NotALength as error:
        what = f'"{square}" is not read as a length: {error}'
        raise LensRefused(what, "--square", "write it with its unit, such as 25mm or 1in") from error
    return LensAsked(
        columns=columns,
        rows=rows,
        square_mm=square_mm,
        name=name,
        without=tuple(dict.fromkeys(PurePath(file).name for file in without or ())),
        keep=tuple(dict.fromkeys(PurePath(file).name for file in keep or ())),
        because=because,
        used_by=tuple(dict.fromkeys(used_by or ())),
        window_px=window_px,
        is_k3_found=is_k3_found,
        again=again,
        look=look,
    )
