"""Journeys over the parts sheet in a real browser: what is wrong in a mesh is one click away, and seen.

What the checks find is checked elsewhere; here it is checked that the view turns to it and marks it.
"""

import re
import shutil
import tomllib
from difflib import unified_diff

import numpy as np
import pytest
from playwright.sync_api import expect

from conftest import accessibility_faults, fork_workbench, keep_picture
from support.mesh_files import box, stl_binary
from support.projects import ASSEMBLY, MACHINE, PORTAL, document, part_row, write_project

pytestmark = pytest.mark.browser

SIZES = {"wide": {"width": 1425, "height": 900}, "narrow": {"width": 820, "height": 1180}}
WAIT_MS = 60_000  # on a busy machine
expect.set_options(timeout=WAIT_MS)


def serve(folder):
    bench = fork_workbench(folder)
    bench.wait_until_it_answers()
    return bench


@pytest.fixture(scope="module")
def checked_demo(demo, tmp_path_factory):
    """The observatory, checked before, so that its report is recalled."""
    from dryfit.app.checking import check_folder

    folder = tmp_path_factory.mktemp("checked") / "demo"
    shutil.copytree(demo, folder)
    check_folder(folder)
    bench = serve(folder)
    try:
        yield bench
    finally:
        bench.end()


def faulty_portal(folder):
    """The portal, whose lintel lacks one of the two triangles of its back, with a peg driven into its base.

    The peg takes 10 x 10 x 5 = 500 mm3 of the base.
    """
    size, origin = PORTAL["lintel"]
    vertices, faces = box(size, origin)
    back = [n for n, face in enumerate(faces) if (vertices[face][:, 1] == size[1]).all()]
    torn = stl_binary(vertices, np.delete(faces, back[0], axis=0))
    write_project(folder)
    (folder / "meshes/lintel.stl").write_bytes(torn)
    rows = "".join(part_row(name) for name in PORTAL if name != "lintel")
    rows += part_row("lintel", reference="meshes/lintel.stl", unit='"mm"')
    (folder / "meshes/peg.stl").write_bytes(stl_binary(*box((10.0, 10.0, 20.0), (90.0, 25.0, 15.0))))
    rows += part_row("peg", reference="meshes/peg.stl", unit='"mm"')
    stated = "build_volume_mm = [500, 500, 600]\nextrusion_width_mm = 0.45\n"
    machine = MACHINE.replace("build_volume_mm = [500, 500, 600]\n", stated)
    order = ASSEMBLY.replace('"lintel"]', '"lintel", "peg"]')
    (folder / "project.toml").write_text(
        document(machine=machine, parts=rows, assembly=order), encoding="utf-8"
    )
    return folder


def ball(steps, radius=8.0, centre=(100.0, 30.0, 60.0)):
    """Vertices and about 2 x steps^2 faces of a ball, between the posts: it takes its time to be examined."""
    polar = np.linspace(0.0, np.pi, steps + 1)[1:-1, None]
    round_about = 2.0 * np.pi * np.arange(steps)[None, :] / steps
    ring = np.stack(
        np.broadcast_arrays(
            np.sin(polar) * np.cos(round_about), np.sin(polar) * np.sin(round_about), np.cos(polar)
        ),
        axis=-1,
    )
    vertices = np.vstack([ring.reshape(-1, 3), [[0.0, 0.0, 1.0], [0.0, 0.0, -1.0]]])
    number = np.arange(len(vertices) - 2).reshape(len(polar), steps)
    a, b, c, d = number[:-1], np.roll(number[:-1], -1, 1), np.roll(number[1:], -1, 1), number[1:]
    top, bottom = np.full(steps, len(vertices) - 2), np.full(steps, len(vertices) - 1)
    faces = [np.stack(three, -1).reshape(-1, 3) for three in ((a, d, c), (a, c, b))]
    faces += [np.stack([top, number[0], np.roll(number[0], -1)], -1)]
    faces += [np.stack([bottom, np.roll(number[-1], -1), number[-1]], -1)]
    return vertices * radius + centre, np.vstack(faces)


