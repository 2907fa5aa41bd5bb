"""Journeys over the evidence sheet in a real browser, on an invented house photographed three times."""

import io
import json
import re
import shutil
import urllib.error
import urllib.request

import numpy as np
import PIL.Image
import pytest
from playwright.sync_api import expect

from conftest import accessibility_faults, fork_workbench, keep_picture
from dryfit.app.photo_adding import add_photos
from dryfit.app.photo_desk import read_seen
from dryfit.app.photo_marking import MarkChanges, mark_photo
from support.evidence import OFF, draw, make_project
from support.pictures import picture_bytes, pixels

pytestmark = [pytest.mark.browser, pytest.mark.slow]

SIZES = {"wide": {"width": 1425, "height": 900}, "narrow": {"width": 820, "height": 1180}}
MOST_TABS = 120
expect.set_options(timeout=40_000)  # a photograph is measured anew in a second, on a busy machine in many


@pytest.fixture(scope="module")
def house(tmp_path_factory):
    base = tmp_path_factory.mktemp("evidence")
    return make_project(base / "house", base / "pictures", 14.0)


@pytest.fixture(scope="module")
def changing(house, tmp_path_factory):
    """One workbench for the tests that change the house."""
    started = fork_workbench(shutil.copytree(house, tmp_path_factory.mktemp("changing") / "house"))
    try:
        started.wait_until_it_answers()
        yield started
    finally:
        started.end()


@pytest.fixture
def bench(changing, house):
    """The same with the house as it was at first: its files are put back, as another program would."""
    kept = {file.relative_to(house) for file in house.rglob("*") if file.is_file()}
    for file in changing.folder.joinpath("photos").iterdir():
        if file.relative_to(changing.folder) not in kept:
            file.unlink()
    for file in kept:
        if file.suffix in (".toml", ".jpg"):
            shutil.copyfile(house / file, changing.folder / file)
    return changing


@pytest.fixture(scope="module")
def served(house, tmp_path_factory):
    """One workbench for the tests that leave the house as it is."""
    started = fork_workbench(shutil.copytree(house, tmp_path_factory.mktemp("served") / "house"))
    try:
        started.wait_until_it_answers()
        yield started
    finally:
        started.end()


def open_photo(page, bench, photo):
    page.goto(f"{bench.url}/evidence?show={photo}")
    expect(page.locator(".photos li.chosen")).to_contain_text(photo)
    expect(page.get_by_role("application")).to_have_attribute("aria-label", re.compile(f"Photograph {photo}"))


def stage_place(page, x, y):
    """Where on the window a place of the picture lies."""
    return page.locator(".photo-view").evaluate(
        """(view, place) => { const stage = view.querySelector('.photo-stage');
        const box = stage.getBoundingClientRect(); const [x, y] = view.own.eye.toStage(place);
        return [box.left + stage.clientLeft + x, box.top + stage.clientTop + y] }""",
        [x, y],
    )


def click_at(page, x, y):
    page.mouse.click(*stage_place(page, x, y))


def wait_for(page, bench, photo, is_so):
    """The marks in the file, once they are so."""
    for _ in range(150):
        marks = read_seen(bench.folder, photo)
        if marks is not None and is_so(marks):
            return marks
        page.wait_for_timeout(100)
    raise AssertionError(f"the file of {photo} never came to hold it: {marks}")


def has(marks, name):
    return any(point.name == name for point in marks.points)


def fetch(url, **headers):
    return urllib.request.urlopen(urllib.request.Request(url, headers=headers), timeout=30)


def test_the_link_leads_to_the_photographs_with_state_camera_and_what_is_missing(served, page):
    page.goto(served.url)
    link = page.locator(".chain .link").filter(has=page.get_by_role("link", name="evidence", exact=True))
    expect(link).to_contain_text("4 photographs, 0 sizes")
    expect(link).to_contain_text("stop")
    link.get_by_role("link").click()
    row = page.locator(".photos li").filter(has=page.get_by_role("button", name="corner", exact=True))
    expect(row).to_contain_text("1200 x 900 px, turned a quarter clockwise; 19 points")
    expect(row).to_contain_text("together with other photographs: 19 points in common with front, side")
    expect(row).to_contain_text("stop")
    spare = page.locator(".photos li").filter(has=page.get_by_role("button", name="spare", exact=True))
    expect(spare).to_contain_text("nothing is marked")
    sizes = page.get_by_role("region", name="sizes from the photographs")
    expect(sizes).to_contain_text(f'not used: point "{OFF}" on corner')


