"""Which keys, faces and forms each kind of feature takes."""

from __future__ import annotations

from typing import NamedTuple

from dryfit.model.feature import FORMS, FeatureKind, Form

PLANE: frozenset[Form] = frozenset({"plane"})
CYLINDER: frozenset[Form] = frozenset({"cylinder"})
ROUND_FORMS: frozenset[Form] = frozenset({"cylinder", "sphere", "torus"})
ANY_FORM: frozenset[Form] = frozenset(FORMS)


class FeatureKeys(NamedTuple):
    """What a kind takes.

    needed, optional  keys besides part and parts, which a kind without faces takes in any case
    faces             how many faces; () for a kind that takes none
    forms             what each face may be, in their order
    many_parts        whether a kind without faces may span several parts
    by_datum_point    keys that stand for the second face where it is not given
    """

    needed: tuple[str, ...]
    optional: tuple[str, ...] = ()
    faces: tuple[int, ...] = ()
    forms: tuple[frozenset[Form], ...] = ()
    many_parts: bool = False
    by_datum_point: tuple[str, ...] = ()


_OF_PART = ("part", "parts")
KIND_KEYS: dict[FeatureKind, FeatureKeys] = {
    "distance": FeatureKeys(("faces",), (), (2,), (PLANE, PLANE)),
    "extent": FeatureKeys(("direction",), _OF_PART, many_parts=True),
    "diameter": FeatureKeys(("faces",), (), (1,), (ROUND_FORMS,)),
    "position": FeatureKeys(("faces",), (), (1, 2), (CYLINDER, PLANE), by_datum_point=("at_mm", "direction")),
    "angle": FeatureKeys(("faces",), (), (2,), (PLANE, PLANE)),
    "flatness": FeatureKeys(("faces",), (), (1,), (PLANE,)),
    "section": FeatureKeys(("at_mm", "normal", "direction"), _OF_PART),
    "thickness": FeatureKeys(("faces",), (), (1,), (ANY_FORM,)),
    "centres": FeatureKeys(("faces",), (), (2,), (CYLINDER | {"sphere"}, CYLINDER | {"sphere"})),
}
KEYS_OF_SOME_KIND = ("part", "parts", "faces", "direction", "at_mm", "normal")
