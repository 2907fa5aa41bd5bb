"""Revision letters as drawings carry them: A, B, ... without the letters that are read wrongly, then AA."""

from __future__ import annotations

# Left out since they are taken for 1, 0, 0, 5, a mark or 2 (common practice on drawings, no source; the field
# for a revision index is one of a title block, ISO 7200:2004, memory).
LEFT_OUT = "IOQSXZ"
ALPHABET = "".join(letter for letter in "ABCDEFGHIJKLMNOPQRSTUVWXYZ" if letter not in LEFT_OUT)


def letter_rank(letter: str) -> int:
    """Place of a revision letter in the row A, B, ..., Y, AA, AB, ...: 1 for A.

    Raises ValueError for a text that is no revision letter.
    """
    if not letter or any(sign not in ALPHABET for sign in letter):
        raise ValueError(f"{letter!r} is no revision letter")
    rank = 0
    for sign in letter:
        rank = rank * len(ALPHABET) + ALPHABET.index(sign) + 1
    return rank


def next_letter(letter: str) -> str:
    """The revision letter after one; "A" after "".

    Raises ValueError for a text that is no revision letter.
    """
    rank = 1 + (letter_rank(letter) if letter else 0)
    signs = ""
    while rank:
        rank, place = divmod(rank - 1, len(ALPHABET))
        signs = ALPHABET[place] + signs
    return signs