def test_a_suspect_is_named_in_the_shape_of_a_stop_and_shows_how_far_it_is_off(served, page):
    open_photo(page, served, "corner")
    row = page.locator(".photo-marks tr").filter(has_text=OFF)
    expect(row).to_contain_text(re.compile(r"1[34]\.\d px, set aside"))
    expect(row.locator(".photo-square")).to_be_visible()
    expect(page.locator(".photo-stage rect.suspect")).to_have_count(1)
    factor = page.get_by_label("residuals drawn so many times as large")
    expect(factor).to_have_value("100")
    arrow = page.locator(".photo-stage path.residual").first
    long = "path => path.getTotalLength()"
    before = arrow.evaluate(long)
    factor.select_option("50")
    page.wait_for_timeout(200)
    assert page.locator(".photo-stage path.residual").first.evaluate(long) == pytest.approx(
        before / 2, rel=0.05
    )


def test_the_picture_is_served_upright_and_only_to_this_page(served, page):
    open_photo(page, served, "corner")
    address = page.locator(".photo-view").evaluate("view => view.own.source.url")
    with fetch(served.url + address) as answer:
        shown = np.asarray(PIL.Image.open(io.BytesIO(answer.read())).convert("L"), dtype=float)
    truth = np.asarray(draw(1).convert("L"), dtype=float)
    assert shown.shape == truth.shape == (900, 1200)
    assert np.abs(shown - truth).mean() < 2.0
    for wrong, status in (
        (address.replace("v=", "v=0"), 409),
        (address.replace("corner", "nowhere"), 404),
        (address.replace("2400", "2300"), 400),
        (address.replace("2400.jpg", "9-9.tile.jpg"), 404),
    ):
        with pytest.raises(urllib.error.HTTPError) as refused:
            fetch(served.url + wrong)
        assert refused.value.code == status
        refused.value.close()
    with pytest.raises(urllib.error.HTTPError) as refused:
        fetch(served.url + address, Host="elsewhere.example")
    assert refused.value.code == 403
    refused.value.close()


def test_a_click_marks_a_point_and_keys_nudge_it_by_a_tenth(bench, page):
    open_photo(page, bench, "spare")
    page.get_by_role("button", name="point", exact=True).click()
    page.locator(".photo-tools .entry").fill("door.foot")
    click_at(page, 640.0, 520.0)
    marks = wait_for(page, bench, "spare", lambda marks: has(marks, "door.foot"))
    x, y = marks.point("door.foot").at_px
    assert (x, y) == pytest.approx(
        (640.0, 520.0), abs=1.2
    )  # a pixel of the window is more than one of the picture
    expect(page.get_by_role("region", name="the chosen mark")).to_contain_text("Point door.foot")
    for _ in range(3):
        page.keyboard.press("ArrowRight")
    marks = wait_for(
        page, bench, "spare", lambda marks: abs(marks.point("door.foot").at_px[0] - x - 0.3) < 1e-6
    )
    page.keyboard.press("Shift+ArrowUp")
    marks = wait_for(
        page, bench, "spare", lambda marks: abs(marks.point("door.foot").at_px[1] - y + 1.0) < 1e-6
    )
    expect(page.locator(".photo-loupe")).to_be_visible()
    expect(page.locator(".photo-loupe output")).to_contain_text(f"{x + 0.3:.1f}, {y - 1.0:.1f} px, 8x")
    assert "0.300000000" not in bench.folder.joinpath("photos/spare.jpg.marks.toml").read_text()


def test_a_mark_is_dragged_removed_and_every_step_taken_back(bench, page):
    file = bench.folder / "photos/front.jpg.marks.toml"
    file.write_text(file.read_text() + "# a note by hand\n")
    text = file.read_text()
    open_photo(page, bench, "front")
    x, y = read_seen(bench.folder, "front").point("ridge").at_px
    start = stage_place(page, x, y)
    page.mouse.move(*start)
    page.mouse.down()
    page.mouse.move(start[0] + 20, start[1] + 10, steps=5)
    page.mouse.up()
    wait_for(page, bench, "front", lambda marks: marks.point("ridge").at_px[0] > x + 15)
    page.keyboard.press("Delete")
    wait_for(page, bench, "front", lambda marks: not has(marks, "ridge"))
    undo = page.get_by_role("button", name="undo: remove ridge")
    expect(undo).to_be_enabled()
    undo.click()
    wait_for(page, bench, "front", lambda marks: has(marks, "ridge"))
    page.get_by_role("button", name="undo: move ridge").click()
    wait_for(page, bench, "front", lambda marks: marks.point("ridge").at_px == (x, y))
    assert file.read_text() == text
    page.get_by_role("button", name="do again: move ridge").click()
    wait_for(page, bench, "front", lambda marks: marks.point("ridge").at_px[0] > x + 15)