def replace_peg(folder, vertices, faces):
    """The faulty portal with another body in place of its peg."""
    faulty_portal(folder)
    (folder / "meshes/peg.stl").write_bytes(stl_binary(vertices, faces))
    return folder


@pytest.fixture
def slow_portal(tmp_path):
    """With a ball of 320,000 triangles."""
    bench = serve(replace_peg(tmp_path / "portal", *ball(400)))
    try:
        yield bench
    finally:
        bench.end()


@pytest.fixture
def stapled_portal(tmp_path):
    """With a staple of two legs in its base: 10 x 10 x 5 mm3 at x 40 and 10 x 10 x 3 at x 140."""
    first, faces = box((10.0, 10.0, 20.0), (40.0, 25.0, 15.0))
    second, more = box((10.0, 10.0, 20.0), (140.0, 25.0, 17.0))
    bench = serve(
        replace_peg(tmp_path / "portal", np.vstack([first, second]), np.vstack([faces, more + len(first)]))
    )
    try:
        yield bench
    finally:
        bench.end()


@pytest.fixture
def portal(tmp_path):
    bench = serve(faulty_portal(tmp_path / "portal"))
    try:
        yield bench
    finally:
        bench.end()


def open_parts(page, bench):
    page.goto(f"{bench.url}/parts")
    page.wait_for_function(
        """() => { const words = document.querySelector(".model-says")?.innerText ?? "";
             return words.includes("triangles") && !words.includes("so far"); }""",
        timeout=WAIT_MS,
    )


def drawing(page, expression):
    return page.evaluate(
        f"() => {{ const d = document.querySelector('.model-view').drawing; return {expression}; }}"
    )


def wait_for_drawing(page, expression):
    page.wait_for_function(
        f"() => {{ const d = document.querySelector('.model-view').drawing; return {expression}; }}",
        timeout=WAIT_MS,
    )


def marked(page):
    """Corners (n, 3) of the triangles that are drawn over the model, each of them twice."""
    rows = drawing(page, "d.found.meshes.map(m => Array.from(m.geometry.attributes.position.array))")
    return np.array(rows[0]).reshape(-1, 3) if rows else np.zeros((0, 3))


def check(page):
    page.get_by_role("button", name="Check the parts").click()
    expect(page.get_by_role("button", name="Check again")).to_be_enabled()


def part_button(page, name):
    return page.locator(".checked-parts").get_by_role("button", name=name, exact=True)


def test_the_parts_are_checked_in_sight_of_every_tab(portal, context, page):
    open_parts(page, portal)
    expect(page.locator(".checks-head")).to_contain_text("Not checked yet")
    expect(page.locator(".checked-parts .state-cell").first).to_have_text("not checked")
    other = context.new_page()
    open_parts(other, portal)
    check(page)
    expect(page.locator(".checks-head .heading")).to_contain_text("Portal: 5 parts: ")
    # Every tab sees the same report.
    expect(other.get_by_role("button", name="Check again")).to_be_enabled()
    expect(other.locator(".checked-parts")).to_contain_text("1 stop")


def test_a_hole_is_one_click_away_and_marked(portal, page):
    open_parts(page, portal)
    check(page)
    part_button(page, "lintel").click()
    expect(part_button(page, "lintel")).to_have_attribute("aria-expanded", "true")
    before = drawing(page, "d.eye.camera.position.toArray()")
    hole = page.locator(".finding").filter(has_text="health").first
    hole.click()
    expect(page.locator(".found-bar strong")).to_contain_text("health, lintel")
    expect(page.locator(".found-bar .place")).to_contain_text(re.compile(r"x \d.*, y 60\.00, z 1[234]\d"))
    expect(hole).to_have_attribute("aria-pressed", "true")
    wait_for_drawing(page, "d.found.isShown && d.found.shown.places.length === 1")
    place = np.array(drawing(page, "d.found.shown.places[0]"))
    # In the middle of the view, from behind, where the hole is open to the eye.
    target, eye = (
        np.array(drawing(page, f"d.eye.{name}.toArray()")) for name in ("controls.target", "camera.position")
    )
    assert np.allclose(target, place, atol=1.0)
    assert eye[1] > place[1] + 10.0
    assert np.linalg.norm(eye - before) > 10.0
    keep_picture(page, "parts-hole")
    page.get_by_role("button", name="Whole model").click()
    wait_for_drawing(page, "!d.found.isShown")
    expect(page.locator(".found-bar strong")).to_have_count(0)


