"""Journeys over changes in a real browser: release, compare, two views that move together, and the price."""

import re
import subprocess
from collections import Counter

import pytest
from playwright.sync_api import expect

from conftest import COMMAND, accessibility_faults, fork_workbench, keep_picture
from dryfit.app.releases import read_releases
from dryfit.app.releasing import ReleaseOrder, release_parts
from support.at_the_bench import write_printed
from support.projects import PORTAL, glb_bytes

pytestmark = pytest.mark.browser

expect.set_options(timeout=40_000)
HIGHER = {**PORTAL, "lintel": ((200.0, 60.0, 20.4), (0.0, 0.0, 120.0))}
STANCES = """() => [...document.querySelectorAll('.model-view')].map(view =>
  ({ ...view.drawing.eye.stance, colouring: view.drawing.look.colouring, cut: [...view.drawing.shared.cut.value] }))"""


@pytest.fixture(scope="module")
def bench(tmp_path_factory):
    """A portal that was released as A; then its printed lintel was made 0.4 mm thicker."""
    folder = write_printed(tmp_path_factory.mktemp("changes") / "portal", "lintel", "post-1")
    release_parts(folder, ReleaseOrder(because="first", despite="a trial"))
    (folder / "meshes" / "portal.glb").write_bytes(glb_bytes(HIGHER))
    started = fork_workbench(folder)
    started.wait_until_it_answers()
    yield started
    started.end()


@pytest.fixture(scope="module")
def untouched(tmp_path_factory):
    """A portal that nobody released yet."""
    folder = write_printed(tmp_path_factory.mktemp("untouched") / "portal", "lintel")
    started = fork_workbench(folder)
    started.wait_until_it_answers()
    yield started
    started.end()


def open_changes(page, bench):
    page.goto(bench.url + "/changes")
    for place in (0, 1):
        expect(page.locator(".model-says").nth(place)).to_contain_text("triangles shown")


def test_two_revisions_stand_side_by_side_with_the_price(bench, page):
    open_changes(page, bench)
    expect(page.get_by_role("region", name="before: release A")).to_be_visible()
    expect(page.get_by_role("region", name="after: the working state")).to_be_visible()
    price = page.get_by_role("region", name="printed parts and price")
    expect(price.locator("tbody tr").first).to_contain_text("lintel")
    parts = page.get_by_role("region", name="parts by what became of them")
    expect(parts.locator("tbody tr")).to_contain_text("up to 0.4 mm added")
    expect(parts).to_contain_text("3 of 4 parts are unchanged")
    pairs = page.get_by_role("region", name="forecast").locator(".before-after > li")
    expect(pairs.first.locator("svg.limits")).to_have_count(2)
    expect(page.get_by_role("region", name="joints")).to_contain_text("No joint is affected")
    for view in page.evaluate(STANCES):
        assert view["colouring"] == "wall"
    reach = page.evaluate("document.querySelector('.model-view').drawing.shared.reach.value")
    assert 0.4 <= reach < 0.6


def test_the_views_are_turned_cut_and_coloured_together(bench, page):
    open_changes(page, bench)
    first = page.locator(".model-view").first
    first.locator(".model-stage").focus()
    for key in ("ArrowLeft", "ArrowUp", "+"):
        page.keyboard.press(key)
    one, other = page.evaluate(STANCES)
    assert one["position"] == pytest.approx(other["position"])
    assert one["target"] == pytest.approx(other["target"])
    second = page.locator(".model-view").nth(1)
    second.get_by_label("section").select_option("z")
    second.get_by_label("colour by").select_option("built")
    one, other = page.evaluate(STANCES)
    assert one["cut"] == pytest.approx(other["cut"])
    assert one["colouring"] == other["colouring"] == "built"
    expect(first.get_by_label("colour by")).to_have_value("built")
    page.get_by_role("button", name="lintel", exact=True).click()
    page.wait_for_function(
        "[...document.querySelectorAll('.model-view')].every(v => v.drawing.lit.parts[0] === 'lintel')"
    )


def test_the_same_words_as_the_command_line(bench, page):
    open_changes(page, bench)
    done = subprocess.run(
        [COMMAND[0], "changes"], cwd=bench.folder, capture_output=True, encoding="utf-8", timeout=120
    )
    said = Counter(done.stdout.split())
    shown = page.locator(".result > .heading").all_inner_texts()
    for name in ("printed parts and price", "document", "joints", "assumed"):
        region = page.get_by_role("region", name=name, exact=True)
        shown += (
            region.locator("td:not(.state-cell)").all_inner_texts()
            + region.locator(".sentence").all_inner_texts()
        )
    assert len(shown) > 6
    for words in shown:
        assert not Counter(re.sub(r"^(stop|caution|pass|not checked)\s", "", words).split()) - said, words


def test_a_release_is_refused_with_the_stops_made_despite_them_and_compared(untouched, page):
    page.goto(untouched.url + "/changes")
    expect(page.get_by_text("Nothing was released yet")).to_be_visible()
    form = page.get_by_role("region", name="release parts")
    form.get_by_label("why", exact=True).fill("first ring")
    form.get_by_role("button", name="release these parts").click()
    expect(form.locator(".refusal")).to_contain_text("the hold point before printing has")
    form.get_by_label("why although the hold point has a stop").fill("a trial")
    form.get_by_role("button", name="release these parts").click()
    expect(form).to_contain_text("released as A")
    (release,) = read_releases(untouched.folder)
    assert (release.because, release.despite) == ("first ring", "a trial")
    expect(page.locator(".result > .heading")).to_contain_text("nothing differs")
    expect(page.get_by_role("region", name="releases")).to_contain_text("first ring")
    page.get_by_role("button", name="are the frozen copies what was released?").click()
    expect(page.get_by_role("region", name="releases")).to_contain_text(
        "Every frozen copy is what was released"
    )


@pytest.mark.parametrize("address", ["/", "/parts", "/as-built"])
def test_it_is_reached_from_what_it_touches(bench, page, address):
    page.goto(bench.url + address)
    page.get_by_role("link", name="changes and releases").first.click()
    expect(page.get_by_role("region", name="releases")).to_be_visible()


@pytest.mark.parametrize(("width", "theme"), [(1425, "light"), (820, "dark")])
def test_it_can_be_read_by_all(bench, page, width, theme):
    page.set_viewport_size({"width": width, "height": 1000})
    page.emulate_media(color_scheme=theme)
    open_changes(page, bench)
    assert accessibility_faults(page) == []
    assert page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth") <= 0
    keep_picture(page, f"changes-{width}-{theme}")
