"""The three-dimensional view in a real browser, on the demonstration project.

Run as a program, this file serves a page that holds nothing but the view:
python test_model_view.py FOLDER PORT
"""

import os
import socket
import struct
import subprocess
import sys
import time
import urllib.error
import urllib.request
from pathlib import Path

import numpy as np
import pytest

from conftest import ARTEFACTS, CHROMIUM

IS_REQUIRED = os.environ.get("DRYFIT_BROWSER") == "required"
WHAT_IF = "tall.skew_xy_deg=0.9"

pytestmark = [
    pytest.mark.browser,
    pytest.mark.skipif(CHROMIUM is None and not IS_REQUIRED, reason="no chromium is installed"),
]


def serve_view(folder, port):
    """One page with the view, a button that shows a what-if, and what was picked last."""
    import uvicorn
    from fastapi import FastAPI
    from nicegui import ui

    from dryfit.app.live import LiveProject, try_what_if
    from dryfit.app.view_meshes import view_motion
    from dryfit.web.meshes import ViewMeshes
    from dryfit.web.model_view import ModelView

    live = LiveProject(folder)
    live.load(record=False)
    app = FastAPI()
    ViewMeshes(live).register(app)
    style = (Path(__file__).parents[3] / "src/dryfit/web/static/sheet.css").read_text()

    @ui.page("/")
    def index():
        ui.add_head_html(f"<style>{style}</style>")
        view = ModelView(live).classes("w-full").style("height: 640px")
        view.show()
        picked = ui.label("").props("id=picked")

        def tell(what):
            point = () if what.placed_mm is None else (*what.model_mm, *what.placed_mm)
            picked.set_text(f"{what.part}|{what.joint}|{' '.join(repr(x) for x in point)}")

        view.on_pick(tell)
        ui.button(
            "what if", on_click=lambda: view.follow(view_motion(*try_what_if(live.snapshot, [WHAT_IF])))
        )
        ui.button("bring out", on_click=lambda: view.highlight(["ring-2"], []))

    ui.run_with(app, dark=None)
    uvicorn.run(app, host="127.0.0.1", port=port, log_level="warning")


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    from dryfit.app.demo import write_demo

    path = tmp_path_factory.mktemp("view") / "observatory"
    write_demo(path, "observatory")
    return path


@pytest.fixture(scope="module")
def address(folder):
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    server = subprocess.Popen([sys.executable, __file__, str(folder), str(port)])
    try:
        yield _answering(f"http://127.0.0.1:{port}/", server)
    finally:
        server.terminate()
        server.wait(20)


def _answering(address, server):
    for _ in range(240):
        assert server.poll() is None, "the server ended"
        try:
            urllib.request.urlopen(address, timeout=5).close()
            return address
        except (urllib.error.URLError, TimeoutError):
            time.sleep(0.25)
    raise AssertionError("the server did not answer within a minute")


@pytest.fixture
def page(chromium, address):
    """The page with every part shown. No request may leave the machine and no script may fail."""
    context = chromium.new_context(viewport={"width": 1440, "height": 900}, color_scheme="light")
    page = context.new_page()
    asked, faults = [], []
    page.on("request", lambda request: asked.append(request.url))
    page.on("pageerror", lambda error: faults.append(str(error)))
    page.goto(address)
    wait_until_shown(page)
    yield page
    context.close()
    inside = (address, address.replace("http", "ws"), "data:", "blob:")
    assert [url for url in asked if not url.startswith(inside)] == []
    assert faults == []


def wait_until_shown(page):
    page.wait_for_function(
        """() => { const words = document.querySelector(".model-says")?.innerText ?? "";
             return words.includes("triangles") && !words.includes("so far"); }""",
        timeout=60_000,
    )
    settle(page)


def settle(page):
    page.evaluate("() => new Promise((done) => requestAnimationFrame(() => requestAnimationFrame(done)))")


def drawing(page, expression):
    return page.evaluate(
        f"() => {{ const d = document.querySelector('.model-view').drawing; return {expression}; }}"
    )


def drawn_matrix(page, part):
    return np.array(drawing(page, f"d.parts.get('{part}').drawn.elements")).reshape(4, 4).T


def control(page, words, kind):
    return page.locator(".model-controls label", has_text=words).locator(kind)