def test_the_wrong_height_is_opened_and_drawn_as_a_dimension(checked_demo, page):
    open_parts(page, checked_demo)
    page.get_by_role("button", name="Check again").click()
    expect(page.get_by_role("button", name="Check again")).to_be_enabled()
    row = page.locator("table.features tr").filter(has_text="drum-height")
    expect(row.first).to_contain_text("stop")
    expect(row.first).to_contain_text("+17.9")
    page.get_by_role("button", name="drum-height", exact=True).click()
    expect(page.locator("tr.why.chosen")).to_contain_text("more than the evidence explains")
    wait_for_drawing(page, "d.found.isShown && d.found.shown.line")
    line = np.array(drawing(page, "d.found.shown.line"))
    assert np.allclose(line[1] - line[0], [0.0, 0.0, 200.0], atol=0.01)
    assert drawing(page, "d.found.shown.words").startswith("drum-height 200 mm (+17.9")
    page.wait_for_timeout(300)
    keep_picture(page, "parts-height")


def test_a_round_feature_marks_its_exact_face(checked_demo, page):
    open_parts(page, checked_demo)
    page.get_by_role("button", name="crown-bore", exact=True).click()
    wait_for_drawing(page, "d.found.meshes.length === 2")
    corners = marked(page)
    # The bore of the crown has a diameter of 150 mm; facet corners lie on it.
    assert len(corners) == 3 * 72
    assert np.allclose(np.hypot(corners[:, 0], corners[:, 1]), 75.0, atol=1e-3)


def test_an_overlap_between_two_parts_is_one_click_away(portal, page):
    open_parts(page, portal)
    check(page)
    page.locator(".group .finding").filter(has_text="fill the same space").first.click()
    expect(page.locator(".found-bar strong")).to_contain_text("overlap, base and peg")
    expect(page.locator(".found-bar .words")).to_contain_text("500 mm3")
    wait_for_drawing(page, "d.found.isShown")
    place = drawing(page, "d.found.shown.places[0]")
    assert np.allclose(place, [95.0, 30.0, 17.5], atol=0.01)
    shown = drawing(page, "[...d.parts.values()].filter(p => p.mesh.visible).map(p => p.row.id)")
    assert sorted(shown) == ["base", "peg"]
    # The box of what both fill, in lines over the model.
    assert np.allclose(
        drawing(page, "d.found.shown.box"), [[90.0, 25.0, 15.0], [100.0, 35.0, 20.0]], atol=0.01
    )
    page.wait_for_timeout(300)
    keep_picture(page, "parts-overlap")
    page.get_by_role("button", name="Whole model").click()
    wait_for_drawing(page, "!d.found.isShown")


def place_shown(page):
    """What the bar says of its place, once the view shows it."""
    words = page.locator(".found-bar .place").inner_text()
    number = int(re.match(r"Place (\d+) of", words)[1])
    wait_for_drawing(page, f"d.found.isShown && d.found.shown.at === {number - 1}")
    return number


