"""Measures of parts as commanded, against printing their very points; and what their ends do to a reading."""

from dataclasses import replace

import numpy as np
import pytest

from building.meshes import box_mesh
from dryfit.app.geometry import shape_in_assembly
from dryfit.app.motion import made_up_gain
from dryfit.app.part_ends import commanded, ends_in_assembly, ends_in_design, reading_directions
from dryfit.base.rotation import rotation_from_euler
from dryfit.calc.errormodel import machine_gain, measure_arrays, read_lengths
from dryfit.model.artefact import Measure
from dryfit.model.part import Bed, Compensation, Part, Placement
from support.printed_parts import faces_measure, points_measure

FIGURES = np.array([0.002, -0.001, 0.003, 0.4, -0.3, 0.2, 0.15, 0.0])
PLACED = Placement(rotation_from_euler((10.0, 20.0, 30.0)), np.array([100.0, -50.0, 20.0]))


def part_of(bed=(15.0, 40.0, 70.0), compensation=None):
    part = Part("p", "x", "m", "s", bed=Bed(bed), placement=PLACED, compensation=compensation)
    return part, shape_in_assembly(part, box_mesh((0.0, 0.0, 0.0), (200.0, 120.0, 60.0)))


def in_assembly(point):
    return PLACED.rotation @ np.array(point) + PLACED.translation_mm


def test_there_and_back():
    part, _ = part_of()
    measure = faces_measure(in_assembly((0, 60, 30)), in_assembly((200, 60, 30)))
    own = ends_in_design(part, measure)
    assert own.second == pytest.approx((200, 60, 30))
    assert own.toward == pytest.approx((1, 0, 0))
    assert ends_in_assembly(part, own).first == pytest.approx(measure.first)


def test_a_diagonal_reads_the_distance_of_its_printed_points():
    part, shape = part_of()
    first, second = in_assembly((0, 0, 0)), in_assembly((200, 120, 60))
    ends = commanded(points_measure(first, second), part, shape, 0.0)
    turn = part.bed.rotation @ PLACED.rotation.T
    gain = machine_gain(FIGURES[:6])
    theirs = np.linalg.norm(gain @ turn @ (second - first))
    assert read_lengths(measure_arrays([ends]), FIGURES).values_mm[0] == pytest.approx(theirs)


def test_parallel_faces_read_their_distance_wherever_they_are_touched():
    part, shape = part_of(bed=(0.0, 0.0, 35.0))
    straight = faces_measure(in_assembly((0, 60, 30)), in_assembly((200, 60, 30)))
    across = replace(straight, second=tuple(in_assembly((200, 20, 50))))
    values = [
        read_lengths(measure_arrays([commanded(item, part, shape, 0.0)]), FIGURES).values_mm[0]
        for item in (straight, across)
    ]
    assert values[0] == pytest.approx(values[1], abs=1e-9)


def test_a_corrected_copy_reads_as_modelled():
    made = Compensation("f", "", "", "m", Bed((15.0, 40.0, 70.0)), tuple(FIGURES), 0.004)
    part, shape = part_of(compensation=made)
    faces = faces_measure(in_assembly((0, 60, 30)), in_assembly((200, 60, 30)))
    diagonal = points_measure(in_assembly((0, 0, 0)), in_assembly((200, 120, 60)))
    ends = [commanded(item, part, shape, 0.0) for item in (faces, diagonal)]
    values = read_lengths(measure_arrays(ends), FIGURES, shrinkage=0.004).values_mm
    # the offset grows along normals that the copy turns by a fraction of a degree
    assert values[0] == pytest.approx(200.0, abs=2e-4)
    assert values[1] == pytest.approx(diagonal.length_mm, abs=1e-9)
    assert np.linalg.norm(made_up_gain(part) - np.eye(3)) > 1e-3


@pytest.mark.parametrize("kind", ["diagonal", "faces", "square"])
def test_directions_are_the_derivatives_by_the_ends(kind):
    first, second = np.array([10.0, 5.0, 0.0]), np.array([10.0, 5.0, 80.0])
    if kind == "square":
        measure = Measure(1, "s", "square", "faces", tuple(first), tuple(second), toward=(1.0, 0.0, 0.0))
    elif kind == "faces":
        measure = faces_measure(first, second)
    else:
        measure = points_measure(first, second + np.array([30.0, 0.0, 0.0]))
    flat = np.zeros(8)
    step = 1e-4
    for place, direction in zip(("first", "second"), reading_directions(measure), strict=True):
        for axis in range(3):
            moved = np.array(getattr(measure, place)) + step * np.eye(3)[axis]
            if kind == "faces":  # touched elsewhere, faces read what lies along their normal
                change = float(np.array(measure.toward)[axis]) * (1 if place == "second" else -1)
            else:
                now = replace(measure, **{place: tuple(moved)})
                change = (
                    read_lengths(measure_arrays([now]), flat).values_mm[0]
                    - read_lengths(measure_arrays([measure]), flat).values_mm[0]
                ) / step
            assert direction[axis] == pytest.approx(change, abs=1e-3)
