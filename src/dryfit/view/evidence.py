"""The evidence of a project in words: photographs, their cameras, how far marks are off, and the sizes they give."""

from __future__ import annotations

from dryfit.app.evidence_page import EvidencePhoto, EvidenceReport
from dryfit.app.photo_cameras import PhotoCamera
from dryfit.app.photo_size_records import SizeLine
from dryfit.view.blocks import Block, Heading, Sentence, State, Table
from dryfit.view.digits import NONE, write_estimate, write_number, write_probability

MOST_LARGEST = 3
_KINDS = (
    ("points", "point"),
    ("lines", "line"),
    ("lengths", "known length"),
    ("planes", "plane"),
    ("sizes", "size"),
)


def evidence_figure(photos: int, sizes: int) -> str:
    """The one figure of the link: 5 photographs, 3 sizes."""
    return f"{_count(photos, 'photograph')}, {_count(sizes, 'size')}" if photos else ""


def heading_words(report: EvidenceReport) -> Heading:
    """What the photographs come to."""
    if not report.photos:
        return Heading("No photograph is in the project yet.", "not checked")
    used = sum(1 for line in report.sizes.sizes if line.is_used)
    words = f"{_count(len(report.photos), 'photograph')}; {_count(used, 'size')} for the schedule"
    suspects = report.sizes.suspects or suspects_of(report)
    if suspects:
        words += f"; {_count(len(suspects), 'thing')} that {'does' if len(suspects) == 1 else 'do'} not fit"
    return Heading(words, report.state)


def suspects_of(report: EvidenceReport) -> tuple[str, ...]:
    """Everything suspected on any photograph, once, in words."""
    found = [
        f"{f'{item.photo}: ' if item.photo else ''}{item.where}: {item.what}. Do: {item.do}"
        for photo in report.photos
        if photo.verdict.camera is not None
        for item in photo.verdict.camera.suspects
    ]
    return tuple(dict.fromkeys(found))


def size_words(photo: EvidencePhoto) -> str:
    """Pixels of the upright picture, and how the stored one was turned."""
    line = photo.line
    if line.width_px is None:
        return "refused"
    turned = "" if line.turned in (None, "as stored") else f", {line.turned}"
    return f"{line.width_px} x {line.height_px} px{turned}"


def marks_words(photo: EvidencePhoto) -> str:
    """How many marks of each kind."""
    counts = ((getattr(photo.line, field), noun) for field, noun in _KINDS)
    return ", ".join(_count(number, noun) for number, noun in counts if number) or "nothing is marked"


def camera_words(camera: PhotoCamera | None) -> str:
    """Which method, on what it rests, and how far the marks are off."""
    if camera is None:
        return "no camera"
    if not camera.method:
        return f"no camera: {camera.why}"
    about = f" {camera.about}" if camera.method == "plane" else ""
    words = f"{camera.method}{about}: {camera.why}"
    # Where nothing is left to test, the camera takes every mark as it is: that says nothing of the marks.
    if camera.rms_px is not None and camera.p_value is not None:
        words += f"; marks {write_number(camera.rms_px, 2)} px off (root mean square)"
    return words


def camera_blocks(camera: PhotoCamera | None) -> list[Block]:
    """The camera of a photograph: by what, how well its marks fit, which lie farthest off, and why not otherwise."""
    if camera is None:
        return []
    blocks: list[Block] = [Sentence(f"camera: {camera_words(camera)}", _camera_state(camera))]
    if camera.focal_px is not None and camera.focal_std_px is not None:
        focal = write_estimate(camera.focal_px, camera.focal_std_px)
        blocks.append(Sentence(f"focal length {focal} px", mark=True))
    if camera.position_mm is not None:
        x, y, z = (write_number(value / 1000.0, 2) for value in camera.position_mm)
        blocks.append(Sentence(f"it stood at x {x}, y {y}, z {z} m of the building", mark=True))
    if camera.p_value is not None:
        chance = write_probability(camera.p_value)
        blocks.append(Sentence(f"marks as far off as these by chance: {chance}", mark=True))
    elif camera.residuals:
        words = "nothing that is known controls the rest: a gross error would not show"
        blocks.append(Sentence(words, mark=True))
    largest = largest_words(camera) if camera.p_value is not None else ""
    if largest:
        blocks.append(Sentence(f"farthest off: {largest}", mark=True))
    blocks += [
        Sentence(f"not by {item.method}: {item.why}{f'; {item.do}' if item.do else ''}", mark=True)
        for item in camera.tried
    ]
    return blocks


def _camera_state(camera: PhotoCamera) -> State:
    if camera.suspects:
        return "stop"
    if not camera.method:
        return "not checked"
    return "caution" if camera.p_value is None else "pass"


def largest_words(camera: PhotoCamera) -> str:
    """The marks that lie farthest from where the camera puts them."""
    far = sorted(camera.residuals, key=lambda item: -item.distance_px)[:MOST_LARGEST]
    return ", ".join(
        f"{item.name} {distance_words(item.distance_px)}{'' if item.is_used else ' (set aside)'}"
        for item in far
        if item.distance_px >= 0.005
    )


def distance_words(distance_px: float) -> str:
    """How far a mark is off."""
    return f"{distance_px:.2f} px" if distance_px < 10.0 else f"{distance_px:.1f} px"


def missing_words(photo: EvidencePhoto) -> tuple[str, ...]:
    """What is still to be done at a photograph, most needed first."""
    camera, line = photo.verdict.camera, photo.line
    if photo.marks is None and photo.sha256 and photo.verdict.state != "stop":
        return ("nothing is marked on it: choose point, then click on the picture",)
    words = [f"{item.what}{f'; {item.do}' if item.do else ''}" for item in photo.verdict.findings if item.do]
    if camera is not None:
        if not camera.method:
            words += [f"{item.method}: {item.do}" for item in camera.tried if item.do][:2]
        if not line.sizes:
            words.append("no size is to be measured on it: name two points and the dimension between them")
    return tuple(dict.fromkeys(words))


def sizes_table(lines: tuple[SizeLine, ...]) -> Table:
    """Every size that photographs give, its method and why not another."""
    heads = (
        "size",
        "dimension",
        "photographs",
        "method",
        "prototype, mm",
        "by chance",
        "why not another method",
    )
    rows = tuple(
        (
            line.id,
            line.dimension,
            ", ".join(line.photos),
            line.method + (f" {line.about}" if line.method == "plane" else ""),
            write_estimate(line.value_mm, line.std_mm),
            NONE if line.p_value is None else write_probability(line.p_value),
            why_words(line),
        )
        for line in lines
    )
    return Table(heads, rows, frozenset({4}), tuple(size_state(line) for line in lines))


def why_words(line: SizeLine) -> str:
    """Why a size is not used, or why the methods before its own were not."""
    if not line.is_used:
        return f"not used: {line.why_not}"
    return "; ".join(f"not {item.method}: {item.why}" for item in line.others) or "the first method answers"


def size_state(line: SizeLine) -> State:
    """A size that is not used stops; one that nothing controls is a caution."""
    if not line.is_used:
        return "stop"
    return "caution" if line.p_value is None else "pass"


def dimension_words(value_mm: float, std_mm: float) -> str:
    """A size as it is drawn: 3.66(2) m, below a metre in mm."""
    if value_mm >= 1000.0:
        return f"{write_estimate(value_mm / 1000.0, std_mm / 1000.0)} m"
    return f"{write_estimate(value_mm, std_mm)} mm"


def _count(number: int, noun: str) -> str:
    return f"{number} {noun}{'' if number == 1 else 's'}"
