"""The health of a part's mesh in words: what was found, how grave it is, and what to do."""

from __future__ import annotations

from collections.abc import Callable, Mapping

from dryfit.calc.health import HealthReport, Problem, ProblemKind
from dryfit.model.finding import Finding, State

# A crossing shallower than the precision that a part needs spoils nothing (common practice, no source).
_SHALLOW_MM = 0.01


def health_findings(part: str, report: HealthReport) -> tuple[Finding, ...]:
    """One finding per kind of problem, gravest first; one that says so where there is none."""
    findings = [_describe(part, report, problem) for problem in report.problems]
    findings += [
        Finding("health", (part,), "not checked", text, "look at this mesh in the modeller as well")
        for text in report.not_checked
    ]
    if not findings:
        bodies = "one body" if report.bodies == 1 else f"{report.bodies} bodies"
        text = (
            f"closed, {bodies}, faces outwards, nothing passes through itself: {report.triangles} triangles"
        )
        return (Finding("health", (part,), "pass", text),)
    return tuple(findings)


def _describe(part: str, report: HealthReport, problem: Problem) -> Finding:
    state, what, do = _WORDS[problem.kind](problem)
    return Finding(
        "health",
        (part,),
        state,
        what,
        do.format(part=_quoted(part)),
        problem.count,
        problem.amount,
        problem.unit,
        problem.places_mm,
        problem.triangles,
    )


def _quoted(part: str) -> str:
    return f'"{part}"' if " " in part else part


def _count(number: int, one: str, many: str) -> str:
    return f"{number} {one if number == 1 else many}"


def _length(value: float | None) -> str:
    """Enough digits to type it again as a limit that holds it."""
    return f"{value or 0.0:.4g} mm"


def _round_up(value: float | None) -> str:
    """A length to three digits that is not less."""
    return f"{(value or 0.0) * 1.005:.3g}"


_Words = tuple[State, str, str]


def _empty(_: Problem) -> _Words:
    return "stop", "the mesh holds no triangles", "export it again"


def _crossing(problem: Problem) -> _Words:
    places = _count(problem.members, "place", "places")
    pairs = _count(problem.count, "pair of faces", "pairs of faces")
    depth = problem.amount or 0.0
    if depth <= _SHALLOW_MM:
        size = f"{pairs} with an area in common or crossing by {_length(depth)}"
        what = f"the surface lies on itself at {places} ({size})"
        return (
            "caution",
            what,
            "look whether two bodies only stand on one another; unite them in the modeller",
        )
    what = f"the surface passes through itself at {places} ({pairs}, up to {_length(depth)} deep)"
    return (
        "stop",
        what,
        "unite the bodies: dryfit mend {part} --unite, or in the modeller; what is solid is not clear",
    )


def _hole(problem: Problem) -> _Words:
    edges = _count(problem.members, "open edge", "open edges")
    longest = f"the longest rim is {_length(problem.amount)}"
    what = f"{_count(problem.count, 'hole', 'holes')} in the surface ({edges}; {longest})"
    do = "close it in the modeller, or: dryfit mend {part} --fill-holes-up-to " + _round_up(problem.amount)
    return "stop", what, do


def _crack(problem: Problem) -> _Words:
    what = f"{_count(problem.count, 'corner', 'corners')} torn apart by up to {_length(problem.amount)}"
    return "stop", what, "join them: dryfit mend {part} --weld " + _round_up(problem.amount)


def _branching(problem: Problem) -> _Words:
    edges = _count(problem.count, "edge borders", "edges border")
    what = f"{edges} more than two faces ({_length(problem.amount)} in all)"
    return "caution", what, "separate or unite what meets there, in the modeller or with dryfit mend {part}"


def _pinched(problem: Problem) -> _Words:
    what = f"surfaces meet in {_count(problem.count, 'single point', 'single points')}: nothing prints there"
    return "caution", what, "join them by a face or part them in the modeller"


