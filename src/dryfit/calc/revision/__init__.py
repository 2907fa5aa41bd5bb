"""Two revisions of a shape: the same, or how far apart, and what becomes of what was printed of the first?"""

from dryfit.calc.revision.contents import changed_triangles, hash_geometry
from dryfit.calc.revision.deviation import Deviation, Looked, measure_deviation
from dryfit.calc.revision.factors import find_unit_factor
from dryfit.calc.revision.fates import Bench, Fate, judge_fate
from dryfit.calc.revision.letters import ALPHABET, LEFT_OUT, letter_rank, next_letter
from dryfit.calc.revision.reach import has_free_way
from dryfit.calc.revision.regions import Region, find_regions

__all__ = [
    "ALPHABET",
    "LEFT_OUT",
    "Bench",
    "Deviation",
    "Fate",
    "Looked",
    "Region",
    "changed_triangles",
    "find_regions",
    "find_unit_factor",
    "has_free_way",
    "hash_geometry",
    "judge_fate",
    "letter_rank",
    "measure_deviation",
    "next_letter",
]
