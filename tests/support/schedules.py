"""Projects whose evidence is worth a schedule: a small one with everything in it, and a large one. All invented."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from support.projects import document, write_project

GUIDE = "invented: a guide"
_OBSERVED = """
[[dimension]]
id = "drum"
[[dimension]]
id = "rise"
[[dimension]]
id = "overall"
[[dimension]]
id = "sill"
[[dimension]]
id = "crown"
[[observation]]
id = "tape"  # in the rain
of = "drum"
value = "3660 mm"
std = "20 mm"
source = {tape}
date = "2019-05-11"
reliability = "good"
[[observation]]
id = "levels"
of = "drum"
value = "3650 mm"
within = "17 mm"
distribution = "uniform"
source = "invented: levels"
[[observation]]
id = "east"
of = "rise"
value = "9190 mm"
std = "15 mm"
source = "invented: levels"
[[observation]]
id = "west"
of = "rise"
value = "9200 mm"
std = "15 mm"
source = "invented: levels"
[[observation]]
id = "guide"
of = "overall"
value = "13.6 m"
std = "50 mm"
source = "invented: a guide"
[[observation]]
id = "lone"
of = "sill"
value = "900 mm"
std = "5 mm"
[[observation]]
id = "twice"
of = {{ "drum" = 2, "rise" = 1 }}
value = "16500 mm"
std = "40 mm"
[[relation]]
id = "heights"
kind = "sum"
whole = "overall"
of = ["drum", "rise"]
"""
# The extent of a post hangs on the drum.
FEATURE = """
[[feature]]
id = "post-height"
kind = "extent"
part = "post-1"
direction = [0, 0, 1]
dimension = "drum"
deviations_mm = [-1.5, 1.5]
"""


def write_schedule(folder: Path, source: str = "tape", feature: str = "") -> Path:
    """A project with a suspect, an open dimension, an uncontrolled one, a sum; returns its folder."""
    quoted = '"' + source.replace("\\", "\\\\").replace('"', '\\"') + '"'
    write_project(folder, document() + _OBSERVED.format(tape=quoted) + feature)
    return folder


def large_network(folder: Path, dimensions: int = 40, observations: int = 120) -> Path:
    """Bays with four sizes each, every third observation of two sizes together, two of them wrong."""
    draw = np.random.default_rng(4)
    kinds = ("width", "height", "sill", "lintel")
    names = [f"bay{place // 4 + 1}.{kinds[place % 4]}" for place in range(dimensions)]
    sizes = draw.uniform(800.0, 4000.0, dimensions)
    sources = [
        f"invented: {words}" for words in ("survey of 2019", "county drawings, sheet 7", "tape", "guide")
    ]
    rows = [f'[[dimension]]\nid = "{name}"\n' for name in names]
    for number in range(observations):
        first = (
            number % (dimensions - 1) if number < 2 * dimensions else int(draw.integers(0, dimensions - 1))
        )
        std = float(draw.choice([5.0, 10.0, 30.0]))
        value, of = sizes[first], f'"{names[first]}"'
        if number % 3 == 2 and number >= dimensions:
            second = (first + 4) % (dimensions - 1)
            value, of = value + sizes[second], f'{{ "{names[first]}" = 1, "{names[second]}" = 1 }}'
        value += std * draw.normal() + (25.0 * std if number in (37, 71) else 0.0)
        rows.append(
            f'[[observation]]\nid = "o{number}"\nof = {of}\nvalue = "{value:.0f} mm"\nstd = "{std:.0f} mm"\n'
            f'source = "{sources[int(draw.integers(0, 4))]}"\n'
        )
    rows += [
        f'[[relation]]\nid = "sills {bay}"\nkind = "equal"\nof = ["bay{bay}.sill", "bay{bay + 1}.sill"]\nstd = "2 m"\n'
        for bay in range(1, dimensions // 4)
    ]
    write_project(folder, document() + "\n" + "\n".join(rows))
    return folder
