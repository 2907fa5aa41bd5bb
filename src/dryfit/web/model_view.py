"""The three-dimensional view as an element of a page: parts, joints and gaps, as modelled and as placed."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import nicegui.elements.scene  # noqa: F401  registers the drawing library that the script imports
from nicegui import ui
from nicegui.events import GenericEventArguments

from dryfit.app.forecast import Chain
from dryfit.app.live import Snapshot
from dryfit.app.view_meshes import ClosingGap, JointMarks, ViewMotion, ViewPlacing, view_placing
from dryfit.base.arrays import Array
from dryfit.model.forecast import ForecastReport
from dryfit.view.blocks import COLOURS, SHAPES, State
from dryfit.view.digits import write_estimate, write_number
from dryfit.view.forecast import state_of
from dryfit.web.meshes import HoldsSnapshot, wanted_copies

COLOURINGS = ("part", "built", "deviation", "machine", "state", "wall")
_GRAVEST_FIRST: tuple[State, ...] = ("stop", "not checked", "caution", "pass")


@dataclass(frozen=True, slots=True)
class Picked:
    """What the user selected: a part or a joint, and the point.

    model_mm   the point in the model, assembly coordinates; None where a joint was selected
    placed_mm  the same point printed and placed
    """

    part: str | None
    joint: str | None
    model_mm: tuple[float, float, float] | None
    placed_mm: tuple[float, float, float] | None


PickHandler = Callable[[Picked], None]


class ModelView(
    ui.element,
    component="static/model_view.js",
    esm={"dryfit-model-view": "static/model_view"},
):
    """Shows the parts of a project; its own controls stand below it.

    provider : holds the snapshot that show() starts from
    label : name of the view for readers of the screen
    group : views of the same group on a page are turned, cut and coloured together
    alone : parts as modelled, without placing and joints and what goes with them
    """

    def __init__(
        self,
        provider: HoldsSnapshot,
        label: str = "Three-dimensional view of the assembly",
        group: str = "",
        alone: bool = False,
    ) -> None:
        super().__init__()
        self._provider = provider
        self._handlers: list[PickHandler] = []
        self._when_coloured: list[Callable[[str], None]] = []
        first: dict[str, Any] = {
            "label": label,
            "parts": [],
            "matrices": {},
            "marks": [],
            "colouring": "part",
            "exaggeration": 1,
            "lit": {"parts": [], "joints": []},
            "walls": None,
            "found": None,
            "builts": [],
            "group": group,
            "alone": alone,
            "states": [
                {"id": name, "shape": SHAPES[name], "colour": COLOURS[name]} for name in _GRAVEST_FIRST
            ],
        }
        with self._props.suspend_updates():
            for name, value in first.items():
                self._props[name] = value
        self.on("picked", self._tell_picked)
        self.on("coloured", self._tell_coloured)

    def show(self) -> None:
        """Show the provider's snapshot: its parts, where they stand, and its joints."""
        snapshot = self._provider.snapshot
        if snapshot is None:
            self.set_parts([])
            self.set_placing(ViewPlacing({}, ()))
            return
        self.set_parts(describe_parts(snapshot))
        self.set_placing(view_placing(snapshot.chain, snapshot.report))

    def set_built(
        self, built: Mapping[str, str], washes: Sequence[Mapping[str, Any]], label: str = "as built"
    ) -> None:
        """State as built by part, and how each state is drawn. label: what colouring by it is called."""
        self._props["builts"] = [dict(wash) for wash in washes]
        self._props["builtLabel"] = label
        self.set_parts([{**part, "built": built[part["id"]]} for part in self._props["parts"]])

    def set_parts(self, parts: Sequence[Mapping[str, Any]]) -> None:
        """Replace the parts; see describe_parts for the keys. Unchanged meshes are not loaded again."""
        self._props["parts"] = [dict(part) for part in parts]

    def set_placing(self, placing: ViewPlacing) -> None:
        """Move the parts and replace their joints."""
        matrices = {name: flatten(matrix) for name, matrix in placing.matrices.items()}
        marks = [describe_joint(marks) for marks in placing.joints]
        self._keep({"matrices": matrices, "marks": marks})
        self.run_method("set_placing", {"matrices": matrices, "marks": marks})

    def follow(self, motion: ViewMotion) -> None:
        """Move the parts and the gaps of the same joints: a what-if while a slider moves.

        Sent without what stays, outlines and contacts, and drawn as often as the screen can without holding up
        the page.
        """
        matrices = {name: flatten(matrix) for name, matrix in motion.matrices.items()}
        gaps = {name: describe_gap(gap) for name, gap in motion.gaps.items()}
        marks = [{**mark, "gap": gaps.get(mark["id"])} for mark in self._props["marks"]]
        self._keep({"matrices": matrices, "marks": marks})
        self.run_method("follow", {"matrices": matrices, "gaps": gaps})

    def set_colouring(self, mode: str) -> None:
        """Colour by part, deviation, machine, state, built where set_built told how, or wall where set_walls did."""
        if mode not in COLOURINGS:
            raise ValueError(f"colouring is one of {COLOURINGS}, not {mode!r}")
        self._keep_and_send("colouring", "set_colouring", mode)

    def set_exaggeration(self, factor: float) -> None:
        """Draw departures from the model larger than they are: 1 to 200 times."""
        if not 1 <= factor <= 200:
            raise ValueError(f"exaggeration lies between 1 and 200, not {factor}")
        self._keep_and_send("exaggeration", "set_exaggeration", factor)

    def highlight(self, parts: Sequence[str] = (), joints: Sequence[str] = ()) -> None:
        """Bring out some parts and joints; none: all alike."""
        self._keep_and_send("lit", "highlight", {"parts": list(parts), "joints": list(joints)})

    def set_walls(self, walls: Mapping[str, Any] | None) -> None:
        """How walls are coloured, see web.found.describe_walls; None: they are not measured."""
        self._keep_and_send("walls", "set_walls", None if walls is None else dict(walls))

    def show_found(self, found: Mapping[str, Any] | None) -> None:
        """Show where something was found, see web.found; None: the whole model again."""
        self._keep_and_send("found", "set_found", None if found is None else dict(found))

    def see_parts(self, parts: Sequence[str]) -> None:
        """Bring some parts into view, from where the eye is."""
        self.run_method("see_parts", list(parts))

    def on_colouring(self, handler: Callable[[str], None]) -> None:
        """Call a handler when the user chooses another colouring."""
        self._when_coloured.append(handler)

    def on_pick(self, handler: PickHandler) -> None:
        """Call a handler when the user selects a part, a joint or a point."""
        self._handlers.append(handler)

    def _keep_and_send(self, prop: str, method: str, value: Any) -> None:
        """Keep a property for pages that are still to load, and hand it to the one that is."""
        self._keep({prop: value})
        self.run_method(method, value)

    def _keep(self, values: Mapping[str, Any]) -> None:
        """Keep properties for pages that are still to load, without sending the element anew."""
        with self._props.suspend_updates():
            for name, value in values.items():
                self._props[name] = value

    def _tell_coloured(self, event: GenericEventArguments) -> None:
        # Sent from then on with the element, so that a page that is built anew keeps it.
        with self._props.suspend_updates():
            self._props["colouring"] = str(event.args)
        for handler in self._when_coloured:
            handler(str(event.args))

    def _tell_picked(self, event: GenericEventArguments) -> None:
        picked = read_picked(event.args)
        for handler in self._handlers:
            handler(picked)


