"""What is asked of a schedule on the command line or a page, as options."""

from __future__ import annotations

from collections.abc import Sequence

from dryfit.app.schedule import Options
from dryfit.app.schedule_decisions import Verb
from dryfit.base.errors import ReferenceUnknown
from dryfit.calc.quantities import NotALength, read_length


def read_options(
    without: Sequence[str] | None,
    keep: Sequence[str] | None,
    restore: Sequence[str] | None,
    because: str,
    what_next: bool,
    next_std: str,
    unrecorded: bool,
) -> Options:
    """The options. Raises ReferenceUnknown where they do not go together or a length is none."""
    asked: list[tuple[Verb, tuple[str, ...]]] = []
    for verb, ids in (("without", without), ("keep", keep), ("restore", restore)):
        if ids:
            asked.append((verb, tuple(dict.fromkeys(ids))))  # type: ignore[arg-type]
    if len(asked) > 1:
        raise ReferenceUnknown(
            f"--{asked[0][0]} and --{asked[1][0]} are asked for together",
            "dryfit schedule",
            "make one decision after the other, each with its reason",
        )
    if because and not asked:
        raise ReferenceUnknown(
            "a reason is given and nothing is decided",
            "dryfit schedule --because",
            "name what it is about: --without ID, --keep ID or --restore ID",
        )
    if next_std and not what_next:
        raise ReferenceUnknown(
            "--next-std is of measurements that are ranked", "dryfit schedule --next-std", "add --what-next"
        )
    verb_asked, ids_asked = asked[0] if asked else (None, ())
    return Options(
        verb=verb_asked,
        ids=ids_asked,
        because=because,
        what_next=what_next,
        next_std_mm=read_std(next_std) if next_std else None,
        record=not unrecorded,
    )


def read_std(text: str) -> float:
    """[mm] of a typed standard uncertainty. Raises ReferenceUnknown where it is none."""
    where = f'dryfit schedule --next-std "{text}"'
    do = 'write a length with its unit, such as 5mm or "1/4 in"'
    try:
        size = read_length(text)
    except NotALength as error:
        raise ReferenceUnknown(f"it is not read as a length: {error}", where, do) from error
    if not size > 0.0:
        raise ReferenceUnknown("a standard uncertainty is above zero", where, do)
    return size
