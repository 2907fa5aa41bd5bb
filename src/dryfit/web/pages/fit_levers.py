"""The sliders of the fit sheet: those that move the open characteristic first, the others one touch away."""

from __future__ import annotations

from collections.abc import Awaitable, Callable, Sequence

from nicegui.element import Element

from dryfit.app.levers import Lever, list_levers
from dryfit.model.project import Project
from dryfit.web.live_words import LiveWords
from dryfit.web.render import box, text
from dryfit.web.words import lever_value, lever_words

_THROTTLE_S = 0.05
_FIRST_SHOWN = 5

Moved = Callable[[], Awaitable[None]]


class Levers:
    """All sliders of a sheet. Values outlive a drawing anew, so that another row can be opened meanwhile."""

    def __init__(self, project: Project, moved: Moved) -> None:
        self._levers = {lever.address: lever for lever in list_levers(project)}
        self._values: dict[str, float] = {}
        self._moved = moved
        self._holder = box("levers")

    @property
    def changes(self) -> tuple[str, ...]:
        """What-ifs for every value that is not the document's, in the order in which they were moved."""
        return tuple(self._levers[address].change_to(value) for address, value in self._values.items())

    def reset(self) -> None:
        """Put every value back to the document's."""
        self._values.clear()

    def draw(self, sources: Sequence[str], parts: Sequence[str]) -> None:
        """Sliders for the causes of a characteristic, largest first, then for the parts that it rests on."""
        machine = [lever for lever in self._levers.values() if lever.kind == "machine"]
        near = [self._levers[source] for source in sources if source in self._levers]
        first = [lever for lever in near if lever.kind == "machine"][:_FIRST_SHOWN]
        first += [lever for lever in machine if lever.address in self._values and lever not in first]
        self._holder.clear()
        with self._holder:
            for lever in first:
                self._slider(lever)
            rest = [lever for lever in machine if lever not in first]
            if rest:
                with box("more", "details"):
                    text("summary", f"{len(rest)} more machine figures")
                    for lever in rest:
                        self._slider(lever)
            self._choice("turn a part on the bed", "turn", parts)
            self._choice("bond line", "bond line", [source.rpartition(".")[0] for source in sources])

    def _choice(self, words: str, kind: str, near: Sequence[str]) -> None:
        """One slider for many things of a kind: which of them is chosen from a list."""
        levers = {lever.owner: lever for lever in self._levers.values() if lever.kind == kind}
        if not levers:
            return
        moved = [owner for owner, lever in levers.items() if lever.address in self._values]
        order = list(dict.fromkeys([*moved, *(owner for owner in near if owner in levers), *levers]))
        with box("chosen-lever"):
            select = box("select", "select", words)
            with select:
                for owner in order:
                    text("option", f"{words}: {owner}").props["value"] = owner
            place = box("contents")

        def show(owner: str) -> None:
            place.clear()
            with place:
                self._slider(levers[owner])

        select.on("change", lambda event: show(str(event.args)), js_handler="(e) => emit(e.target.value)")
        show(order[0])

    def _slider(self, lever: Lever) -> None:
        value = self._values.get(lever.address, lever.value)
        with box("lever" + (" moved" if lever.address in self._values else "")) as row:
            text("span", lever_words(lever), "lever-name").props["title"] = lever.address
            with box("scale"):
                slider = box("", "input", f"{lever_words(lever)}, {lever.address}")
                slider.props["type"] = "range"
                # Least and most first: a browser cuts the value to the range that it has at the time.
                slider.props["min"], slider.props["max"] = lever.low, lever.high
                slider.props["step"] = "any" if lever.kind == "machine" else lever.step
                # The caret makes it the attribute, which starts the slider; as a property it would be put back
                # with each drawing, under the hand that drags.
                slider.props["^value"] = value
                slider.props["data-lever"] = lever.address
                slider.props["aria-valuetext"] = lever_value(lever, value)
                with box("scale-inner").props('aria-hidden="true"'):
                    text("span", "", "stated").style(f"left: {lever.place:.2%}")
            shown = LiveWords(lever_value(lever, value), "value")

        async def move(event: object) -> None:
            await self._move(lever, float(str(getattr(event, "args", lever.value))), row, shown)

        slider.on("input", move, js_handler=_SNAP, throttle=_THROTTLE_S)

    async def _move(self, lever: Lever, value: float, row: Element, shown: LiveWords) -> None:
        self._values.pop(lever.address, None)
        if value != lever.value:
            self._values[lever.address] = value
        shown.say(lever_value(lever, value))
        row.classes(
            add="moved" if value != lever.value else "", remove="moved" if value == lever.value else ""
        )
        await self._moved()


# A value near zero or near the document's own snaps to it, since those are the ones that are meant.
_SNAP = """(e) => {
  const input = e.target, span = input.max - input.min;
  let value = Number(input.value);
  if (input.step === "any") value = Number(value.toPrecision(3));
  if (input.step === "any" && Math.abs(value) < 0.008 * span) value = 0;
  input.setAttribute("aria-valuetext", value);
  emit(value);
}"""
