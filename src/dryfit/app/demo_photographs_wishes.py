"""What is to be marked on each picture of the invented observatory, and what is known and wanted there."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from dryfit.app import demo_photographs_building as b
from dryfit.app.demo_photographs_marks import Line, Wish

_STAIR = tuple(f"stair.{side}.{level}" for side in ("left", "right") for level in b.LEVELS)
_PORTAL = tuple(f"portal.{side}.{level}" for side in ("left", "right") for level in ("foot", "top"))
_DOOR = tuple(f"door.{side}.{level}" for side in ("left", "right") for level in ("foot", "top"))
_LADDER = tuple(f"ladder.{side}.{level}" for side in ("left", "right") for level in ("foot", "top"))
_STAFF = ("staff.foot", "staff.top")

# Seams between flags that are in the old print: where they lie, and from where to where they are marked.
_SEAMS_OUT = ((14000.0, 4000.0, 21500.0), (18000.0, 4000.0, 22500.0), (22000.0, 4000.0, 23500.0))
_SEAMS_ACROSS = ((14000.0, -15000.0, 25500.0), (16000.0, -7500.0, 26200.0), (18000.0, 0.0, 27000.0))

_STAFF_LENGTH = ("staff.foot", "staff.top", "4 m", "2 mm", "z", "the levelling staff that was set up")
_TARGETS = (
    "target.left",
    "target.right",
    "15.993 m",
    "6 mm",
    "y",
    "steel tape between two targets on the terrace",
)
_DOOR_LENGTH = ("door.left.foot", "door.left.top", "2.102 m", "3 mm", "z", "a rule along the door")
_STAIR_WIDTH = (
    "stair.left.foot",
    "stair.right.foot",
    "2.003 m",
    "3 mm",
    "y",
    "a rule across the foot of the stair",
)
_LADDER_LENGTH = ("ladder.left.foot", "ladder.left.top", "6.604 m", "4 mm", "z", "tape along the ladder")
_TOGETHER = (
    ("drum", "portal.left.foot", "portal.left.top", "drum.height", "z"),
    ("rise", "stair.left.ring", "stair.left.seat", "dome.rise", "z"),
    ("overall", "stair.left.foot", "stair.left.crown", "overall.height", "z"),
)


def list_wishes() -> Mapping[str, Wish]:
    """By the id of the picture."""
    return {
        "left": Wish(
            "Invented. One of three pictures of one day: they share points, and are adjusted together.",
            _plain(
                _STAIR,
                _PORTAL,
                _DOOR,
                _piers(11, 12),
                ("pier-1.left.foot", "pier-1.left.top"),
                _STAFF,
                ("target.left", "target.right", "cleat-11.low", "cleat-11.high"),
                _LADDER,
            ),
            (_STAFF_LENGTH, _TARGETS, _DOOR_LENGTH, _STAIR_WIDTH, _LADDER_LENGTH),
            _TOGETHER,
        ),
        "right": Wish(
            "Invented. One of three pictures of one day.",
            _plain(
                _STAIR,
                _PORTAL,
                _DOOR,
                _piers(1, 2),
                ("pier-12.left.foot", "pier-12.left.top"),
                _STAFF,
                ("target.left", "target.right", "cleat-2.low", "cleat-2.high"),
                _LADDER,
            ),
            (_STAFF_LENGTH, _TARGETS, _DOOR_LENGTH, _STAIR_WIDTH, _LADDER_LENGTH),
            (),
        ),
        "steps": Wish(
            "Invented. One of three pictures of one day, the camera held upright.",
            _plain(
                _STAIR,
                _PORTAL,
                _DOOR,
                _piers(1, 2, 12),
                _STAFF,
                ("target.right", "cleat-2.low", "cleat-2.high"),
                _LADDER,
            ),
            (_STAFF_LENGTH, _DOOR_LENGTH, _STAIR_WIDTH, _LADDER_LENGTH),
            (),
        ),
        "postcard": _postcard(),
        "print": _old_print(),
    }


def _postcard() -> Wish:
    points = {**dict.fromkeys((*_STAIR, *_LADDER), "stair"), **dict.fromkeys((*_PORTAL, *_DOOR), "portal")}
    front, left, right = b.STAIR_FACE, b.STAIR_LEFT, b.STAIR_RIGHT
    return Wish(
        "Invented. A postcard, seen square to the face of the stair tower. Its points have names of their own:\n"
        "whether the tower that stands today is the one of the postcard, nobody knows.",
        points,
        (
            (
                "ladder.left.foot",
                "ladder.left.top",
                "6.60 m",
                "10 mm",
                "z",
                "22 steps of 300 mm, the maker's list",
            ),
            ("stair.left.foot", "stair.right.foot", "2.000 m", "5 mm", "y", "the maker's list"),
            ("stair.left.seat", "stair.right.seat", "2.000 m", "5 mm", "y", "the maker's list"),
        ),
        (
            ("drum", "portal.right.foot", "portal.right.top", "drum.height", "z"),
            ("rise", "stair.right.ring", "stair.right.seat", "dome.rise", "z"),
            ("overall", "stair.right.foot", "stair.right.crown", "overall.height", "z"),
        ),
        "card.",
        (
            'name = "stair"\naxes = ["y", "z"]',
            'name = "portal"\nparallel_to = "stair"\noffset_mm = 8240\noffset_std_mm = 40',
        ),
        (
            Line("left post", (front, left, 0.0), (front, left, b.OVERALL), "z", "stair", 5),
            Line("right post", (front, right, 0.0), (front, right, b.OVERALL), "z", "stair", 5),
            Line("upper bridge", (front, 6000.0, b.OVERALL), (front, right, b.OVERALL), "y", "stair", 5),
        ),
    )


def _old_print() -> Wish:
    front, left, right = b.STAIR_FACE, b.STAIR_LEFT, b.STAIR_RIGHT
    return Wish(
        "Invented. An old print, seen from a corner: what is upright is measured by where lines of the building meet.",
        _plain(
            [name for name in _STAIR if name.endswith((".foot", ".wall", ".crown"))],
            ("pier-2.left.foot", "pier-2.left.top", "pier-2.right.foot", "pier-2.right.top"),
            _STAFF,
            ("ladder.right.foot", "ladder.right.top"),
            ("door.right.foot", "door.right.top"),
        ),
        (
            ("staff.foot", "staff.top", "4.00 m", "10 mm", "z", "eight bands of half a metre"),
            (
                "ladder.right.foot",
                "ladder.right.top",
                "6.60 m",
                "10 mm",
                "z",
                "22 steps of 300 mm, the maker's list",
            ),
            ("door.right.foot", "door.right.top", "2.10 m", "10 mm", "z", "the joiner's bill"),
        ),
        (
            ("drum", "pier-2.left.foot", "pier-2.left.top", "drum.height", "z"),
            ("overall", "stair.right.foot", "stair.right.crown", "overall.height", "z"),
        ),
        "print.",
        (),
        (
            *(
                Line(f"seam {k} out", (x0, y, 0.0), (x1, y, 0.0), "x", "", 5)
                for k, (y, x0, x1) in enumerate(_SEAMS_OUT, 1)
            ),
            *(
                Line(f"seam {k} across", (x, y0, 0.0), (x, y1, 0.0), "y", "", 5)
                for k, (x, y0, y1) in enumerate(_SEAMS_ACROSS, 1)
            ),
            Line("bridge", (front, 5000.0, b.OVERALL), (front, left, b.OVERALL), "y"),
            Line("left post", (front, left, 0.0), (front, left, b.OVERALL), "z", "", 5),
            Line("right post", (front, right, 0.0), (front, right, b.OVERALL), "z", "", 5),
            Line("wall edge", _corner(), (_corner()[0], _corner()[1], b.WALL_TOP), "z"),
        ),
    )


def _corner() -> tuple[float, float, float]:
    x, y, z = (float(value) for value in b.list_points()["pier-2.right.foot"])
    return x, y, z


def _piers(*ribs: int) -> list[str]:
    return [
        f"pier-{rib}.{side}.{level}"
        for rib in ribs
        for side in ("left", "right")
        for level in ("foot", "top")
    ]


def _plain(*groups: Iterable[str]) -> dict[str, str]:
    return {name: "" for group in groups for name in group}