def test_places_of_a_finding_are_stepped_through_one_after_the_other(stapled_portal, page):
    open_parts(page, stapled_portal)
    check(page)
    page.locator(".group .finding").filter(has_text="fill the same space").first.click()
    bar = page.locator(".found-bar")
    expect(bar.locator(".place")).to_contain_text("Place 1 of 2: x 45.00, y 30.00, z 17.50")
    assert place_shown(page) == 1
    assert np.allclose(
        drawing(page, "d.found.shown.box"), [[40.0, 25.0, 15.0], [50.0, 35.0, 20.0]], atol=0.01
    )
    ahead = bar.get_by_role("button", name="Next place")
    ahead.click()
    expect(bar.locator(".place")).to_contain_text("Place 2 of 2: x 145.00, y 30.00, z 18.50")
    assert place_shown(page) == 2
    assert np.allclose(
        drawing(page, "d.found.shown.box"), [[140.0, 25.0, 17.0], [150.0, 35.0, 20.0]], atol=0.01
    )
    assert np.allclose(drawing(page, "d.eye.controls.target.toArray()"), [145.0, 30.0, 18.5], atol=0.5)
    # The button stays under the finger: after the last place comes the first, and before it the last.
    expect(ahead).to_be_focused()
    page.keyboard.press("Enter")
    expect(bar.locator(".place")).to_contain_text("Place 1 of 2")
    back = bar.get_by_role("button", name="Previous place")
    back.click()
    expect(bar.locator(".place")).to_contain_text("Place 2 of 2")
    expect(back).to_be_focused()
    back.click()
    expect(bar.locator(".place")).to_contain_text("Place 1 of 2")


@pytest.mark.parametrize("size", SIZES)
def test_the_box_of_an_overlap_is_seen_in_both_sizes_and_themes(stapled_portal, page, size):
    page.set_viewport_size(SIZES[size])
    open_parts(page, stapled_portal)
    check(page)
    page.locator(".group .finding").filter(has_text="fill the same space").first.click()
    wait_for_drawing(page, "d.found.isShown && d.found.shown.box")
    for theme in ("light", "dark"):
        page.emulate_media(color_scheme=theme)
        page.wait_for_timeout(700)
        keep_picture(page, f"parts-box-{size}-{theme}")


def test_a_check_is_cancelled_in_any_tab_and_says_so(slow_portal, context, page):
    open_parts(page, slow_portal)
    other = context.new_page()
    open_parts(other, slow_portal)
    page.get_by_role("button", name="Check the parts").click()
    expect(other.get_by_role("status").filter(has_text="The parts are being checked.")).to_be_visible()
    expect(other.get_by_role("button", name="Check the parts")).to_be_disabled()
    other.get_by_role("button", name="cancel checking the parts").click()
    expect(page.locator(".checks-head .refusal")).to_contain_text("checking the parts: cancelled")
    # Nothing counts as checked, and in every tab it can be started again.
    for tab in (page, other):
        expect(tab.get_by_role("button", name="Check the parts")).to_be_enabled()
        expect(tab.locator(".checked-parts .state-cell").first).to_have_text("not checked")
        expect(tab.get_by_role("status").filter(has_text="being checked")).to_have_count(0)


def test_walls_are_coloured_with_their_histogram_beside(checked_demo, page):
    open_parts(page, checked_demo)
    part_button(page, "crown").click()
    expect(page.locator(".walls-panel h3")).to_contain_text("Walls of crown")
    expect(page.locator("svg.walls .limit")).to_have_count(3)
    page.get_by_role("button", name="Colour the model by it").click()
    wait_for_drawing(page, "d.parts.get('crown').walls?.visible")
    values = np.array(
        drawing(page, "Array.from(d.parts.get('crown').walls.geometry.attributes.wall.data.array)")
    ).reshape(-1, 4)
    flat = np.isin(values[:, 2], (500.0, 530.0)) & (np.hypot(values[:, 0], values[:, 1]) > 80.0)
    assert np.isclose(np.median(values[flat, 3]), 30.0, atol=0.01)
    page.wait_for_timeout(500)
    keep_picture(page, "parts-walls")
    page.locator(".model-controls select").nth(1).select_option("part")
    expect(page.get_by_role("button", name="Colour the model by it")).to_have_attribute(
        "aria-pressed", "false"
    )


