"""Bodies from which the figures of a machine can be read: their shape, and all that can be measured on them."""

from dryfit.calc.artefact.body import build_mesh, build_pieces, design_body, list_boxes
from dryfit.calc.artefact.measures import list_measures
from dryfit.calc.artefact.reach import can_be_read
from dryfit.calc.artefact.rules import Form, Wish, full_form
from dryfit.calc.artefact.sizes import (
    BLOCK_MM,
    BLOCK_RISE_MM,
    REACHED,
    Block,
    Post,
    Sizes,
    Tread,
    lay_out,
)

__all__ = [
    "BLOCK_MM",
    "BLOCK_RISE_MM",
    "REACHED",
    "Block",
    "Form",
    "Post",
    "Sizes",
    "Tread",
    "Wish",
    "build_mesh",
    "build_pieces",
    "can_be_read",
    "design_body",
    "full_form",
    "lay_out",
    "list_boxes",
    "list_measures",
]
