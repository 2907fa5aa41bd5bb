"""Monte Carlo through the linear map, for sources that are not normal.

Normal sources add up to a normal result in closed form, so each result draws their sum at once and the
sources of other shape one by one. The marginal distribution of each result is that of the full draw.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from dryfit.base.arrays import Array
from dryfit.calc.chain.sources import Sources

DEFAULT_SAMPLES = 100_000
_BLOCK = 8192  # samples drawn at once; bounds memory, not the result


@dataclass(frozen=True, slots=True, eq=False)
class Samples:
    """What the draws of each result say.

    std       (k,) standard deviation of the draws
    outside   (k,) share of the draws outside the limits
    low, high (k,) 2.5 % and 97.5 % quantiles
    count     number of draws
    seed      of the generator: the same seed gives the same draws
    """

    std: Array
    outside: Array
    low: Array
    high: Array
    count: int
    seed: int


def sample(
    center: Array,
    normal_std: Array,
    matrix: Array,
    sources: Sources,
    lower: Array,
    upper: Array,
    count: int = DEFAULT_SAMPLES,
    seed: int = 1,
    progress: Callable[[int, int], None] | None = None,
) -> Samples:
    """Draw each result count times.

    center : (k,) expected results, shifts of the sources included
    normal_std : (k,) combined std of the normal sources of each result
    matrix : (k, n) derivatives by the n sources, all of which are drawn by their own shape
    lower, upper : (k,) limits, infinite where there is none
    Source: JCGM 101:2008, 7 (propagation of distributions).
    """
    draws = np.empty((len(center), count))
    generator = np.random.Generator(np.random.PCG64(seed))
    for start in range(0, count, _BLOCK):
        size = min(_BLOCK, count - start)
        block = normal_std[:, None] * generator.standard_normal((len(center), size))
        block += matrix @ draw_departures(sources, size, generator)
        draws[:, start : start + size] = block + center[:, None]
        if progress is not None:
            progress(start + size, count)
    outside = ((draws < lower[:, None]) | (draws > upper[:, None])).mean(axis=1)
    low, high = np.quantile(draws, [0.025, 0.975], axis=1)
    return Samples(draws.std(axis=1, ddof=1), outside, low, high, count, seed)


def draw_departures(sources: Sources, size: int, generator: np.random.Generator) -> Array:
    """(n, size) departures of each source from its mean."""
    draws = np.empty((len(sources), size))
    for index, (kind, width) in enumerate(zip(sources.distribution, sources.half_width, strict=True)):
        if kind == "uniform":
            draws[index] = generator.uniform(-width, width, size)
        elif kind == "triangular" and width > 0:
            draws[index] = generator.triangular(-width, 0.0, width, size)
        else:
            draws[index] = sources.std[index] * generator.standard_normal(size)
    return draws