def colours(page):
    """Colours of the drawing without what is written over it: (n, 4), and how much of it is not empty."""
    data = drawing(
        page,
        """(() => { d.draw(); const c = document.createElement('canvas'); c.width = 300; c.height = 150;
            const pen = c.getContext('2d'); pen.drawImage(d.canvas, 0, 0, 300, 150);
            return Array.from(pen.getImageData(0, 0, 300, 150).data); })()""",
    )
    return np.array(data, dtype=np.float64).reshape(-1, 4)


def test_the_model_is_drawn(page):
    seen = colours(page)
    solid = seen[seen[:, 3] > 250]
    assert 0.08 < len(solid) / len(seen) < 0.9
    assert solid[:, :3].std(axis=0).min() > 10.0
    # Pale on paper: most of what is drawn is light.
    assert np.median(solid[:, :3].mean(axis=1)) > 190.0
    assert "all 3,704 triangles shown" in page.inner_text(".model-says")


def test_the_slider_exaggerates_the_departures(page):
    true = drawn_matrix(page, "ring-2")
    slider = control(page, "departures drawn", "input")
    slider.focus()
    page.keyboard.press("End")
    assert control(page, "departures drawn", "output").inner_text() == "200x"
    expected = np.eye(4) + 200.0 * (true - np.eye(4))
    assert np.abs(drawn_matrix(page, "ring-2") - expected).max() < 1e-9
    assert np.abs(expected - np.eye(4)).max() > 50.0
    assert drawing(page, "d.footWords()")[0] == "as placed, departures drawn 200x"
    page.keyboard.press("Home")
    assert np.array_equal(drawn_matrix(page, "ring-2"), true)


def test_as_assembled_nothing_departs_and_as_placed_it_does_again(page):
    placed = drawn_matrix(page, "ring-2")
    stand = control(page, "as assembled", "select")
    stand.select_option("assembled")
    settle(page)
    for part in ("ring-2", "crown", "rib-7"):
        assert np.array_equal(drawn_matrix(page, part), np.eye(4))
    assert drawing(page, "d.footWords()") == ["as assembled, without departures"]
    assert control(page, "departures drawn", "input").count() == 0
    stand.select_option("placed")
    settle(page)
    assert np.array_equal(drawn_matrix(page, "ring-2"), placed)
    assert np.abs(placed - np.eye(4)).max() > 0.1


def test_colours_by_machine_and_by_state_have_a_key(page):
    select = control(page, "colour by", "select")
    for mode in ("machine", "state"):
        select.select_option(mode)
        settle(page)
        washes = drawing(
            page,
            "Object.fromEntries([...d.parts].map(([id, p]) => "
            f"[[p.row.{mode}, p.mesh.material.uniforms.wash.value.toArray().join()].join(' '), id]))",
        )
        # One wash for each machine or state, and no two alike.
        assert len(washes) == len({key.split(" ")[-1] for key in washes}) >= 2


def test_words_on_the_drawing_do_not_cover_one_another(page):
    for key in "1234":
        page.locator(".model-stage").focus()
        page.keyboard.press(key)
        settle(page)
        boxes = np.array(
            drawing(
                page,
                "d.overlay.targets.flatMap(({label: b}) => b ? [[b.x, b.y, b.x + b.width, b.y + b.height]] : [])",
            )
        ).reshape(-1, 4)
        left = drawing(page, "d.overlay.unwritten")
        assert len(boxes) + left == 3
        wide, tall = drawing(page, "[d.overlay.width, d.overlay.height]")
        assert (boxes[:, :2] >= 0).all()
        assert (boxes[:, 2:] <= [wide, tall - 30]).all()
        for k, one in enumerate(boxes):
            for other in boxes[k + 1 :]:
                assert one[2] <= other[0] or other[2] <= one[0] or one[3] <= other[1] or other[3] <= one[1]


def exact_parts(folder):
    """Triangles (n, 3, 3) of every part as modelled, and its matrix: from the exact meshes."""
    from dryfit.app.live import LiveProject
    from dryfit.app.view_meshes import view_placing

    snapshot = LiveProject(folder).load(record=False)
    matrices = view_placing(snapshot.chain, snapshot.report).matrices
    return {
        name: (shape.mesh.vertices[shape.mesh.faces], matrices[name])
        for name, shape in snapshot.chain.shapes.items()
    }


