"""Find mating faces between the parts, and keep the user's word on them."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from dryfit.app.geometry import Shapes
from dryfit.app.loading import open_project
from dryfit.base.errors import ReferenceUnknown
from dryfit.calc.mating import Mating, find_matings
from dryfit.calc.placing import describe_motions, motions_left_free
from dryfit.model.joint import Joint
from dryfit.model.project import Project
from dryfit.store.edit import DocumentEditor

Progress = Callable[[int, int], None]


@dataclass(frozen=True, slots=True)
class Proposal:
    """A mating face found on the meshes.

    joint         id of the joint: proposed, or the one that the document holds already
    state         "proposed" (new), "waiting" (proposed earlier), "accepted" (in use)
    free_motions  motions that its contacts alone leave to the second part, in words
    """

    joint: str
    parts: tuple[str, str]
    state: str
    shape: str
    contacts: int
    area_mm2: float
    mean_gap_mm: float
    angle_deg: float
    free_motions: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class JointsReport:
    """Faces found, pairs that meet but could not be handled, parts that meet nothing.

    written: whether new proposals were written into the document
    """

    project: str
    proposals: tuple[Proposal, ...]
    not_detected: tuple[tuple[tuple[str, str], str], ...]
    lonely: tuple[str, ...]
    max_gap_mm: float
    max_angle_deg: float
    written: bool


def propose_joints(path: Path, write: bool = True, progress: Progress | None = None) -> JointsReport:
    """Look for mating faces between all parts and write the new ones as proposals into the document.

    A proposal is not used until accepted. Its contacts are written out, so that it stays what was looked
    at when a mesh changes. Locators are never guessed: they default to none.
    """
    opened = open_project(path)
    project = opened.project
    meshes = [(part.id, opened.shapes[part.id].mesh) for part in project.parts]
    found = find_matings(meshes, project.search, progress=progress)
    taken = {joint.id for joint in project.joints}
    proposals, rows = [], []
    for mating in found.matings:
        known = _known_joint(mating, project, found.matings)
        name = known.id if known else _free_name(mating.parts, taken)
        taken.add(name)
        state = "proposed" if known is None else "waiting" if known.proposed else "accepted"
        proposals.append(_proposal(mating, name, state, opened.shapes))
        if known is None:
            rows.append((name, mating))
    if write and rows:
        editor = DocumentEditor(opened.document.path)
        for name, mating in rows:
            editor.add_joint(name, mating.parts, faces=mating.faces, locators="none", proposed=True)
        editor.save()
    meeting = {name for item in proposals for name in item.parts}
    meeting |= {name for joint in project.joints for name in joint.parts}
    return JointsReport(
        project=project.name,
        proposals=tuple(proposals),
        not_detected=tuple((item.parts, item.words) for item in found.not_detected),
        lonely=tuple(part.id for part in project.parts if part.id not in meeting),
        max_gap_mm=project.search.max_gap_mm,
        max_angle_deg=project.search.max_angle_deg,
        written=bool(write and rows),
    )


def decide_joints(path: Path, accept: Sequence[str], refuse: Sequence[str]) -> tuple[str, ...]:
    """Accept or remove proposals by id ("all" stands for every one); returns what was done, in words.

    Raises ReferenceUnknown where an id is no proposal.
    """
    editor = DocumentEditor(path)
    project = open_document_project(editor)
    waiting = [joint.id for joint in project.joints if joint.proposed]
    done = []
    for name in _expand(accept, waiting):
        editor.remove_value(("joint", name, "proposed"))
        done.append(f"accepted {name}")
    for name in _expand(refuse, waiting):
        editor.remove("joint", name)
        done.append(f"removed {name}")
    editor.save()
    return tuple(done) or ("nothing to decide: no joint is waiting",)


def open_document_project(editor: DocumentEditor) -> Project:
    """The project of a document under change."""
    from dryfit.store.document import parse_document

    return parse_document(editor.text, editor.path.name).project


def _expand(names: Sequence[str], waiting: Sequence[str]) -> list[str]:
    if "all" in names:
        return list(waiting)
    for name in names:
        if name not in waiting:
            raise ReferenceUnknown(
                f'"{name}" is not a proposed joint',
                "project.toml",
                f"proposed are: {', '.join(waiting)}" if waiting else "run `dryfit joints` to find some",
            )
    return list(names)


def _known_joint(mating: Mating, project: Project, found: Sequence[Mating]) -> Joint | None:
    """The joint of the document that stands for this face: same parts, and its contacts near the face.

    A joint without stated faces stands for the largest face between its parts.
    """
    centre = mating.faces.points_on_first.mean(axis=0)
    reach = float(np.linalg.norm(mating.faces.points_on_first - centre, axis=1).max())
    for joint in project.joints:
        if set(joint.parts) != set(mating.parts):
            continue
        if joint.faces is None:
            largest = max((m for m in found if set(m.parts) == set(joint.parts)), key=lambda m: m.area_mm2)
            if largest is mating:
                return joint
            continue
        apart = float(np.linalg.norm(joint.faces.points_on_first.mean(axis=0) - centre))
        aligned = abs(float(joint.faces.normals.mean(axis=0) @ mating.faces.normals.mean(axis=0)))
        if apart <= 0.25 * reach and aligned > 0.9:
            return joint
    return None


def _free_name(parts: tuple[str, str], taken: set[str]) -> str:
    name, count = f"{parts[0]}:{parts[1]}", 1
    while name in taken:
        count += 1
        name = f"{parts[0]}:{parts[1]}.{count}"
    return name


def _proposal(mating: Mating, name: str, state: str, shapes: Shapes) -> Proposal:
    second = shapes[mating.parts[1]]
    free = motions_left_free(
        mating.faces.points_on_second, mating.faces.normals, second.measures.centroid_mm, second.size_mm
    )
    return Proposal(
        joint=name,
        parts=mating.parts,
        state=state,
        shape=mating.shape,
        contacts=len(mating.faces.normals),
        area_mm2=mating.area_mm2,
        mean_gap_mm=mating.mean_gap_mm,
        angle_deg=mating.angle_deg,
        free_motions=describe_motions(free, second.measures.centroid_mm, second.size_mm),
    )