def _turned(problem: Problem) -> _Words:
    faces = _count(problem.count, "face disagrees", "faces disagree")
    what = f"{faces} with the neighbours on which side is outside ({problem.amount or 0.0:.4g} mm2)"
    return "stop", what, "turn them: dryfit mend {part}"


def _one_sided(problem: Problem) -> _Words:
    surfaces = _count(problem.count, "surface has", "surfaces have")
    return (
        "stop",
        f"{surfaces} one side only, like a band with half a twist",
        "model it anew: it encloses nothing",
    )


def _inside_out(problem: Problem) -> _Words:
    bodies = _count(problem.count, "body is", "bodies are")
    return "stop", f"{bodies} inside out: the volume is negative", "turn it: dryfit mend {part}"


def _twice(problem: Problem) -> _Words:
    opposite = f", {problem.members} of them against the first" if problem.members else ""
    faces = _count(problem.count, "face is", "faces are")
    return "caution", f"{faces} there more than once{opposite}", "leave them out: dryfit mend {part}"


def _flat(problem: Problem) -> _Words:
    what = f"{_count(problem.count, 'face has', 'faces have')} no area"
    return "caution", what, "take them out: dryfit mend {part}"


def _several(problem: Problem) -> _Words:
    what = f"{problem.count} bodies that are not joined"
    return (
        "caution",
        what,
        "see whether they are meant to be one part; join them or make them parts of their own",
    )


def _stray(problem: Problem) -> _Words:
    shells = _count(problem.count, "tiny stray shell", "tiny stray shells")
    faces = _count(problem.members, "face", "faces")
    what = f"{shells} ({faces}; the largest has {problem.amount or 0.0:.4g} mm2)"
    return "caution", what, "leave them out in the modeller, or: dryfit mend {part} --drop-shells-below 0.001"


def _void(problem: Problem) -> _Words:
    voids = _count(problem.count, "closed void", "closed voids")
    what = f"{voids} inside (the largest has {(problem.amount or 0.0) / 1000.0:.4g} cm3)"
    return (
        "caution",
        what,
        "see whether they are meant: nothing can be taken out of them, and they print with roofs",
    )


def _nested(problem: Problem) -> _Words:
    bodies = _count(problem.count, "body lies", "bodies lie")
    what = f"{bodies} wholly inside the solid of another: solid twice, or a void turned the wrong way"
    return (
        "caution",
        what,
        "take it out or turn it in the modeller; dryfit mend {part} --unite makes it solid",
    )


def _touching(problem: Problem) -> _Words:
    pairs = _count(problem.count, "pair of faces", "pairs of faces")
    places = _count(problem.members, "place", "places")
    what = f"the surface touches itself at {places} without being joined there ({pairs})"
    return "caution", what, "see whether it is meant to be joined"


def _far(problem: Problem) -> _Words:
    short = f", and {_count(problem.members, 'edge is', 'edges are')} no longer than a few such steps"
    what = (
        f"the part lies so far from the origin that single precision steps by {_length(problem.amount)} there"
        + (short if problem.members else "")
    )
    return "caution", what, "move it near the origin in the modeller and export it again"


def _unused(problem: Problem) -> _Words:
    what = f"{_count(problem.count, 'vertex belongs', 'vertices belong')} to no face: harmless"
    return "pass", what, ""


_WORDS: Mapping[ProblemKind, Callable[[Problem], _Words]] = {
    "empty": _empty,
    "hole": _hole,
    "non-manifold edge": _branching,
    "non-manifold vertex": _pinched,
    "orientation": _turned,
    "one-sided": _one_sided,
    "inside out": _inside_out,
    "self-intersection": _crossing,
    "touching": _touching,
    "duplicate faces": _twice,
    "degenerate faces": _flat,
    "several bodies": _several,
    "stray shell": _stray,
    "internal void": _void,
    "nested body": _nested,
    "far from origin": _far,
    "unused vertices": _unused,
    "crack": _crack,
}
