"""A project with drawn pictures of the invented building of support.photographs, marked as a user would."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import PIL.Image
import PIL.ImageDraw

from dryfit.app.creation import create_project
from dryfit.app.photo_adding import add_photos
from dryfit.app.photo_marking import MarkChanges, mark_photo
from dryfit.calc.photo import Lens, project
from support.photographs import BUILDING, POSES
from support.pictures import camera_data

WIDTH, HEIGHT = 1200, 900
LENS = Lens(990.0, np.array([599.5, 449.5]))
# Which points of the building are marked, and their names; z runs up.
NAMED = {
    "nw.foot": 0, "n1.foot": 1, "n2.foot": 2, "ne.foot": 3, "nw.top": 21, "n1.top": 22, "n2.top": 23, "ne.top": 24,
    "sill.w": 7, "sill.1": 8, "sill.2": 9, "sill.e": 10, "lintel.w": 14, "lintel.1": 15, "lintel.2": 16,
    "lintel.e": 17, "ridge": 29, "porch.w": 30, "porch.e": 31,
}  # fmt: skip
EDGES = [(a, a + 1) for s in (0, 7, 14, 21) for a in (s, s + 1, s + 2, s + 3, s + 4, s + 5)]
EDGES += [(a, a + 7) for a in range(21)] + [(21, 29), (24, 29), (27, 29), (30, 31)]
DIMENSIONS = ("house.width", "house.height", "door.height")
OFF = "lintel.1"  # the mark that is set wrongly on the second photograph where asked
NOISE_PX = 0.3


def places(view: int) -> np.ndarray:
    """(36, 2) [px] of all points of the building on a photograph."""
    return project(LENS, POSES[view], BUILDING).marks_px


def draw(view: int, is_lying: bool = False) -> PIL.Image.Image:
    """The building as a picture; lying: as a camera stores it that was held upright (orientation 6)."""
    image = PIL.Image.new("RGB", (WIDTH, HEIGHT), "#cfd8dc")
    pen = PIL.ImageDraw.Draw(image)
    at = places(view)
    pen.rectangle([0, HEIGHT * 0.72, WIDTH, HEIGHT], fill="#a9a48f")
    for a, b in EDGES:
        pen.line([*at[a], *at[b]], fill="#4a4f52", width=2)
    pen.text((16, HEIGHT - 24), "an invented building, drawn for a test", fill="#222222")
    # the stored picture is the upright one turned by a quarter to the left
    return image.transpose(PIL.Image.Transpose.ROTATE_90) if is_lying else image


def make_project(folder: Path, pictures: Path, wrong_px: float = 0.0) -> Path:
    """Three photographs with common points, the second stored lying; a fourth with nothing on it.

    wrong_px : how far one mark of the second is off
    """
    create_project(folder, "Invented house", "1:20")
    document = folder / "project.toml"
    rows = "".join(f'\n[[dimension]]\nid = "{id}"\n' for id in DIMENSIONS)
    document.write_text(document.read_text() + rows)
    pictures.mkdir(exist_ok=True)
    files = []
    for view, name in enumerate(("front", "corner", "side", "spare")):
        exif = camera_data(orientation=6) if name == "corner" else camera_data()
        file = pictures / f"{name}.jpg"
        draw(min(view, 2), name == "corner").save(file, quality=90 + view, exif=exif.tobytes())
        files.append(file)
    add_photos(folder, files)
    rng = np.random.default_rng(3)
    for view, name in enumerate(("front", "corner", "side")):
        at = places(view) + rng.normal(0.0, NOISE_PX, (len(BUILDING), 2))
        if name == "corner":
            at[NAMED[OFF]] += [wrong_px, 0.0]
        mark_photo(folder, name, _changes(at, name == "front"))
    return folder


def _changes(at: np.ndarray, is_first: bool) -> MarkChanges:
    inside = (at > 3).all(axis=1) & (at[:, 0] < WIDTH - 4) & (at[:, 1] < HEIGHT - 4)
    points = [
        {"name": name, "at_px": [round(float(v), 2) for v in at[row]]}
        for name, row in NAMED.items()
        if inside[row]
    ]
    if not is_first:
        return MarkChanges(points=tuple(points), std_px=NOISE_PX)
    for point in points:
        if point["name"].split(".")[0] in ("nw", "n1", "n2", "ne", "sill", "lintel"):
            point["plane"] = "wall"
    upright = [("nw.foot", "nw.top"), ("ne.foot", "ne.top")]
    level = [("nw.foot", "ne.foot"), ("nw.top", "ne.top")]
    return MarkChanges(
        points=tuple(points),
        planes=({"name": "wall", "axes": ["x", "z"]},),
        lines=tuple(
            {"name": f"{axis}.{place}", "through": list(ends), "along": axis}
            for axis, several in (("z", upright), ("x", level))
            for place, ends in enumerate(several)
        ),
        lengths=(
            {"between": ["nw.foot", "ne.foot"], "length": "12 m", "std": "10 mm", "along": "x"},
            {"between": ["nw.foot", "nw.top"], "length": "9 m", "std": "10 mm", "along": "z"},
        ),
        sizes=(
            {"id": "width", "between": ["nw.top", "ne.top"], "of": "house.width"},
            {"id": "height", "between": ["n1.foot", "n1.top"], "of": "house.height", "along": "z"},
        ),
        std_px=NOISE_PX,
    )
