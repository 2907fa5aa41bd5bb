"""Search for bed poses of 60 parts, 24 turns each, and for the layouts of their 60 joints.

The bar is 30 s in all on one core. The ring is invented: r 560..600, 40 tall, half a degree out of square.
"""

from __future__ import annotations

import time
from fractions import Fraction

import numpy as np
import pytest

from dryfit.app.forecast import build_chain
from dryfit.app.geometry import shape_in_assembly
from dryfit.app.orient import orient
from dryfit.base.estimate import Estimate
from dryfit.model.characteristic import Characteristic
from dryfit.model.joint import FaceContacts, Joint
from dryfit.model.machine import FIGURES, WIDE_PRIOR, ErrorModel, Machine
from dryfit.model.material import Material
from dryfit.model.mesh import TriangleMesh
from dryfit.model.orientation import OrientOptions
from dryfit.model.part import Bed, Part
from dryfit.model.project import Assembly, Project

COUNT = 60
FACES = np.array(
    [
        [0, 2, 1],
        [1, 2, 3],
        [4, 5, 6],
        [5, 7, 6],
        [0, 1, 4],
        [1, 5, 4],
        [2, 6, 3],
        [3, 6, 7],
        [0, 4, 2],
        [2, 4, 6],
        [1, 3, 5],
        [3, 7, 5],
    ]
)


def ring_of(machines):
    step = 2 * np.pi / COUNT
    parts, shapes, joints = [], {}, []
    for number in range(COUNT):
        corners = np.array(
            [
                [r * np.cos(step * at), r * np.sin(step * at), z]
                for z in (-20.0, 20.0)
                for at in (number, number + 1)
                for r in (560.0, 600.0)
            ]
        )
        turn = 45.0 - 360.0 / COUNT * (number + 0.5)
        part = Part(f"p{number}", "x", machines[number % len(machines)].id, "pla", bed=Bed((0.0, 0.0, turn)))
        parts.append(part)
        shapes[part.id] = shape_in_assembly(part, TriangleMesh(corners, FACES))
        face = corners[[2, 3, 6, 7]]
        along = np.array([-np.sin(step * (number + 1)), np.cos(step * (number + 1)), 0.0])
        contacts = FaceContacts(face, face, np.tile(along, (4, 1)), 1600.0)
        joints.append(
            Joint(f"j{number}", (part.id, f"p{(number + 1) % COUNT}"), "pin-and-slot", faces=contacts)
        )
    closing = joints[-1].id
    steps = (
        Characteristic(name, "step", closing, direction=np.array(along), lower=-0.5, upper=0.5)
        for name, along in (("climb", [0, 0, 1.0]), ("radial", [1.0, 0, 0]))
    )
    wanted = (Characteristic("closure", "gap", closing, lower=-0.5, upper=0.5), *steps)
    return Project(
        "ring of sixty",
        Fraction(1, 20),
        machines=machines,
        parts=tuple(parts),
        joints=tuple(joints),
        materials=(Material("pla", "PLA", Estimate(0.002, 0.0005), Estimate(7e-5)),),
        characteristics=wanted,
        assembly=Assembly("p0"),
    ), shapes


def stated(id):
    figures = {name: Estimate(0.0) for name in FIGURES} | {
        "skew_xy_deg": Estimate(0.5, 0.02),
        "skew_xz_deg": Estimate(0.3, 0.02),
    }
    return Machine(id, (1e3, 1e3, 1e3), ErrorModel(figures, 0.02, 0.0, "stated"))


@pytest.mark.parametrize("with_locators", [False, True])
@pytest.mark.parametrize("kind", ["one stated machine", "a stated and an unknown machine"])
def test_orient_sixty_parts(benchmark, kind, with_locators):
    second = Machine("n", (1e3, 1e3, 1e3), WIDE_PRIOR)
    machines = (stated("m"),) if kind == "one stated machine" else (stated("m"), second)
    chain = build_chain(*ring_of(machines))
    start = time.perf_counter()
    report = benchmark.pedantic(
        orient, args=(chain, OrientOptions(with_locators=with_locators)), rounds=1, iterations=1
    )
    assert time.perf_counter() - start < 30.0
    assert report.loss_after < report.loss_before
