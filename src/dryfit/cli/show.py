"""Printing of blocks, refusals and progress."""

from __future__ import annotations

import json
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


def show_json(plain: Any) -> None:
    """Print one JSON value and nothing else to standard output."""
    print(json.dumps(plain, indent=2, allow_nan=False, ensure_ascii=False))


@contextmanager
def refusing(as_json: bool = False) -> Iterator[None]:
    """Turn a refusal into its three parts and exit status 2; an interrupt into 130."""
    from dryfit.base.errors import DocumentRefused, DryfitError

    try:
        yield
    except DryfitError as error:
        if as_json:
            faults = error.faults if isinstance(error, DocumentRefused) else ()
            refused = {
                "what": error.what,
                "where": error.where,
                "do": error.do,
                "faults": [{"what": f.what, "where": f.where, "do": f.do} for f in faults],
            }
            show_json({"refused": refused})
        else:
            print(f"dryfit: {error}", file=sys.stderr)
        raise typer.Exit(REFUSED) from error
    except KeyboardInterrupt as error:
        print("dryfit: stopped; nothing was half-written", file=sys.stderr)
        raise typer.Exit(130) from error


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
        text.append(block.text, "bold")
        console.print(text)
    elif isinstance(block, Sentence):
        text = Text()
        if block.state:
            text.append(f"{_shape(block.state)} ", _colour(block.state))
        text.append(f"- {block.text}" if block.mark else block.text)
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
        cells = [Text(cell) for cell in row]
        if block.states:
            state = block.states[index]
            cells = [Text(_shape(state), _colour(state)), *cells]
        table.add_row(*cells)
    return Padding(table, (0, 0, 0, 2), expand=False)


def _shape(state: State) -> str:
    from dryfit.view.blocks import SHAPES

    return SHAPES[state]


def _colour(state: State) -> str:
    from dryfit.view.blocks import COLOURS

    return COLOURS[state]