def test_a_feature_is_defined_by_picking_and_written(portal, page):
    before = (portal.folder / "project.toml").read_text()
    open_parts(page, portal)
    page.get_by_role("button", name="new feature").click()
    page.get_by_label("what is measured").select_option("thickness")
    # From the front the lintel lies before the eye: what is in the middle is picked with the keyboard alone.
    page.locator(".model-stage").focus()
    page.keyboard.press("3")
    page.keyboard.press("Enter")
    expect(page.locator(".picked-face")).to_contain_text("lintel: plane, 12000 mm2")
    expect(page.locator(".picked-face")).to_contain_text("looks toward 0.000, 0.000, 1.000")
    wait_for_drawing(page, "d.found.meshes.length === 2")
    assert np.allclose(marked(page)[:, 2], 140.0)
    page.get_by_label("should be", exact=True).fill("20.5")
    page.get_by_label("known within (std)").fill("0.1")
    page.get_by_label("its name").fill("lintel-thickness")
    page.get_by_role("button", name="measure the new feature").click()
    expect(page.locator(".new-feature .outcome")).to_contain_text("lintel-thickness")
    assert (portal.folder / "project.toml").read_text() == before


def test_what_cannot_be_measured_is_said_where_it_was_asked(portal, page):
    open_parts(page, portal)
    page.get_by_role("button", name="new feature").click()
    page.get_by_role("button", name="measure the new feature").click()
    expect(page.locator(".new-feature .refusal")).to_contain_text("0 of 2 faces picked")
    keep_picture(page, "parts-new")


def test_a_feature_of_a_sound_part_is_written_and_measured_from_then_on(portal, page):
    before = (portal.folder / "project.toml").read_text()
    open_parts(page, portal)
    page.get_by_role("button", name="new feature").click()
    page.get_by_label("what is measured").select_option("extent")
    page.locator(".model-stage").focus()
    page.keyboard.press("3")
    page.keyboard.press("Enter")
    expect(page.locator(".picked-face")).to_contain_text("lintel")
    page.get_by_label("measured along").fill("0,0,1")
    page.get_by_label("should be", exact=True).fill("20.5")
    page.get_by_label("known within (std)").fill("0.1")
    page.get_by_label("its name").fill("lintel-height")
    page.get_by_role("button", name="write the new feature").click()
    expect(page.locator(".new-feature .diff")).to_contain_text("lintel-height")
    keep_picture(page, "parts-write")
    assert (portal.folder / "project.toml").read_text() == before
    page.get_by_role("button", name="write it to project.toml").click()
    expect(page.locator(".new-feature .diff")).to_have_count(0)
    expect(page.get_by_role("button", name="Check the parts")).to_be_enabled()
    after = (portal.folder / "project.toml").read_text()
    (feature,) = tomllib.loads(after)["feature"]
    assert (feature["id"], feature["kind"], feature["nominal_mm"]) == ("lintel-height", "extent", 20.5)
    assert [line for line in unified_diff(before.splitlines(), after.splitlines()) if line.startswith("-")][
        1:
    ] == []
    check(page)
    expect(page.locator("table.features")).to_contain_text("lintel-height")
    expect(page.locator("table.features")).to_contain_text("-0.5")


def test_findings_are_reached_and_left_with_the_keyboard(checked_demo, page):
    open_parts(page, checked_demo)
    finding = page.locator(".group .finding").filter(has_text="clearance").first
    finding.focus()
    page.keyboard.press("Enter")
    expect(page.get_by_role("button", name="Back to the list")).to_be_focused()
    page.keyboard.press("Enter")
    expect(finding).to_be_focused()


@pytest.mark.parametrize("size", SIZES)
def test_the_sheet_is_accessible_and_whole_in_both_sizes_and_themes(checked_demo, page, size):
    page.set_viewport_size(SIZES[size])
    open_parts(page, checked_demo)
    part_button(page, "crown").click()
    page.get_by_role("button", name="new feature").click()
    expect(page.locator(".picked-faces")).to_be_visible()
    for theme in ("light", "dark"):
        page.emulate_media(color_scheme=theme)
        page.wait_for_timeout(150)
        keep_picture(page, f"parts-checked-{size}-{theme}")
        assert accessibility_faults(page) == [], theme
    assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth")
    tables = page.locator("main .scroll")
    widths = tables.evaluate_all("all => all.map(e => [e.scrollWidth, e.clientWidth])")
    assert [(wide, there) for wide, there in widths if wide > there + 1] == []
    if size == "narrow":
        view, rows = (page.locator(name).bounding_box()["y"] for name in (".model-stage", ".checked-parts"))
        assert view < rows
