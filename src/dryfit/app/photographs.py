"""Photographs of a project: each with its picture, its marks, and what is known of its camera."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path

from dryfit.app.photo_calibrated import LensUnfit, SeenLens, lens_on
from dryfit.base.errors import DocumentRefused, DryfitError, ReferenceUnknown
from dryfit.calc.picture import Crop, CropKind, FocalFigure, find_crop, focal_from_data
from dryfit.files.photo import PhotoRefused, Picture, cut_out, cut_tiles, read_picture, reduced_copy
from dryfit.model.finding import State, gravest
from dryfit.model.photo import Marks, Photo
from dryfit.model.project import Project
from dryfit.store.document import read_document
from dryfit.store.marks import marks_path, read_marks

MARK_STD_PX = (
    1.0  # of a mark set by hand without more care (common practice, no source); written into the file
)


@dataclass(frozen=True, slots=True)
class PhotoFinding:
    """One line about a photograph. where: the mark or key; "" the photograph itself."""

    state: State
    where: str
    what: str
    do: str = ""


@dataclass(frozen=True, slots=True)
class Focal:
    """Focal length and its standard uncertainty [px]; whence: "stated", or how it was found."""

    focal_px: float
    std_px: float
    whence: str


@dataclass(frozen=True, slots=True, eq=False)
class PhotoAtHand:
    """A photograph that was looked at.

    path     of the picture;  marks_file: of its marks, there or not
    picture  None where it is refused;  marks: None where there are none or they are refused
    crop, focal  what its data says; None where the picture is refused, or tells no focal length
    faults   what is wrong with picture or marks
    lens     calibrated, on this picture; None where there is none
    """

    photo: Photo
    path: Path
    marks_file: Path
    picture: Picture | None
    marks: Marks | None
    crop: Crop | None
    focal: Focal | None
    faults: tuple[PhotoFinding, ...]
    lens: SeenLens | None = None

    @property
    def state(self) -> State:
        """The gravest of its faults."""
        return gravest(fault.state for fault in self.faults)


@dataclass(frozen=True, slots=True)
class PhotoLine:
    """A photograph in a list. Sizes in upright pixels; figures are None where the picture is refused."""

    id: str
    file: str
    state: State
    width_px: int | None
    height_px: int | None
    megapixels: float | None
    turned: str | None
    crop: str | None
    focal_px: float | None
    focal_std_px: float | None
    focal_from: str | None
    points: int
    lines: int
    lengths: int
    planes: int
    sizes: int
    findings: tuple[PhotoFinding, ...]


@dataclass(frozen=True, slots=True)
class PhotoList:
    """All photographs of a project."""

    project: str
    state: State
    photos: tuple[PhotoLine, ...]


def list_photos(path: Path) -> PhotoList:
    """Every photograph of a project with what is known of it; none is refused for another's fault.

    Raises ProjectMissing or DocumentRefused for the project itself.
    """
    document = read_document(path)
    lines = tuple(describe(at_hand) for at_hand in open_photos(document.path.parent, document.project.photos))
    return PhotoList(document.project.name, gravest(line.state for line in lines), lines)


def describe(at_hand: PhotoAtHand) -> PhotoLine:
    """One line of the list."""
    photo, picture, marks, focal = at_hand.photo, at_hand.picture, at_hand.marks, at_hand.focal
    return PhotoLine(
        id=photo.id,
        file=photo.file,
        state=at_hand.state,
        width_px=picture.width_px if picture else None,
        height_px=picture.height_px if picture else None,
        megapixels=picture.megapixels if picture else None,
        turned=picture.turned if picture else None,
        crop=at_hand.crop.kind if at_hand.crop else None,
        focal_px=focal.focal_px if focal else None,
        focal_std_px=focal.std_px if focal else None,
        focal_from=focal.whence if focal else None,
        points=len(marks.points) if marks else 0,
        lines=len(marks.lines) if marks else 0,
        lengths=len(marks.lengths) if marks else 0,
        planes=len(marks.planes) if marks else 0,
        sizes=len(marks.sizes) if marks else 0,
        findings=at_hand.faults,
    )


def open_photos(folder: Path, photos: Iterable[Photo]) -> Iterator[PhotoAtHand]:
    """Each photograph with its picture's header and its marks; faults are told, not raised."""
    for photo in photos:
        yield open_photo(folder, photo)


def open_photo(folder: Path, photo: Photo) -> PhotoAtHand:
    """One photograph; what is wrong with picture or marks is among its faults."""
    path = folder / photo.file
    faults: list[PhotoFinding] = []
    picture: Picture | None = None
    marks: Marks | None = None
    try:
        picture, _ = read_picture(path)
    except PhotoRefused as refusal:
        faults.append(PhotoFinding("stop", refusal.where, refusal.what, refusal.do))
    try:
        marks = read_marks(marks_path(path))
    except DocumentRefused as refusal:
        faults += [PhotoFinding("stop", fault.where, fault.what, fault.do) for fault in refusal.faults]
    crop = focal = lens = None
    if picture is not None:
        crop = find_crop(picture.width_px, picture.height_px, picture.taken)
        found = focal_from_data(
            picture.width_px,
            picture.height_px,
            picture.taken,
            _crop_as_stated(crop, photo),
            photo.sensor_width_mm,
        )
        focal = _focal(photo, found)
        faults += _find_changes(photo, picture, marks)
        faults += [PhotoFinding("caution", photo.file, note) for note in picture.notes]
        faults += _find_camera(photo, crop, found)
        try:
            lens = lens_on(photo, picture, _crop_as_stated(crop, photo))
        except LensUnfit as refusal:
            faults.append(PhotoFinding("stop", refusal.where, refusal.what, refusal.do))
    if lens is not None:
        whence = f"lens {photo.lens}"
        focal = Focal(lens.lens.focal_px, float(lens.covariance[0, 0] ** 0.5), whence)
    return PhotoAtHand(photo, path, marks_path(path), picture, marks, crop, focal, tuple(faults), lens)


