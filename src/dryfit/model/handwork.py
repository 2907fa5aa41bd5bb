"""Work done by hand on printed parts: faces that were sanded or shimmed, dry fits, and bonds."""

from __future__ import annotations

from dataclasses import dataclass

from dryfit.model.artefact import Point


@dataclass(frozen=True, slots=True)
class FaceWork:
    """Material taken off, or added to, the face of a part at a joint.

    record      in the ledger; 0 where it is only thought of
    joint, part ids
    print       record of the print that was worked on; None where the part is not printed
    points_mm   contacts of the face, assembly coordinates
    amounts_mm  taken off at each of them; negative: added, as by a shim
    std_mm      how uncertain the work is at each of them, independent from contact to contact
    """

    record: int
    joint: str
    part: str
    print: int | None
    points_mm: tuple[Point, ...]
    amounts_mm: tuple[float, ...]
    std_mm: float


@dataclass(frozen=True, slots=True)
class GapReading:
    """A gap measured at a joint: between its faces at one contact, or its mean over the face.

    joint    id
    contact  number of the face contact, from 1; 0 for the mean over all of them
    value_mm, std_mm  what was measured and how well
    """

    joint: str
    contact: int
    value_mm: float
    std_mm: float


@dataclass(frozen=True, slots=True)
class DryFit:
    """Two parts that were put together without adhesive.

    record, at  number in the ledger and when it was entered, UTC
    parts   the two parts, with the records of the prints that were put together; 0 for the ground
    result  "goes" or "does not go"
    gaps    measured, in the order of the contacts; () where none was
    """

    record: int
    at: str
    joint: str
    parts: tuple[str, str]
    prints: tuple[int, int]
    result: str
    gaps: tuple[GapReading, ...]
    note: str = ""
    by: str = ""


@dataclass(frozen=True, slots=True)
class Bond:
    """A joint that was bonded.

    parts, prints  as of a dry fit
    done_at   when, as stated, UTC; "" where not stated
    adhesive  id or name of the product; "" where not stated
    gaps      measured after bonding, or at the dry fit where it was bonded as it was dry-fitted
    despite   why it was bonded although the hold point had a stop; "" where it had none
    """

    record: int
    at: str
    joint: str
    parts: tuple[str, str]
    prints: tuple[int, int]
    done_at: str
    adhesive: str
    gaps: tuple[GapReading, ...]
    despite: str = ""
    because: str = ""
    by: str = ""
