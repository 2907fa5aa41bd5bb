"""What is known of every line of a structure now: exact central values, first-order standard uncertainties. Quick."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from dryfit.app.forecast import Chain, learn_chain, place_chain, settle_chain
from dryfit.app.orient_loss import exact_lines
from dryfit.base.arrays import Array


@dataclass(frozen=True, slots=True, eq=False)
class LineState:
    """The q lines of a structure.

    mean  (q,) in the unit of the line; of a flatness the residual of each of its points
    std   (q,)
    """

    mean: Array
    std: Array


def state_of_lines(chain: Chain) -> LineState:
    """By the readings of printed parts where the chain has any, shims and all; no draws, no records.

    Raises ComputationRefused where the parts do not settle on their contacts.
    """
    known = learn_chain(chain)
    poses = place_chain(chain, known)
    settled = settle_chain(chain, known, poses)
    causes = settled.causes
    variance = causes.matrix**2 @ causes.sources.std**2 + causes.spread.sum(axis=1)
    mean = exact_lines(chain, poses) + settled.correction
    return LineState(mean, np.sqrt(np.maximum(variance, 0.0)))
