"""Ring of N rods whose joints are each turned by the same small angle, or by random ones (closed forms).

The model in contacts: rod k is the chord of a regular polygon from node k to node k + 1, s long. Its first
end face is cut out of true: turned about its node by -eps against the rod, so that the rod stands turned by
eps more than modelled once that face lies flush on the last face of rod k - 1. The contacts are four corners
of the face, a pin at the node and a slot beside it; all of them can be met at once, so the residual is zero
and rod k keeps its node and turns by k eps.

Equal errors: the rods then have headings k (2 pi/N + eps), and the sum of N such chords is
s sin(N (pi/N + eps/2))/sin(pi/N + eps/2), in size s sin(N eps/2)/sin(pi/N + eps/2).

Random errors of std sigma: to first order the error at node k swings the end of the chain, which is node 0,
by sigma times the distance from node k to node 0, 2 R sin(pi k/N). The squares add up to
4 R^2 sigma^2 sum sin^2(pi k/N) = 2 N R^2 sigma^2: the rms gap is sigma R sqrt(2 N), R the circle of the nodes,
exactly so to first order.

The stated 2.31389059 is the closed form's 2.3138905846 rounded up instead of to nearest, which the tolerance
of one unit in the last digit allows.
"""

import numpy as np
import pytest

from dryfit.base.arrays import Array
from dryfit.base.estimate import Estimate
from dryfit.base.rotation import turn_about_z
from dryfit.calc.chain import LinearMap, Sources
from dryfit.calc.placing import place_exactly, sensitivities, solve_placing
from dryfit.model.contacts import ContactTable
from published.registry import check

SOURCE = "Ring of N equal joint errors, closed form"
RANDOM = "Ring of N random joint errors, closed form"
HALF_MM = 5.0


def chain_table(count: int, radius: float) -> tuple[ContactTable, Array, Array]:
    """Joint rows of rods 0-1, 1-2 ..., then two probes across the closing node; centroids and nodes."""
    angle = 2.0 * np.pi * np.arange(count + 1) / count
    nodes = radius * np.column_stack([np.cos(angle), np.sin(angle), 0.0 * angle])
    centroids = 0.5 * (nodes[:-1] + nodes[1:])
    first, second, points, directions = [], [], [], []
    up = np.array([0.0, 0.0, 1.0])
    for joint in range(1, count):
        node = nodes[joint]
        out = node / radius
        normal = np.cross(up, out)
        corners = [node + HALF_MM * (s * out + t * up) for s in (-1, 1) for t in (-1, 1)]
        points += [*corners, node, node, node + HALF_MM * out]
        directions += [normal] * 4 + [out, up, up]
        first += [joint - 1] * 7
        second += [joint] * 7
    for axis in (nodes[0] / radius, np.cross(up, nodes[0] / radius)):
        points.append(nodes[0])
        directions.append(axis)
        first.append(0)
        second.append(count - 1)
    rows = len(first)
    is_locating = np.arange(rows) < rows - 2
    stacked, none = np.array(points), np.zeros((rows, 3))
    table = ContactTable(
        np.array(first),
        np.array(second),
        stacked,
        stacked.copy(),
        np.array(directions),
        none,
        none.copy(),
        np.where(is_locating, 0, -1),
        is_locating,
        np.zeros(rows, dtype=bool),
        np.full(rows, 0.05),
    )
    return table, centroids, nodes


def cut_faces(table: ContactTable, nodes: Array, errors: Array) -> Array:
    """Points of each rod's first face, turned about its node by minus its error [rad]."""
    printed = table.p_second.copy()
    for rod, error in enumerate(errors):
        mine = table.is_locating & (table.second == rod)
        turn = turn_about_z(-np.degrees(error))
        printed[mine] = (printed[mine] - nodes[rod]) @ turn.T + nodes[rod]
    return printed


@pytest.mark.parametrize(
    ("count", "chord", "error", "gap"), [(12, 100.0, 1e-3, 2.31389059), (8, 50.0, 2e-3, 1.04272239)]
)
def test_equal_errors(count: int, chord: float, error: float, gap: float) -> None:
    table, centroids, nodes = chain_table(count, chord / (2.0 * np.sin(np.pi / count)))
    placing = solve_placing(table, centroids, np.full(count, chord), range(1, count))
    printed = cut_faces(table, nodes, np.r_[0.0, np.full(count - 1, error)])
    poses = place_exactly(table, placing, centroids, table.p_first, printed, np.zeros(len(table)))
    ours = float(np.linalg.norm(poses.x_second[-1] - poses.x_first[-1]))
    closed = chord * np.sin(count * error / 2.0) / np.sin(np.pi / count + error / 2.0)
    check(SOURCE, f"gap, N {count}, s {chord:g}, eps {error:g}", gap, ours, 1e-8, seen=False, unit="mm")
    check(SOURCE, f"gap, N {count}, closed form", closed, ours, 1e-9, seen=False, unit="mm")


@pytest.mark.parametrize("count", [5, 12, 40])
def test_random_errors(count: int) -> None:
    radius, sigma = 400.0, 1e-3
    table, centroids, nodes = chain_table(count, radius)
    placing = solve_placing(table, centroids, np.full(count, radius), range(1, count))
    combination = np.zeros((2, len(table)))
    combination[0, -2] = combination[1, -1] = 1.0
    lines, is_free = sensitivities(combination, table, placing)
    assert not is_free.any()
    columns = []
    for rod in range(1, count):
        step = 1e-6
        moved = cut_faces(table, nodes, np.where(np.arange(count) == rod, step, 0.0)) - table.p_second
        columns.append(lines @ np.einsum("ij,ij->i", table.direction, moved) / step)
    sources = Sources.of([(f"joint {rod}", Estimate(0.0, sigma)) for rod in range(1, count)])
    swing = LinearMap(np.zeros(2), np.array(columns).T, sources)
    rms = float(np.sqrt(np.trace(swing.covariance)))
    own_sum = np.sqrt(sum(np.sum((nodes[rod] - nodes[0]) ** 2) for rod in range(1, count))) * sigma
    check(
        RANDOM, f"rms gap, N {count}", sigma * radius * np.sqrt(2.0 * count), rms, 1e-6, seen=False, unit="mm"
    )
    check(RANDOM, f"rms gap, N {count}, sum over nodes", own_sum, rms, 1e-6, seen=False, unit="mm")