def test_a_point_that_is_needed_is_not_removed_and_it_is_said_why(bench, page):
    open_photo(page, bench, "front")
    page.get_by_role("button", name="nw.foot", exact=True).click()
    page.keyboard.press("Delete")
    expect(page.locator(".photo-trouble")).to_contain_text('there is no point "nw.foot"')
    assert has(read_seen(bench.folder, "front"), "nw.foot")


def test_lines_through_points_and_of_their_own(bench, page):
    open_photo(page, bench, "front")
    marks = read_seen(bench.folder, "front")
    page.get_by_role("button", name="line", exact=True).click()
    page.locator(".photo-tools .entry").fill("lintel.line")
    page.locator(".photo-tools").get_by_label("along").select_option("x")
    for name in ("lintel.w", "lintel.e"):
        click_at(page, *marks.point(name).at_px)
    page.get_by_role("button", name="Finish the line").click()
    marks = wait_for(page, bench, "front", lambda marks: marks.lines[-1].name == "lintel.line")
    assert marks.lines[-1].through == ("lintel.w", "lintel.e")
    page.locator(".photo-tools .entry").fill("kerb")
    page.get_by_label("straight in reality").first.check()
    page.locator(".photo-tools").get_by_label("along").select_option("")
    for x in (200.0, 600.0, 1000.0):
        click_at(page, x, 800.0)
    page.get_by_role("button", name="Finish the line").click()
    marks = wait_for(page, bench, "front", lambda marks: marks.lines[-1].name == "kerb")
    assert marks.lines[-1].is_straight
    assert len(marks.lines[-1].points_px) == 3
    middle = marks.lines[-1].points_px[1]
    page.get_by_role("button", name="kerb, 2", exact=True).focus()
    page.keyboard.press("ArrowDown")
    wait_for(
        page, bench, "front", lambda marks: abs(marks.lines[-1].points_px[1][1] - middle[1] - 0.1) < 1e-6
    )


def test_the_forms_change_a_mark_and_state_a_length_a_plane_and_a_size(bench, page):
    open_photo(page, bench, "front")
    page.get_by_role("button", name="ridge", exact=True).click()
    chosen = page.get_by_role("region", name="the chosen mark")
    expect(chosen).to_contain_text("Point ridge")
    chosen.get_by_label("std, px").fill("1.5")
    chosen.get_by_label("name").fill("ridge.west")
    chosen.get_by_role("button", name="save point ridge").click()
    marks = wait_for(page, bench, "front", lambda marks: has(marks, "ridge.west"))
    assert marks.point("ridge.west").std_px == 1.5
    expect(chosen).to_contain_text("Point ridge.west")  # drawn anew, with all forms that name points
    known = page.get_by_role("region", name="what is known and wanted")
    known.get_by_text("known lengths: 2").click()
    known.get_by_role("combobox", name="from").first.select_option("ne.foot")
    known.get_by_role("combobox", name="to", exact=True).first.select_option("ne.top")
    known.get_by_role("textbox", name="length").fill("nine metres")
    known.get_by_role("textbox", name="std", exact=True).first.fill("1 cm")
    known.get_by_role("button", name="save known length").click()
    expect(known.locator(".refusal")).to_contain_text("is not read as a length")
    known.get_by_role("textbox", name="length").fill("9 m")
    known.get_by_role("button", name="save known length").click()
    wait_for(page, bench, "front", lambda marks: len(marks.lengths) == 3)
    known.get_by_role("button", name="remove length ne.foot:ne.top").click()
    wait_for(page, bench, "front", lambda marks: len(marks.lengths) == 2)


