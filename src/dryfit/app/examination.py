"""What a mesh alone says: health, walls and figures of a part, kept by content, parts in parallel."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import nullcontext
from dataclasses import dataclass, replace

from dryfit import __version__
from dryfit.app.examination_copies import Copy, carry_health, carry_walls, find_copies, may_carry
from dryfit.app.geometry import PartShape
from dryfit.app.workers import Workers, go_on
from dryfit.base.errors import ComputationRefused
from dryfit.calc.health import HealthOptions, HealthReport, Problem, examine
from dryfit.calc.likeness import Signature, signature
from dryfit.calc.printability import slenderness
from dryfit.calc.thickness import DEFAULT_SAMPLES, Thickness, ThicknessMap, thickness_map
from dryfit.calc.weights import MassProperties, mass_properties
from dryfit.model.mesh import TriangleMesh
from dryfit.store.kept import Kept, key_of

Progress = Callable[[int, int], None]

# Raised by hand when the meaning of a kept result changes within one version of the program.
RESULTS_VERSION = 4


@dataclass(frozen=True, slots=True)
class ExaminationOptions:
    """samples: points of the surface at which walls are measured; seed of their places."""

    health: HealthOptions = HealthOptions()
    samples: int = DEFAULT_SAMPLES
    seed: int = 1


AS_USUAL = ExaminationOptions()


@dataclass(frozen=True, slots=True, eq=False)
class Figures:
    """Figures of a mesh on which weight, likeness and printing rest, in whatever pose it is printed.

    signature    None for a mesh without area
    body         filled with 1 g/cm3; None where it encloses no positive volume. Of an open mesh it means nothing
    slenderness  [-] longest over shortest extent
    """

    signature: Signature | None
    body: MassProperties | None
    slenderness: float


@dataclass(frozen=True, slots=True, eq=False)
class Examination:
    """What a mesh alone says.

    health     its faults, located
    thickness  of its walls; None where they cannot be measured
    figures    what else is computed from it
    no_walls   why walls are not measured, in words; "" where they are
    as_part    the part that was examined instead, of which this one is a copy; "" where none was. Never kept:
               what is kept is of a mesh, whatever part it belongs to
    """

    health: HealthReport
    thickness: ThicknessMap | None
    figures: Figures
    no_walls: str = ""
    as_part: str = ""


KEPT_CLASSES = (
    *(Examination, HealthReport, HealthOptions, Problem, ThicknessMap, Thickness),
    *(Figures, Signature, MassProperties),
)


def examine_mesh(
    mesh: TriangleMesh, options: ExaminationOptions = AS_USUAL, progress: Progress | None = None
) -> Examination:
    """Health, walls and figures of one mesh, in assembly coordinates."""
    health = examine(mesh, progress, options.health)
    figures = figures_of(mesh)
    try:
        return Examination(health, thickness_map(mesh, options.samples, options.seed, progress), figures)
    except ComputationRefused as error:
        return Examination(health, None, figures, error.what)


def figures_of(mesh: TriangleMesh) -> Figures:
    """The figures of one mesh."""
    if len(mesh.faces) == 0:
        return Figures(None, None, 1.0)
    return Figures(_signature(mesh), _body(mesh), slenderness(mesh))


def _signature(mesh: TriangleMesh) -> Signature | None:
    try:
        return signature(mesh)
    except ValueError:  # without area: it is compared with nothing
        return None


def _body(mesh: TriangleMesh) -> MassProperties | None:
    try:
        return mass_properties(mesh, 1.0)
    except ComputationRefused:  # said where the part is weighed
        return None


def hash_mesh(mesh: TriangleMesh) -> str:
    """The hash of a mesh as it stands in the assembly: its points and its faces, in their order."""
    digest = hashlib.sha256()
    digest.update(len(mesh.vertices).to_bytes(8, "little"))
    digest.update(mesh.vertices.data)
    digest.update(mesh.faces.data)
    return digest.hexdigest()


def examination_key(mesh_hash: str, options: ExaminationOptions, version: str = __version__) -> str:
    """Under which the examination of a mesh is kept: another option or program version is another key."""
    return key_of(
        {
            "what": "examination",
            "program": version,
            "results": RESULTS_VERSION,
            "mesh": mesh_hash,
            "options": repr(options),
        }
    )


def examine_parts(
    shapes: Mapping[str, PartShape],
    hashes: Mapping[str, str],
    kept: Kept | None,
    options: ExaminationOptions = AS_USUAL,
    progress: Progress | None = None,
    workers: Workers | None = None,
) -> tuple[dict[str, Examination], frozenset[str]]:
    """Every part examined, largest first and in parallel, and the parts whose results were kept from before.

    A part that is a rigid copy of one before it is examined with it, where its result holds for the copy.
    hashes   of the meshes, by part, as hash_mesh gives them
    workers  that do it; without them, some are made for it
    progress counts triangles
    Raises what progress raises, after stopping the work.
    """
    total = sum(len(shape.mesh.faces) for shape in shapes.values())
    found: dict[str, Examination] = {}

    def ask() -> None:
        if progress is not None:
            progress(sum(len(shapes[part].mesh.faces) for part in found), total)

    ask()
    copies = find_copies(shapes, hashes, ask)
    missing = _find_more(found, copies, shapes, hashes, kept, options)
    from_before = frozenset(found)
    with nullcontext(workers) if workers is not None else Workers() as ours:
        while missing:  # a second time for copies for which the first result does not hold
            ask()
            for mesh_hash, parts, result in _examined(ours, shapes, missing, options, ask):
                if kept is not None:
                    kept.keep(examination_key(mesh_hash, options), result)
                found.update(dict.fromkeys(parts, result))
                ask()
            missing = _find_more(found, copies, shapes, hashes, kept, options)
    ask()
    return found, from_before


def find_kept(
    shapes: Mapping[str, PartShape], hashes: Mapping[str, str], kept: Kept | None, options: ExaminationOptions
) -> tuple[dict[str, Examination], dict[str, list[str]]]:
    """Kept results by part, and the parts to examine next by the hash of their mesh; none: all are found."""
    found: dict[str, Examination] = {}
    copies = find_copies(shapes, hashes)
    return found, _find_more(found, copies, shapes, hashes, kept, options)


def _find_more(
    found: dict[str, Examination],
    copies: Mapping[str, Copy],
    shapes: Mapping[str, PartShape],
    hashes: Mapping[str, str],
    kept: Kept | None,
    options: ExaminationOptions,
) -> dict[str, list[str]]:
    """Add what is kept and what holds for copies; the parts to examine next by the hash of their mesh."""
    missing: dict[str, list[str]] = {}
    for part in shapes:
        if part in found:
            continue
        copy = copies.get(part)
        if copy is not None:
            if copy.of not in found:  # it waits for that one
                continue
            carried = _carry(found[copy.of], copy, shapes[part].mesh, options)
            if carried is not None:
                found[part] = carried
                continue
        result = None if kept is None else kept.find(examination_key(hashes[part], options))
        if isinstance(result, Examination):
            found[part] = result
        else:
            missing.setdefault(hashes[part], []).append(part)
    return missing


def _carry(
    found: Examination, copy: Copy, mesh: TriangleMesh, options: ExaminationOptions
) -> Examination | None:
    """What was found of a part, at the places of its copy; None where it need not hold there."""
    if copy.motion is None:
        return replace(found, as_part=copy.of)
    if not may_carry(found.health, mesh, options.health):
        return None
    return Examination(
        health=carry_health(found.health, copy.motion),
        thickness=None if found.thickness is None else carry_walls(found.thickness, copy.motion),
        figures=Figures(_signature(mesh), _body(mesh), found.figures.slenderness),
        no_walls=found.no_walls,
        as_part=copy.of,
    )


def _examined(
    workers: Workers,
    shapes: Mapping[str, PartShape],
    missing: Mapping[str, Sequence[str]],
    options: ExaminationOptions,
    ask: Callable[[], None],
) -> Iterator[tuple[str, Sequence[str], Examination]]:
    largest_first = sorted(missing, key=lambda key: -len(shapes[missing[key][0]].mesh.faces))
    meshes = [shapes[missing[key][0]].mesh for key in largest_first]
    triangles = sum(len(mesh.faces) for mesh in meshes)
    tasks = [(mesh, options) for mesh in meshes]
    for index, result in workers.run(_examine_until_stopped, tasks, triangles, ask):
        yield largest_first[index], missing[largest_first[index]], result


def _examine_until_stopped(mesh: TriangleMesh, options: ExaminationOptions) -> Examination:
    return examine_mesh(mesh, options, go_on)