def ray_through(page, x, y):
    """Start and direction of the line of sight through a pixel of the stage, from the camera's own figures."""
    at = drawing(
        page,
        """({ from: d.eye.camera.position.toArray(), to: d.eye.controls.target.toArray(),
              tall: d.overlay.height, wide: d.overlay.width, parallel: d.eye.isParallel,
              half: d.eye.halfHeight(), zoom: d.eye.camera.zoom })""",
    )
    eye, forward = np.array(at["from"]), np.array(at["to"]) - np.array(at["from"])
    forward /= np.linalg.norm(forward)
    right = np.cross(forward, [0.0, 0.0, 1.0])
    right /= np.linalg.norm(right)
    up = np.cross(right, forward)
    u, v = (2 * x - at["wide"]) / at["tall"], 1 - 2 * y / at["tall"]
    if at["parallel"]:
        scale = at["half"] / at["zoom"]
        return eye + scale * (u * right + v * up), forward
    slope = np.tan(np.radians(14.0))
    sight = forward + slope * (u * right + v * up)
    return eye, sight / np.linalg.norm(sight)


def first_hit(folder_parts, start, sight):
    """Part and placed point that a ray meets first, over all exact triangles.

    Source: Moller and Trumbore, Journal of Graphics Tools 2 (1997) 21 (memory).
    """
    best = (np.inf, None)
    for name, (triangles, matrix) in folder_parts.items():
        placed = triangles @ matrix[:3, :3].T + matrix[:3, 3]
        a, one, two = placed[:, 0], placed[:, 1] - placed[:, 0], placed[:, 2] - placed[:, 0]
        across = np.cross(sight, two)
        volume = np.einsum("ij,ij->i", one, across)
        with np.errstate(divide="ignore", invalid="ignore"):
            u = np.einsum("ij,ij->i", start - a, across) / volume
            turned = np.cross(start - a, one)
            v = turned @ sight / volume
            far = np.einsum("ij,ij->i", two, turned) / volume
        far = np.where((u >= 0) & (v >= 0) & (u + v <= 1) & (far > 0), far, np.inf)
        if far.min() < best[0]:
            best = (float(far.min()), name)
    return best[1], start + best[0] * sight


@pytest.mark.parametrize("is_parallel", [False, True], ids=["perspective", "parallel"])
def test_double_click_picks_what_lies_under_the_pointer(page, folder, is_parallel):
    control(page, "joints", "input").uncheck()
    if is_parallel:
        control(page, "parallel", "input").check()
    settle(page)
    parts, met = exact_parts(folder), set()
    box = page.locator(".model-stage").bounding_box()
    for x, y in ((0.37, 0.60), (0.5, 0.28), (0.62, 0.70), (0.44, 0.72), (0.36, 0.55)):
        column, row = round(x * box["width"]), round(y * box["height"])
        part, point = first_hit(parts, *ray_through(page, column, row))
        if part is None:
            continue
        before = page.inner_text("#picked")
        page.mouse.dblclick(box["x"] + 1 + column, box["y"] + 1 + row)
        page.wait_for_function("(was) => document.querySelector('#picked').textContent !== was", arg=before)
        assert page.inner_text("#picked").startswith(f"{part}|None|")
        numbers = [float(word) for word in page.inner_text("#picked").split("|")[2].split()]
        assert np.abs(np.array(numbers[3:]) - point).max() < 1.0
        model = np.linalg.solve(parts[part][1], np.append(point, 1.0))[:3]
        assert np.abs(np.array(numbers[:3]) - model).max() < 1.0
        assert part in page.inner_text(".model-says")
        met.add(part)
    assert len(met) >= 3


def test_double_click_on_a_gap_picks_its_joint(page):
    label = drawing(page, "d.overlay.targets.find((t) => t.label)")
    box = page.locator(".model-stage").bounding_box()
    page.mouse.dblclick(box["x"] + label["label"]["x"] + 8, box["y"] + label["label"]["y"] + 8)
    page.wait_for_function(
        "(joint) => document.querySelector('#picked').textContent === `None|${joint}|`", arg=label["joint"]
    )
    assert f"joint {label['joint']}" in page.inner_text(".model-says")


def test_gaps_carry_the_value_of_the_forecast(page, folder):
    from dryfit.app.live import LiveProject
    from dryfit.view.digits import write_estimate

    report = LiveProject(folder).load(record=False).report
    written = {
        f"{write_estimate(item.predicted, item.std)} mm"
        for item in report.characteristics
        if item.kind == "gap"
    }
    words = drawing(page, "d.marks.filter((m) => m.gap).map((m) => m.gap.words)")
    assert len(words) == 3
    assert set(words) <= written


