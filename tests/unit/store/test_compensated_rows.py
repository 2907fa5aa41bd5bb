"""The rows of corrected copies and of what a machine stands on: strict, with line and advice."""

import pytest

from dryfit.base.errors import DocumentRefused
from dryfit.store.document import parse_document
from support.projects import MACHINE, document, part_row

HASH = "0" * 64
ROW = (
    f'{{ file = "compensated/base.3mf", sha256 = "{HASH}", source_sha256 = "{HASH}", machine = "tall", '
    "euler_xyz_deg = [0, 0, 90], figures = { skew_xz_deg = 0.4, scale_z = -0.001 } }"
)


def text_of(row=ROW, machine=MACHINE):
    names = ("post-1", "post-2", "lintel")
    parts = part_row("base", compensated=row) + "".join(part_row(name) for name in names)
    return document(machine=machine, parts=parts)


def fault_of(text):
    with pytest.raises(DocumentRefused) as caught:
        parse_document(text, "project.toml")
    (fault,) = caught.value.faults
    return fault


def test_a_row_becomes_its_record():
    part = parse_document(text_of(), "project.toml").project.part("base")
    made = part.compensation
    assert made.figures == (0.0, 0.0, -0.001, 0.0, 0.4, 0.0, 0.0, 0.0)
    assert made.bed.euler_xyz_deg == (0.0, 0.0, 90.0)
    assert (made.file, made.machine, made.shrinkage, made.qualification) == (
        "compensated/base.3mf",
        "tall",
        0.0,
        None,
    )
    assert part.mesh == "meshes/portal.glb#base"


@pytest.mark.parametrize(
    ("old", "new", "where", "words"),
    [
        ("skew_xz_deg = 0.4", "skew_zx_deg = 0.4", "figures.skew_zx_deg", "no figure"),
        ("scale_z = -0.001", "scale_z = 0.7", "figures.scale_z", "beyond any printer"),
        (
            "skew_xz_deg = 0.4",
            "first_layer_flare_mm = 0.2",
            "figures.first_layer_flare_mm",
            "without the height",
        ),
        ("compensated/base.3mf", "compensated/base.3mf#one", "compensated.file", "names an object"),
        ("compensated/base.3mf", "../base.3mf", "compensated.file", "leaves the project folder"),
        ('machine = "tall", euler', "qualification = 0, euler", "compensated", ""),
        (f'sha256 = "{HASH}", source', 'sha256 = "12", source', "compensated.sha256", "SHA-256"),
        ("scale_z = -0.001 }", "scale_z = -0.001 }, note = 1", "compensated.note", "unknown"),
    ],
)
def test_faults_are_named_with_their_place(old, new, where, words):
    assert ROW.count(old) == 1
    text = text_of(ROW.replace(old, new))
    with pytest.raises(DocumentRefused) as caught:
        parse_document(text, "project.toml")
    assert any(where in fault.where and words in fault.what for fault in caught.value.faults), caught.value


FEET = MACHINE.replace(
    "[machine.error]",
    "upright_feet_mm = [400, 380]\nfoot_pitch_mm = 1.25\ngantry_width_mm = 520\n[machine.error]",
)


def test_what_a_machine_stands_on():
    (machine,) = parse_document(text_of(machine=FEET), "project.toml").project.machines
    assert machine.upright_feet_mm == (400.0, 380.0)
    assert (machine.foot_pitch_mm, machine.gantry_width_mm) == (1.25, 520.0)


@pytest.mark.parametrize(
    ("old", "new", "where"),
    [
        ("[400, 380]", "[400]", "upright_feet_mm"),
        ("[400, 380]", "[400, 0]", "upright_feet_mm"),
        ("pitch_mm = 1.25", "pitch_mm = 0", "foot_pitch_mm"),
        ("width_mm = 520", 'width_mm = "520"', "gantry_width_mm"),
        ("upright_feet_mm = [400, 380]\n", "", "foot_pitch_mm"),
    ],
)
def test_faults_of_feet_are_named(old, new, where):
    assert where in fault_of(text_of(machine=FEET.replace(old, new))).where
