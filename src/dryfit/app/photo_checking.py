"""Check the marks of photographs: what is wrong with them, and which camera methods they allow."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import combinations, pairwise
from pathlib import Path

from dryfit.app.photo_arrays import PhotoArrays, photo_arrays
from dryfit.app.photo_cameras import PhotoCamera, see_cameras
from dryfit.app.photo_marking import is_inside
from dryfit.app.photo_methods import MethodLine, list_methods
from dryfit.app.photographs import PhotoAtHand, PhotoFinding, find_photo, open_photo
from dryfit.files.photo import Picture
from dryfit.model.finding import State, gravest
from dryfit.model.photo import MarkedPlane, Marks, Photo
from dryfit.model.project import Project
from dryfit.store.document import read_document

# Two marks nearer than this many of their standard uncertainties cannot be told apart (common practice, no source).
_APART = 2.0
# Known places of one point, or lengths between the same two, that differ by more contradict one another.
_AGREE = 3.0
_MOST_CLOSE = 5


@dataclass(frozen=True, slots=True)
class PhotoVerdict:
    """A photograph: findings about its picture and its marks, and the camera methods.

    methods  () where picture or marks are not fit to be used; camera: None there
    """

    id: str
    file: str
    state: State
    findings: tuple[PhotoFinding, ...]
    methods: tuple[MethodLine, ...]
    camera: PhotoCamera | None


@dataclass(frozen=True, slots=True)
class PhotoCheck:
    """All photographs that were checked; between: what shows only between them."""

    project: str
    state: State
    photos: tuple[PhotoVerdict, ...]
    between: tuple[PhotoFinding, ...]


def check_photos(path: Path, id: str | None = None) -> PhotoCheck:
    """Check the marks of one photograph, or of all. Faults are told, not raised.

    Raises ProjectMissing or DocumentRefused for the project itself, ReferenceUnknown for an id that is not there.
    """
    document = read_document(path)
    project, folder = document.project, document.path.parent
    if id is not None:
        find_photo(project, id, document.path.name)
    return judge_photos(project, [open_photo(folder, photo) for photo in project.photos], id)


def judge_photos(project: Project, opened: Sequence[PhotoAtHand], id: str | None = None) -> PhotoCheck:
    """The same of photographs that were looked at already: all of the project."""
    at_hand = {item.photo.id: item for item in opened}
    arrays = {key: photo_arrays(item) for key, item in at_hand.items() if item.marks and item.state != "stop"}
    wanted = [photo for photo in project.photos if id in (None, photo.id)]
    cameras = see_cameras(opened)
    verdicts = tuple(
        _judge(project, photo, at_hand[photo.id], arrays, cameras.get(photo.id)) for photo in wanted
    )
    between = tuple(_compare([item for item in at_hand.values() if item.marks is not None], id))
    states: list[State] = [verdict.state for verdict in verdicts] + [finding.state for finding in between]
    return PhotoCheck(project.name, gravest(states, "not checked"), verdicts, between)


def _judge(
    project: Project,
    photo: Photo,
    at_hand: PhotoAtHand,
    arrays: dict[str, PhotoArrays],
    camera: PhotoCamera | None,
) -> PhotoVerdict:
    findings = list(at_hand.faults)
    if at_hand.picture is not None and at_hand.marks is not None:
        findings += _check_marks(at_hand.marks, at_hand.picture)
        findings += _check_sizes(project, at_hand.marks)
    elif at_hand.picture is not None and not any(fault.state == "stop" for fault in at_hand.faults):
        findings.append(
            PhotoFinding(
                "not checked", photo.file, "nothing is marked on it", f"dryfit photo mark {photo.id}"
            )
        )
    findings += _check_lens(project, photo)
    mine = arrays.get(photo.id)
    methods = list_methods(mine, list(arrays.values())) if mine is not None else ()
    if methods and not any(line.is_possible for line in methods if "distortion" not in line.method):
        what = "no camera method is possible with these marks"
        findings.append(PhotoFinding("caution", photo.file, what, "see what each method misses"))
    states: list[State] = [item.state for item in findings]
    if camera is not None and camera.suspects:
        states.append("stop")
    return PhotoVerdict(photo.id, photo.file, gravest(states), tuple(findings), methods, camera)


def _check_lens(project: Project, photo: Photo) -> Iterator[PhotoFinding]:
    """A name of a lens beside others that are calibrated may be a slip."""
    if photo.lens and project.lenses and photo.calibrated is None:
        what = f'its lens "{photo.lens}" is not among the calibrated ones: it is found from the marks'
        known = ", ".join(lens.id for lens in project.lenses)
        yield PhotoFinding("caution", f'photo "{photo.id}"', what, f"calibrated are {known}; or let it stand")


def _check_marks(marks: Marks, picture: Picture) -> Iterator[PhotoFinding]:
    size = f"{picture.width_px} x {picture.height_px} pixels"
    do = "count in upright pixels, right and down from the centre of the first"
    for point in marks.points:
        if not is_inside(point.at_px, picture):
            what = f"it lies at {point.at_px[0]:g}, {point.at_px[1]:g}, outside the picture of {size}"
            yield PhotoFinding("stop", f'point "{point.name}"', what, do)
    for line in marks.lines:
        outside = [place for place in line.points_px if not line.through and not is_inside(place, picture)]
        if outside:
            what = f"it runs to {outside[0][0]:g}, {outside[0][1]:g}, outside the picture of {size}"
            yield PhotoFinding("stop", f'line "{line.name}"', what, do)
    yield from _find_close(marks)
    yield from _find_off_axis(marks)


def _find_close(marks: Marks) -> Iterator[PhotoFinding]:
    """Points marked at the same place: usually one of them twice."""
    points = sorted(marks.points, key=lambda point: point.at_px)
    found = 0
    for index, first in enumerate(points):
        for second in points[index + 1 :]:
            reach = _APART * (first.std_px**2 + second.std_px**2) ** 0.5
            if second.at_px[0] - first.at_px[0] > max(reach, _APART * 1.5 * first.std_px):
                break
            apart = ((second.at_px[0] - first.at_px[0]) ** 2 + (second.at_px[1] - first.at_px[1]) ** 2) ** 0.5
            if apart <= reach and found < _MOST_CLOSE:
                found += 1
                what = (
                    f'it lies {apart:.1f} px from "{second.name}": closer than their uncertainties tell apart'
                )
                do = "remove one, or mark them with more care and a smaller std_px"
                yield PhotoFinding("caution", f'point "{first.name}"', what, do)


def _find_off_axis(marks: Marks) -> Iterator[PhotoFinding]:
    """Lines and lengths that are said to lie in a plane but run across it; known points that leave it."""
    planes = {plane.name: plane for plane in marks.planes}
    for line in marks.lines:
        if line.plane and line.along and line.along not in planes[line.plane].axes:
            what = f"it runs along {line.along}, and the plane {_runs(planes[line.plane])}"
            yield PhotoFinding("stop", f'line "{line.name}"', what, "mend along, plane, or the plane's axes")
    for item in marks.lengths:
        ends = [marks.point(name).plane for name in item.between]
        if ends[0] and ends[0] == ends[1] and item.along and item.along not in planes[ends[0]].axes:
            what = f"it runs along {item.along}, and the plane of its ends {_runs(planes[ends[0]])}"
            place = f"length {item.between[0]} to {item.between[1]}"
            yield PhotoFinding("stop", place, what, "mend along, or the planes of its ends")
    for plane in marks.planes:
        yield from _find_uneven(marks, plane)


def _runs(plane: MarkedPlane) -> str:
    return f'"{plane.name}" along {plane.axes[0]} and {plane.axes[1]}'


def _find_uneven(marks: Marks, plane: MarkedPlane) -> Iterator[PhotoFinding]:
    """Known points of one plane have one coordinate across it."""
    across = next(index for index, axis in enumerate("xyz") if axis not in plane.axes)
    known = [point for point in marks.points if point.plane == plane.name and point.prototype_mm is not None]
    for first, second in pairwise(known):
        if first.prototype_mm is None or second.prototype_mm is None:
            continue
        apart = abs(first.prototype_mm[across] - second.prototype_mm[across])
        spread = (first.prototype_std_mm**2 + second.prototype_std_mm**2) ** 0.5
        if apart > max(_AGREE * spread, 1e-6):
            what = f'it lies {apart:.6g} mm off "{second.name}" across the plane "{plane.name}"'
            do = "put them in two planes with an offset, or mend the coordinates"
            yield PhotoFinding("stop", f'point "{first.name}"', what, do)


def _check_sizes(project: Project, marks: Marks) -> Iterator[PhotoFinding]:
    known = {dimension.id for dimension in project.dimensions}
    for size in marks.sizes:
        if size.of not in known:
            what = f'there is no dimension "{size.of}"'
            yield PhotoFinding("stop", f'size "{size.id}"', what, f'add [[dimension]] id = "{size.of}"')


def _compare(several: Sequence[PhotoAtHand], id: str | None) -> Iterator[PhotoFinding]:
    """Known places and lengths that two photographs state differently; of one photograph, those that concern it."""
    for first, second in combinations(several, 2):
        if id not in (None, first.photo.id, second.photo.id):
            continue
        yield from _compare_points(first, second)
        yield from _compare_lengths(first, second)


def _compare_points(first: PhotoAtHand, second: PhotoAtHand) -> Iterator[PhotoFinding]:
    there = {point.name: point for point in second.marks.points} if second.marks else {}
    for point in first.marks.points if first.marks else ():
        other = there.get(point.name)
        if other is None or point.prototype_mm is None or other.prototype_mm is None:
            continue
        apart = max(abs(a - b) for a, b in zip(point.prototype_mm, other.prototype_mm, strict=True))
        spread = (point.prototype_std_mm**2 + other.prototype_std_mm**2) ** 0.5
        if apart > max(_AGREE * spread, 1e-6):
            yield _contradiction(f'point "{point.name}"', apart, first, second)


def _compare_lengths(first: PhotoAtHand, second: PhotoAtHand) -> Iterator[PhotoFinding]:
    there = {frozenset(item.between): item for item in second.marks.lengths} if second.marks else {}
    for item in first.marks.lengths if first.marks else ():
        other = there.get(frozenset(item.between))
        if other is None:
            continue
        apart = abs(item.length.value - other.length.value)
        spread = (item.length.std**2 + other.length.std**2) ** 0.5
        if apart > max(_AGREE * spread, 1e-6):
            yield _contradiction(f"length {' to '.join(sorted(item.between))}", apart, first, second)


def _contradiction(where: str, apart: float, first: PhotoAtHand, second: PhotoAtHand) -> PhotoFinding:
    both = f'"{first.photo.id}" and "{second.photo.id}"'
    what = f"{both} state it {apart:.6g} mm apart, more than their uncertainties allow"
    return PhotoFinding("stop", where, what, "mend one of the two, or state how uncertain they are")