def test_a_what_if_moves_the_parts_without_loading_them_again(page):
    before = drawn_matrix(page, "ring-4")
    asked = []
    page.on("request", lambda request: asked.append(request.url))
    page.get_by_text("what if").click()
    page.wait_for_function(
        "(was) => document.querySelector('.model-view').drawing.parts.get('ring-4').drawn.elements[12] !== was",
        arg=float(before[0, 3]),
    )
    assert not any("/bench/mesh/" in url for url in asked)
    assert np.abs(drawn_matrix(page, "ring-4") - before).max() > 1e-3


def test_deviation_is_coloured_over_a_round_scale(page, folder):
    largest = max(
        float(np.linalg.norm(triangles @ matrix[:3, :3].T + matrix[:3, 3] - triangles, axis=-1).max())
        for triangles, matrix in exact_parts(folder).values()
    )
    plain = colours(page)
    control(page, "colour by", "select").select_option("deviation")
    settle(page)
    reach, step = drawing(page, "[d.shared.reach.value, d.shared.step.value]")
    assert reach - step < largest <= reach * (1 + 1e-6)
    assert round(step / 10 ** np.floor(np.log10(step) + 1e-9), 6) in (1.0, 2.0, 5.0)
    toned = colours(page)
    solid = toned[toned[:, 3] > 250]
    assert np.abs(toned - plain).max() > 40.0
    # From paper to burnt orange: red never below green, green never below blue, by more than ink's own cast.
    assert (solid[:, 0] - solid[:, 2]).min() > -12.0
    assert (solid[:, 0] - solid[:, 2]).max() > 60.0


def test_the_section_cuts_what_lies_beyond(page, folder):
    control(page, "joints", "input").uncheck()
    control(page, "section", "select").select_option("z")
    page.locator(".model-stage").focus()
    page.keyboard.press("3")
    settle(page)
    height = drawing(page, "d.shared.cut.value.w")
    box = page.locator(".model-stage").bounding_box()
    seen = drawing(
        page,
        f"""[...Array(400).keys()].map((k) => d.partAt(
            {box["width"]} * ((k % 20) + 0.5) / 20,
            {box["height"]} * (Math.floor(k / 20) + 0.5) / 20)?.point.z ?? null)""",
    )
    heights = [z for z in seen if z is not None]
    assert len(heights) >= 15
    assert max(heights) <= height + 1e-6
    assert drawing(page, "d.footWords()").count("cut across Z") == 1
    control(page, "show the other side", "input").check()
    page.locator(".model-stage").focus()
    page.keyboard.press("3")
    settle(page)
    # From above, the upper part hides nothing any more: what is met lies on or over the same plane.
    assert drawing(page, "d.shared.cut.value.toArray()") == pytest.approx([0, 0, -1, -height])
    hit = drawing(page, f"d.partAt({box['width'] / 2 + 60}, {box['height'] / 2})?.point.z ?? null")
    assert hit is None or hit >= height - 1e-6


def test_what_is_fitted_keeps_clear_of_the_words(page):
    """Every vertex lies on the sheet, above its foot, and they fill most of it."""
    for key in "1234":
        page.locator(".model-stage").focus()
        page.keyboard.press(key)
        settle(page)
        seen = np.array(
            drawing(
                page,
                "[...d.parts.values()].flatMap((p) => { const at = p.copy.positions, out = [];"
                " for (let i = 0; i < at.length; i += 3) { const q = d.overlay.place(d.eye.sphere.center.clone()"
                ".set(at[i], at[i + 1], at[i + 2]).applyMatrix4(p.drawn)); out.push([q.x, q.y]); } return out; })",
            )
        )
        wide, tall = drawing(page, "[d.overlay.width, d.overlay.height]")
        low, high = seen.min(axis=0), seen.max(axis=0)
        assert (low >= 0).all()
        assert (high <= [wide, tall - 30]).all()
        assert max((high - low) / [wide, tall - 34]) > 0.75


def test_apart_moves_each_part_away_from_the_middle(page):
    before = drawing(page, "d.eye.sphere.radius")
    slider = control(page, "apart", "input")
    slider.focus()
    page.keyboard.press("End")
    settle(page)
    assert drawing(page, "d.eye.sphere.radius") > 1.8 * before
    assert "parts drawn apart" in drawing(page, "d.footWords()")