def test_the_keyboard_alone_marks_nudges_and_removes(bench, page):
    open_photo(page, bench, "spare")

    def tab_to(name):
        for _ in range(MOST_TABS):
            page.keyboard.press("Tab")
            words = page.evaluate(
                """() => { const e = document.activeElement;
                return e.getAttribute('aria-label') || e.labels?.[0]?.textContent || e.textContent.trim() }"""
            )
            if words.strip().startswith(name):
                return
        raise AssertionError(f"the keyboard does not reach {name}")

    tab_to("point")
    page.keyboard.press("Enter")
    tab_to("name")
    page.keyboard.type("chimney")
    tab_to("Photograph spare")
    page.keyboard.press("ArrowRight")  # no mark is chosen: the picture moves
    page.keyboard.press("+")
    page.keyboard.press("Enter")
    marks = wait_for(page, bench, "spare", lambda marks: has(marks, "chimney"))
    x, y = marks.point("chimney").at_px
    expect(page.get_by_role("region", name="the chosen mark")).to_contain_text("Point chimney")
    page.keyboard.press("ArrowLeft")
    wait_for(page, bench, "spare", lambda marks: abs(marks.point("chimney").at_px[0] - x + 0.1) < 1e-6)
    tab_to("chimney")
    page.keyboard.press("ArrowUp")
    wait_for(page, bench, "spare", lambda marks: abs(marks.point("chimney").at_px[1] - y + 0.1) < 1e-6)
    page.keyboard.press("Delete")
    wait_for(page, bench, "spare", lambda marks: not has(marks, "chimney"))


def test_keys_that_follow_one_another_at_once_are_taken_in_their_order(bench, page):
    open_photo(page, bench, "front")
    file = bench.folder / "photos" / "front.jpg.marks.toml"
    text = file.read_text()
    page.get_by_role("button", name="ridge", exact=True).focus()
    page.keyboard.press("ArrowUp")
    page.keyboard.press("Delete")  # the move is not written yet
    wait_for(page, bench, "front", lambda marks: not has(marks, "ridge"))
    expect(page.locator(".photo-trouble")).to_have_count(0)
    expect(page.get_by_role("button", name="undo: remove ridge")).to_be_enabled()
    page.get_by_role("application").press("Control+z")
    page.get_by_role("application").press("Control+z")
    expect(page.get_by_role("button", name="undo: nothing")).to_be_disabled()
    assert file.read_text() == text
    page.get_by_role("button", name="nw.top", exact=True).focus()
    page.keyboard.press("ArrowUp")
    page.get_by_role("application").press("Control+z")  # takes back what was asked for a moment before
    expect(page.get_by_role("button", name="do again: move nw.top")).to_be_enabled()
    expect(page.locator(".photo-trouble")).to_have_count(0)
    assert file.read_text() == text


def test_two_tabs_and_another_program_see_each_others_marks(bench, context, page):
    open_photo(page, bench, "front")
    other = context.new_page()
    open_photo(other, bench, "front")
    x, _ = read_seen(bench.folder, "front").point("ridge").at_px
    page.get_by_role("button", name="ridge", exact=True).click()
    page.keyboard.press("ArrowRight")
    row = other.locator(".photo-marks tr").filter(has_text="ridge")
    expect(row).to_contain_text(f"{x + 0.1:.2f}")
    mark_photo(bench.folder, "front", MarkChanges(points=({"name": "ridge", "at_px": [500.0, 100.0]},)))
    for tab in (page, other):
        expect(tab.locator(".photo-marks tr").filter(has_text="ridge")).to_contain_text("500.00")
    # what this tab did before is no longer its own to take back
    page.get_by_role("button", name="undo: move ridge").click()
    expect(page.locator(".photo-trouble")).to_contain_text("changed on disk since that step")
    assert read_seen(bench.folder, "front").point("ridge").at_px == (500.0, 100.0)


def test_a_corrected_mark_clears_the_stop_and_its_sizes_reach_the_schedule(bench, page):
    open_photo(page, bench, "corner")
    expect(page.locator(".chain .link").first).to_contain_text("stop")
    x, y = read_seen(bench.folder, "corner").point(OFF).at_px
    mark_photo(bench.folder, "corner", MarkChanges(points=({"name": OFF, "at_px": [x - 14.0, y]},)))
    expect(page.locator(".chain .link").first).to_contain_text("4 photographs, 2 sizes")
    expect(page.locator(".photo-stage rect.suspect")).to_have_count(0)
    sizes = page.get_by_role("region", name="sizes from the photographs")
    expect(sizes).to_contain_text("the first method answers")
    network = page.get_by_role("region", name="observations and dimensions")
    expect(network).to_contain_text("2 observations from 1 source")