def find_photo(project: Project, id: str, document: str) -> Photo:
    """A photograph by its id. Raises ReferenceUnknown."""
    for photo in project.photos:
        if photo.id == id:
            return photo
    known = ", ".join(photo.id for photo in project.photos)
    do = f"known: {known}" if known else "`dryfit photo add FILE` adds one"
    raise ReferenceUnknown(f'there is no photo "{id}"', document, do)


def show_photo(path: Path, id: str, longest_px: int | None = None) -> bytes:
    """The upright picture as JPEG, reduced where longest_px is given, without any data beside the pixels.

    Raises ReferenceUnknown or PhotoRefused.
    """
    picture, data, where = _read_for_show(path, id)
    return reduced_copy(picture, data, where, longest_px)


def show_piece(path: Path, id: str, left_px: int, top_px: int, width_px: int, height_px: int) -> bytes:
    """A rectangle of the upright picture at full size as PNG, for a magnifier.

    Raises ReferenceUnknown or PhotoRefused.
    """
    picture, data, where = _read_for_show(path, id)
    return cut_out(picture, data, where, left_px, top_px, width_px, height_px)


def show_tiles(path: Path, id: str, side_px: int) -> dict[tuple[int, int], bytes]:
    """The upright picture at full size in squares, by column and row, as JPEG.

    Raises ReferenceUnknown or PhotoRefused.
    """
    picture, data, where = _read_for_show(path, id)
    return cut_tiles(picture, data, where, side_px)


def _read_for_show(path: Path, id: str) -> tuple[Picture, bytes, str]:
    document = read_document(path)
    photo = find_photo(document.project, id, document.path.name)
    file = document.path.parent / photo.file
    picture, data = read_picture(file)
    return picture, data, str(file)


def _crop_as_stated(crop: Crop, photo: Photo) -> Crop:
    """What the user says of a crop outweighs what the sizes say."""
    if photo.is_cropped is None:
        return crop
    if photo.is_cropped:
        return Crop("cropped", 1.0, crop.was_px, crop.ratio)
    kind: CropKind = "none seen" if crop.kind in ("cropped", "doubtful") else crop.kind
    return Crop(kind, crop.factor, crop.was_px, crop.ratio)


def _focal(photo: Photo, found: FocalFigure | None) -> Focal | None:
    if photo.focal_px is not None:
        return Focal(photo.focal_px.value, photo.focal_px.std, "stated")
    return None if found is None else Focal(found.focal_px, found.std_px, found.whence)


def _find_changes(photo: Photo, picture: Picture, marks: Marks | None) -> Iterator[PhotoFinding]:
    """Another file than the one that was added, or than the one that was marked."""
    do = "look at the change, then accept it (dryfit photo add --again FILE), or put the old file back"
    if photo.sha256 and photo.sha256 != picture.sha256:
        what = "the picture is not the one that was added: its content has changed"
        yield PhotoFinding("stop", photo.file, what, do)
    elif not photo.sha256:
        what = "the document states no hash of the picture: a changed one would not be noticed"
        yield PhotoFinding("caution", photo.file, what, f'add sha256 = "{picture.sha256}"')
    if marks is not None and marks.photo_sha256 != picture.sha256:
        what = "the marks were set on another picture than the one that is there now"
        do = "see that each mark still fits, then accept them (dryfit photo mark PHOTO --same-picture)"
        yield PhotoFinding("stop", marks_path(Path(photo.file)).as_posix(), what, do)


def _find_camera(photo: Photo, crop: Crop, found: FocalFigure | None) -> Iterator[PhotoFinding]:
    """Doubts about the size of the picture and the focal length that it gives."""
    place = f'photo "{photo.id}"'
    if photo.is_cropped is None and crop.kind in ("cropped", "doubtful"):
        yield PhotoFinding("caution", place, _crop_words(crop), "state cropped = true or cropped = false")
    if found is not None and found.is_contradicted and photo.focal_px is None and photo.calibrated is None:
        what = (
            f"its data contradicts itself: {found.focal_px:.0f} px of focal length by the {found.whence}, "
            f"{found.other_px:.0f} px by another figure"
        )
        yield PhotoFinding("caution", place, what, "state focal_px with focal_std_px, or sensor_width_mm")


def _crop_words(crop: Crop) -> str:
    if crop.kind == "cropped" and crop.was_px is not None:
        was = f"{crop.was_px[0]} x {crop.was_px[1]}"
        return f"it was cropped: it had {was} pixels, of other proportions; its middle is then not that of the lens"
    return f"its sides are as {crop.ratio:.3f} to 1, which no usual camera has: it may be cropped"


def refuse_faults(at_hand: PhotoAtHand) -> None:
    """Raise the first fault of a photograph that stops work on it."""
    for fault in at_hand.faults:
        if fault.state == "stop":
            raise PhotoUnfit(fault.what, fault.where, fault.do)


class PhotoUnfit(DryfitError):
    """A photograph cannot be worked with as it is."""