def test_the_picture_is_a_png_of_the_whole_drawing(page, tmp_path):
    with page.expect_download() as waiting:
        page.get_by_role("button", name="picture (PNG)").click()
    path = tmp_path / "model.png"
    waiting.value.save_as(path)
    content = path.read_bytes()
    assert content[:8] == b"\x89PNG\r\n\x1a\n"
    size = struct.unpack(">II", content[16:24])
    assert list(size) == drawing(page, "[d.overlay.canvas.width, d.overlay.canvas.height]")
    assert len(content) > 20_000


def test_the_keyboard_alone_turns_nears_and_selects(page):
    stage = page.get_by_role("application")
    assert "Arrow keys" in stage.get_attribute("aria-label")
    stage.focus()
    start = np.array(drawing(page, "d.eye.camera.position.toArray()"))
    page.keyboard.press("ArrowLeft")
    turned = np.array(drawing(page, "d.eye.camera.position.toArray()"))
    assert np.linalg.norm(turned - start) > 10.0
    far = drawing(page, "d.eye.distance")
    page.keyboard.press("+")
    assert drawing(page, "d.eye.distance") == pytest.approx(far / 1.2)
    for key, axis in (("1", [0, -1, 0]), ("2", [1, 0, 0]), ("3", [0, 0, 1])):
        page.keyboard.press(key)
        toward = np.array(
            drawing(page, "d.eye.camera.position.clone().sub(d.eye.controls.target).normalize().toArray()")
        )
        assert toward == pytest.approx(axis, abs=1e-3)
    page.keyboard.press("-")
    page.keyboard.press("Home")
    assert drawing(page, "d.eye.distance") == pytest.approx(
        drawing(
            page, "d.eye.frame(d.eye.camera.position.clone().sub(d.eye.controls.target).normalize()).distance"
        )
    )
    page.keyboard.press("1")
    page.keyboard.press("Enter")
    page.wait_for_function("() => document.querySelector('#picked').textContent !== ''")
    assert "in the model" in page.inner_text(".model-says") or "nothing there" in page.inner_text(
        ".model-says"
    )


def test_every_control_has_a_name(page):
    for role in ("button", "combobox", "slider", "checkbox"):
        for element in page.locator(".model-controls").get_by_role(role).all():
            name = element.evaluate("(e) => e.innerText || e.labels?.[0]?.innerText || ''")
            assert name.strip()


def test_parts_that_are_brought_out_leave_the_others_pale(page):
    page.get_by_text("bring out").click()
    page.wait_for_function("() => document.querySelector('.model-view').drawing.lit.parts.length === 1")
    fades = drawing(
        page, "['ring-2', 'ring-3'].map((id) => d.parts.get(id).mesh.material.uniforms.fade.value)"
    )
    assert fades == [0, 0.72]


def test_paper_and_ink_follow_the_theme(page):
    light = drawing(page, "d.theme.paper.toArray().concat(d.theme.ink.toArray())")
    page.emulate_media(color_scheme="dark")
    settle(page)
    dark = drawing(page, "d.theme.paper.toArray().concat(d.theme.ink.toArray())")
    assert np.mean(light[:3]) > 0.9 > 0.3 > np.mean(dark[:3])
    assert np.mean(dark[3:]) > 0.8 > 0.2 > np.mean(light[3:])
    assert np.median(colours(page)[:, :3].max(axis=1)) < 140.0


def test_a_wrong_address_is_refused_in_plain_words(address):
    for path, status, words in (
        ("nothing.bin?v=1", 404, "no part nothing"),
        ("ring-1.bin?v=1", 409, "load it again"),
    ):
        with pytest.raises(urllib.error.HTTPError) as refused:
            urllib.request.urlopen(f"{address}bench/mesh/{path}", timeout=10)
        with refused.value as answer:
            assert answer.code == status
            assert words in answer.read().decode()


@pytest.mark.parametrize("width", [1440, 820])
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_pictures_of_the_page_are_kept(chromium, address, width, scheme):
    ARTEFACTS.mkdir(exist_ok=True)
    context = chromium.new_context(viewport={"width": width, "height": 900}, color_scheme=scheme)
    page = context.new_page()
    page.goto(address)
    wait_until_shown(page)
    assert page.evaluate("() => document.documentElement.scrollWidth <= window.innerWidth")
    control(page, "colour by", "select").select_option("deviation")
    settle(page)
    page.screenshot(path=ARTEFACTS / f"model-view-{width}-{scheme}.png")
    context.close()


if __name__ == "__main__":
    serve_view(Path(sys.argv[1]), int(sys.argv[2]))
