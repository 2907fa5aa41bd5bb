"""The hash of a project's inputs: everything that moves a result moves it, and nothing else does."""

import pytest

from dryfit.app.fingerprint import hash_inputs
from dryfit.app.whatif import apply_what_if
from dryfit.store.document import parse_document
from support.projects import document

BED = 'id = "post-1"\nbed = { euler_xyz_deg = [0, 0, 90] }'
FACES = "[joint.faces]\npoints_mm = [[0, 0, 120], [20, 0, 120], [0, 60, 120.5]]\nnormal = [0, 0, 1]\n"
TEXT = (
    document()
    .replace('id = "post-1"', BED, 1)
    .replace("\n[[characteristic]]", f"\n{FACES}\n[[characteristic]]", 1)
)


def fingerprint(text=TEXT, meshes=(("base", "00"),), options=("samples=1",)):
    return hash_inputs(parse_document(text, "project.toml").project, meshes, options)


def edited(old, new):
    assert old in TEXT
    return TEXT.replace(old, new, 1)


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ('scale = "1:20"', 'scale = "1:21"'),
        ('scale = "1:20"', 'scale = "1:20"\nrisk = 0.06'),
        ("shrinkage = 0.0", "shrinkage = 0.001"),
        ("shrinkage_std = 0.0002", "shrinkage_std = 0.0003"),
        ("shrinkage_std = 0.0002", 'shrinkage_std = 0.0002\nshrinkage_distribution = "uniform"'),
        ("skew_xz_deg = 0.4", "skew_xz_deg = 0.4000000001"),
        ("skew_xz_deg = 0.02", "skew_xz_deg = 0.03"),
        ("repeatability_mm = 0.03", "repeatability_mm = 0.04"),
        ("first_layer_height_mm = 0.3", "first_layer_height_mm = 0.4"),
        ("[0, 0, 90]", "[0, 0, -90]"),
        ('locators = "pin-and-slot"', 'locators = "two-pins"'),
        ('locators = "pin-and-slot"', 'locators = "pin-and-slot"\nlocator_axis = "short"'),
        ("bond_line_mm = 0.0", "bond_line_mm = 0.1"),
        ("contact_play_mm = 0.03", "contact_play_mm = 0.04"),
        ('role = "closing"', 'role = "locating"'),
        ("120.5]", "120.6]"),
        ("limits_mm = [139, 141]", "limits_mm = [139, 142]"),
        ("limits_mm = [139, 141]", "lower_mm = 139"),
        ("points_mm = [[100, 30, 140]]", "points_mm = [[100, 31, 140]]"),
        ("direction = [1, 0, 0]", "direction = [-1, 0, 0]"),
        ('"post-1", "post-2", "lintel"]', '"post-2", "post-1", "lintel"]'),
        ('datum = "base"', 'datum = "base"\ntemp_c = 21.0'),
        ('datum = "base"', 'datum = "base"\ntemp_std_c = 1.0'),
        ('id = "plumb"', 'id = "plumbline"'),
        (
            'name = "Portal"\nscale = "1:20"\n',
            'name = "Portal"\nscale = "1:20"\n[search]\nmax_gap_mm = 0.6\n',
        ),
    ],
)
def test_it_changes_with_every_kind_of_field(old, new):
    assert fingerprint(edited(old, new)) != fingerprint()


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ("# measured last winter", "# measured last spring"),
        ("[assembly]", "# a remark\n\n\n[assembly]"),
        ("skew_xz_deg = 0.4", "skew_xz_deg     =    0.40"),
        ("[0, 0, 90]", "[0.0, 0.0, 90.0]"),
        ("limits_mm = [139, 141]", "limits_mm = [139.0, 141.0]"),
        ("shrinkage = 0.0\nshrinkage_std = 0.0002", "shrinkage_std = 0.0002\nshrinkage = 0.0"),
    ],
)
def test_comments_and_layout_do_not_count(old, new):
    assert fingerprint(edited(old, new)) == fingerprint()


FEATURE = '[[feature]]\nid = "w"\nkind = "extent"\npart = "base"\ndirection = [1, 0, 0]\n'


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ("[assembly]", f"{FEATURE}\n[assembly]"),
        ("[assembly]", '[[dimension]]\nid = "w"\nprototype_mm = 4000\n\n[assembly]'),
        ("[machine.error]", "extrusion_width_mm = 0.4\noverhang_deg = 45\nclearance_mm = 2\n[machine.error]"),
        ("[assembly]", '[[instrument]]\nid = "c"\nlike = "caliper-300"\n\n[assembly]'),
        ('id = "post-1"\n', 'id = "post-1"\nshell_mm = 1.2\ninfill = 0.2\n'),
    ],
)
def test_what_no_forecast_depends_on_does_not_count(old, new):
    assert fingerprint(edited(old, new)) == fingerprint()


def test_meshes_and_options_count():
    assert fingerprint(meshes=(("base", "01"),)) != fingerprint()
    assert fingerprint(options=("samples=2",)) != fingerprint()


def test_a_what_if_that_changes_nothing_does_not_count():
    project = parse_document(TEXT, "project.toml").project
    same = apply_what_if(project, ["tall.skew_xz_deg=0.4", "post-1.bed=0,0,90"])
    assert hash_inputs(same, (), ()) == hash_inputs(project, (), ())


def test_it_is_a_sha256_and_the_same_in_every_run():
    assert len(fingerprint()) == 64
    assert fingerprint() == fingerprint()
