"""Printing of blocks, refusals and progress."""

from __future__ import annotations

import json
import os
import sys
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any, NoReturn

import typer

if TYPE_CHECKING:
    from rich.console import Console

    from dryfit.view.blocks import Block, State

CLEAR, FAILED, REFUSED = 0, 1, 2


def show(blocks: Sequence[Block]) -> None:
    """Print blocks to standard output."""
    console = _console()
    for block in blocks:
        _print(console, block)
    sys.stdout.flush()  # here a closed pipe or a full disk can still be answered


def show_json(plain: Any) -> None:
    """Print one JSON value and nothing else to standard output.

    Other letters than ASCII are escaped, so that no encoding of the output can spoil them. Flushed here, where
    a closed pipe or a full disk can still be answered.
    """
    print(json.dumps(plain, indent=2, allow_nan=False), flush=True)


@contextmanager
def refusing(as_json: bool = False) -> Iterator[None]:
    """Turn a refusal into its three parts and exit status 2; an interrupt into 130."""
    from dryfit.base.errors import DocumentRefused, DryfitError

    try:
        yield
    except DocumentRefused as error:
        faults = [{"what": fault.what, "where": fault.where, "do": fault.do} for fault in error.faults]
        refuse_plainly(error.what, error.where, error.do, as_json, faults, str(error))
        raise typer.Exit(REFUSED) from error
    except DryfitError as error:
        refuse_plainly(error.what, error.where, error.do, as_json, text=str(error))
        raise typer.Exit(REFUSED) from error
    except KeyboardInterrupt as error:
        print("dryfit: stopped; nothing was half-written", file=sys.stderr)
        raise typer.Exit(130) from error


def refuse_plainly(
    what: str,
    where: str,
    do: str,
    as_json: bool,
    faults: Sequence[dict[str, str]] = (),
    text: str | None = None,
) -> None:
    """Print a refusal: as JSON to standard output, else in words to standard error."""
    if as_json:
        show_json({"refused": {"what": what, "where": where, "do": do, "faults": list(faults)}})
    else:
        words = text or f"{what}\n  where: {where}\n  do: {do}"
        print(f"dryfit: {_without_controls(words)}", file=sys.stderr)


def prepare_streams() -> None:
    """Names that an output's encoding cannot hold are escaped; a closed output takes nothing."""
    for name in ("stdout", "stderr"):
        stream = getattr(sys, name)
        if stream is None:
            setattr(sys, name, open(os.devnull, "w", encoding="utf-8"))  # noqa: SIM115
        else:
            stream.reconfigure(errors="backslashreplace")


def abandon_output() -> None:
    """Let go of what could not be written, or the interpreter would try once more while it ends."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def finish(is_clear: bool) -> NoReturn:
    """Exit with 0 where everything is clear, else 1."""
    raise typer.Exit(CLEAR if is_clear else FAILED)


def progress(what: str) -> Callable[[int, int], None]:
    """Progress on standard error, shown on a terminal once the work takes more than half a second."""
    started = time.monotonic()

    def report(done: int, total: int) -> None:
        if not sys.stderr.isatty() or time.monotonic() - started < 0.5:
            return
        end = "\r" if done < total else "\r\033[K"
        print(f"\r\033[K{what}: {done} of {total}", end=end, file=sys.stderr, flush=True)

    return report


def _console() -> Console:
    from rich.console import Console

    # A file or pipe has no width: rows then stay whole.
    width = None if sys.stdout.isatty() else 200
    return Console(highlight=False, width=width, soft_wrap=False)


def _print(console: Console, block: Block) -> None:
    from rich.padding import Padding
    from rich.text import Text

    from dryfit.view.blocks import Heading, Sentence

    if isinstance(block, Heading):
        text = Text()
        if block.state:
            text.append(f"{_shape(block.state)} ", _colour(block.state))
        text.append(_without_controls(block.text), "bold")
        console.print(text)
    elif isinstance(block, Sentence):
        text = Text()
        if block.state:
            text.append(f"{_shape(block.state)} ", _colour(block.state))
        words = _without_controls(block.text)
        text.append(f"- {words}" if block.mark else words)
        console.print(Padding(text, (0, 0, 0, 2), expand=False))
    else:
        console.print(_table(block))


def _table(block: Any) -> Any:
    from rich.padding import Padding
    from rich.table import Table
    from rich.text import Text

    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0), header_style="dim")
    if block.states:
        table.add_column("")
    for index, head in enumerate(block.heads):
        table.add_column(head, justify="right" if index in block.right else "left", overflow="fold")
    for index, row in enumerate(block.rows):
        cells = [Text(_without_controls(cell)) for cell in row]
        if block.states:
            state = block.states[index]
            cells = [Text(_shape(state), _colour(state)), *cells]
        table.add_row(*cells)
    return Padding(table, (0, 0, 0, 2), expand=False)


def _shape(state: State) -> str:
    from dryfit.view.blocks import SHAPES

    try:
        SHAPES[state].encode(sys.stdout.encoding or "utf-8")
    except UnicodeEncodeError:
        return f"[{state}]"
    return SHAPES[state]


def _without_controls(text: str) -> str:
    """A name from a file may hold control characters, which could steer the terminal."""
    from unicodedata import category

    unsafe = {"Cc", "Cf", "Cs", "Zl", "Zp"}
    return "".join(
        letter.encode("unicode_escape").decode() if category(letter) in unsafe and letter != "\n" else letter
        for letter in text
    )


def _colour(state: State) -> str:
    from dryfit.view.blocks import COLOURS

    return COLOURS[state]