def read_picked(args: Mapping[str, Any]) -> Picked:
    """The selection that the page reports."""
    return Picked(args.get("part"), args.get("joint"), _point(args.get("model")), _point(args.get("placed")))


def _point(values: Sequence[float] | None) -> tuple[float, float, float] | None:
    return None if values is None else (float(values[0]), float(values[1]), float(values[2]))


def flatten(matrix: Array) -> list[float]:
    """(4, 4) as sixteen numbers, column after column."""
    return [float(value) for value in matrix.T.ravel()]


def describe_parts(snapshot: Snapshot) -> list[dict[str, Any]]:
    """id, url of its copy, machine, state, triangles of its exact mesh and about how many are shown."""
    states = states_of_parts(snapshot.chain, snapshot.report)
    copies = wanted_copies(snapshot)
    return [
        {
            "id": part.id,
            "url": copies[part.id].address,
            "machine": part.machine,
            "state": states[part.id],
            "shown": copies[part.id].target,
            "triangles": len(snapshot.chain.shapes[part.id].mesh.faces),
        }
        for part in snapshot.chain.project.parts
    ]


def states_of_parts(chain: Chain, report: ForecastReport) -> dict[str, State]:
    """Each part's gravest state over the characteristics that are read from it; without any: not checked."""
    found: dict[str, set[State]] = {part.id: set() for part in chain.project.parts}
    forecasts = {item.id: item for item in report.characteristics}
    for wanted in chain.project.characteristics:
        state = state_of(forecasts[wanted.id], report.risk)
        owners = wanted.parts if wanted.joint is None else chain.project.joint(wanted.joint).parts
        for owner in owners:
            found.setdefault(owner, set()).add(state)
    return {
        part.id: next((state for state in _GRAVEST_FIRST if state in found[part.id]), "not checked")
        for part in chain.project.parts
    }


def describe_joint(marks: JointMarks) -> dict[str, Any]:
    """What is drawn of a joint, as plain lists; the value of a gap in words."""
    return {
        "id": marks.joint,
        "parts": list(marks.parts),
        "closing": marks.is_closing,
        "outlines": [marks.outline_first.tolist(), marks.outline_second.tolist()],
        "points": marks.points.tolist(),
        "directions": marks.directions.tolist(),
        "locating": marks.is_locating.tolist(),
        "gap": describe_gap(marks.gap),
    }


def describe_gap(gap: ClosingGap | None) -> dict[str, Any] | None:
    """What is drawn of a closing gap; None for a joint that positions a part."""
    if gap is None:
        return None
    return {
        "from": gap.from_mm.tolist(),
        "to": gap.to_mm.tolist(),
        "words": write_gap(gap.value_mm, gap.std_mm),
        "characteristic": gap.characteristic,
    }


def write_gap(value_mm: float, std_mm: float | None) -> str:
    """The value of a gap; where its spread is not known it says so."""
    if std_mm is None:
        return f"{write_number(value_mm)} mm, uncertainty not known"
    return f"{write_estimate(value_mm, std_mm)} mm"
