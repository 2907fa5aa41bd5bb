"""Where the sizes of the invented observatory come from. Invented, every one of them.

The drum was counted in courses of brick and taped, the dome's rise surveyed twice, ring and crown were measured with a
rule. Five photographs give the heights again. An invented guide prints an overall height of 14.6 m, 9 % more than all
of this together, and somebody modelled the wall and the dome to it.
"""

from __future__ import annotations

from collections.abc import Iterator

from dryfit.app.demo_files import write_dimension


def list_dimensions() -> Iterator[str]:
    """[[dimension]], [[observation]] and [[relation]] rows with their comments."""
    yield "# Governing sizes of the prototype, full size. Invented, as everything here."
    yield write_dimension("ring.diameter", 22400.0, 10.0, "invented: surveyed along three diameters")
    yield write_dimension("rib.width", 560.0, 2.0, "invented: taken off one rib with a rule")
    yield write_dimension("ring.height", 800.0, 3.0, "invented: taken off the dome ring with a rule")
    yield write_dimension("crown.height", 600.0, 3.0, "invented: taken off the crown with a rule")
    yield "# These three come out of the observations below and of the photographs: dryfit schedule."
    for id in ("drum.height", "dome.rise", "overall.height"):
        yield f'[[dimension]]\nid = "{id}"\nsource = "invented: see its observations"\n'
    yield from _observations()
    yield "# From the terrace to the top of the crown: wall, ring, ribs, crown, one upon the other."
    yield (
        '[[relation]]\nid = "heights add up"\nkind = "sum"\nwhole = "overall.height"\n'
        'of = ["drum.height", "ring.height", "dome.rise", "crown.height"]\n'
    )


def _observations() -> Iterator[str]:
    for id, of, value, spread, source, date, reliability in (
        (
            *(
                "courses",
                "drum.height",
                "11 ft 11 3/4 in",
                'within = "2 3/4 in"\ndistribution = "triangular"',
            ),
            *("invented: courses of brick counted, mean of a course from ten", "1931", "fair"),
        ),
        (
            *("survey.drum", "drum.height", "3.654 m", 'within = "51 mm"\ndistribution = "uniform"'),
            *("invented: tape along the north side, ivy in the way", "2019-05-11", "good"),
        ),
        (
            *("survey.rise.east", "dome.rise", "8.334 m", 'std = "35 mm"'),
            *("invented: two stations to the east", "2019-05-11", "good"),
        ),
        (
            *("survey.rise.west", "dome.rise", "8.375 m", 'std = "35 mm"'),
            *("invented: two stations to the west", "2019-05-12", "good"),
        ),
        (
            *("guide.overall", "overall.height", "14.6 m", 'std = "150 mm"'),
            *("invented: a guide for visitors, page 4", "1948", "as printed"),
        ),
    ):
        yield "\n".join(
            [
                "[[observation]]",
                f'id = "{id}"',
                f'of = "{of}"',
                f'value = "{value}"',
                spread,
                f'source = "{source}"',
                f'date = "{date}"',
                f'reliability = "{reliability}"\n',
            ]
        )
