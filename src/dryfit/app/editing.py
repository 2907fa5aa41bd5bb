"""The project document as text under the user's hands: checked as it is typed, saved when it is valid."""

from __future__ import annotations

import hashlib
import re
from dataclasses import dataclass
from pathlib import Path

from dryfit.base.errors import DocumentRefused, NotWritten
from dryfit.store.atomic import write_atomically
from dryfit.store.document import DOCUMENT_NAME, parse_document, read_text

_LINE = re.compile(r"\(line (\d+)")


@dataclass(frozen=True, slots=True)
class Draft:
    """The text as it stands on disk. sha256: of that text; path: of the file."""

    path: Path
    text: str
    sha256: str


@dataclass(frozen=True, slots=True)
class TextFault:
    """One fault. line: counted from 1; None where it belongs to no line."""

    line: int | None
    where: str
    what: str
    do: str


def read_draft(path: Path) -> Draft:
    """The document's text, valid or not.

    Raises ProjectMissing, or DocumentRefused where it is no readable text.
    """
    file = path / DOCUMENT_NAME if path.is_dir() else path
    text = read_text(file)
    return Draft(file, text, _hash(text))


def check_text(text: str) -> tuple[TextFault, ...]:
    """Every fault of a text by line; empty where it is a valid document."""
    try:
        parse_document(text, DOCUMENT_NAME)
    except DocumentRefused as refusal:
        return tuple(
            TextFault(_line_of(fault.where), fault.where, fault.what, fault.do) for fault in refusal.faults
        )
    return ()


def save_text(draft: Draft, text: str) -> Draft:
    """Write a valid text in place of the draft, and return it as the new one.

    A page hands lines back with plain ends; where the draft's lines all end otherwise, that stays.
    Raises DocumentRefused with every fault, NotWritten where the file is no longer the draft; the file is
    then as it was.
    """
    if "\r\n" in draft.text and "\n" not in draft.text.replace("\r\n", ""):
        text = text.replace("\r\n", "\n").replace("\n", "\r\n")
    parse_document(text, draft.path.name)
    if _hash(read_text(draft.path)) != draft.sha256:
        raise NotWritten(
            "the document was changed on disk since it was opened here",
            str(draft.path),
            "copy your text, load the file again, and make the change in it",
        )
    if text != draft.text:
        write_atomically(draft.path, text.encode("utf-8"))
    return Draft(draft.path, text, _hash(text))


def _line_of(where: str) -> int | None:
    match = _LINE.search(where)
    return int(match.group(1)) if match else None


def _hash(text: str) -> str:
    return hashlib.sha256(text.encode("utf-8")).hexdigest()