def test_dropped_pictures_are_taken_and_a_refused_one_says_why(bench, page):
    open_photo(page, bench, "front")
    good = picture_bytes("JPEG", pixels(400, 300, 9))
    for name, content in (
        ("back.jpg", good),
        ("torn.jpg", good[: len(good) // 2]),
        ("note.png", b"no picture"),
    ):
        data = page.evaluate_handle(
            """([name, bytes]) => { const data = new DataTransfer();
            data.items.add(new File([new Uint8Array(bytes)], name)); return data; }""",
            [name, list(content)],
        )
        page.locator(".drop").dispatch_event("drop", {"dataTransfer": data})
    expect(page.locator(".photos li")).to_have_count(5)
    expect(page.locator(".upload")).to_have_count(2)
    torn = page.get_by_role("region", name="torn.jpg")
    expect(torn).to_contain_text("torn.jpg")
    torn.get_by_role("button", name="put away torn.jpg").click()
    expect(page.locator(".upload")).to_have_count(1)
    page.get_by_role("button", name="back", exact=True).click()
    expect(page.locator(".photos li.chosen")).to_contain_text("400 x 300 px")


def test_a_finger_drags_a_mark_and_two_fingers_come_nearer(bench, page):
    open_photo(page, bench, "front")
    x, y = read_seen(bench.folder, "front").point("ridge").at_px
    start = stage_place(page, x, y)

    def touch(kind, number, place):
        page.locator(".photo-stage").evaluate(
            """(stage, [kind, number, x, y]) => { stage.setPointerCapture = () => {};
            stage.dispatchEvent(new PointerEvent(kind, {pointerId: number, pointerType: 'touch', button: 0,
            clientX: x, clientY: y, bubbles: true})) }""",
            [kind, number, *place],
        )

    touch("pointerdown", 1, (start[0] + 20, start[1]))  # a thumb need not meet it exactly
    touch("pointermove", 1, (start[0] + 50, start[1]))
    touch("pointerup", 1, (start[0] + 50, start[1]))
    wait_for(page, bench, "front", lambda marks: marks.point("ridge").at_px[0] > x + 20)
    scale = "view => view.own.eye.scale"
    before = page.locator(".photo-view").evaluate(scale)
    touch("pointerdown", 1, (300, 400))
    touch("pointerdown", 2, (400, 400))
    touch("pointermove", 2, (500, 400))
    touch("pointerup", 2, (500, 400))
    touch("pointerup", 1, (300, 400))
    assert page.locator(".photo-view").evaluate(scale) == pytest.approx(2 * before, rel=0.01)


def test_a_large_picture_is_magnified_from_squares_at_full_size(bench, tmp_path, page):
    """3600 x 2700 pixels: the copy that is looked at is reduced, the magnifier is not."""
    values = np.full((2700, 3600, 3), 90, dtype=np.uint8)
    values[1300, 2500] = 255  # one white pixel
    tmp_path.joinpath("wide.png").write_bytes(picture_bytes("PNG", values))
    add_photos(bench.folder, [tmp_path / "wide.png"])
    mark_photo(bench.folder, "wide", MarkChanges(points=({"name": "lamp", "at_px": [2500.0, 1300.0]},)))
    page.goto(f"{bench.url}/evidence")
    page.get_by_role("button", name="wide", exact=True).click()
    page.get_by_role("button", name="lamp", exact=True).click()
    look = """view => { const c = view.querySelector('.photo-loupe canvas'); const d = c.width / 208;
        const at = (x, y) => c.getContext('2d').getImageData(Math.round(x * d), Math.round(y * d), 1, 1).data[0];
        return [at(107, 107), at(112, 112)] }"""
    for _ in range(200):
        bright, beside = page.locator(".photo-view").evaluate(look)
        if bright > 180:
            break
        page.wait_for_timeout(100)
    assert bright > 180
    assert beside < 140


@pytest.mark.parametrize("photo", ["front", "corner"])
def test_it_is_accessible_and_whole_in_both_sizes_and_themes(served, page, photo):
    open_photo(page, served, photo)
    page.get_by_role("button", name="ridge", exact=True).click()
    page.get_by_label("vanishing lines").check()
    for size, viewport in SIZES.items():
        page.set_viewport_size(viewport)
        for theme in ("light", "dark"):
            page.emulate_media(color_scheme=theme)
            page.wait_for_timeout(200)
            keep_picture(page, f"evidence-{photo}-{size}-{theme}")
            # The contrast hangs on the theme alone and the rest on the size alone: two pairs hold both.
            if (size, theme) in (("wide", "light"), ("narrow", "dark")):
                assert accessibility_faults(page) == [], f"{size}, {theme}"
        assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth"), size
    assert (
        json.loads(page.locator(".photo-view").evaluate("view => JSON.stringify(view.own.eye.stage)"))[0]
        > 300
    )
