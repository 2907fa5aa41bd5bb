"""Journeys over the sheet of a scan in a real browser: drop it, answer what is asked, lay it, look at the map."""

import re
import shutil

import numpy as np
import pytest
from playwright.sync_api import expect

from conftest import accessibility_faults, fork_workbench, keep_picture
from dryfit.app.ledger_reading import read_records
from dryfit.app.loading import open_project
from dryfit.app.scan_page import lay_scan
from dryfit.app.scan_request import read_request
from support.scans import write_scanned

pytestmark = [pytest.mark.browser, pytest.mark.slow]

SIZES = {"wide": {"width": 1425, "height": 900}, "narrow": {"width": 820, "height": 1180}}
MOST_TABS = 120
NAME = "document.activeElement.getAttribute('aria-label') || document.activeElement.textContent"
expect.set_options(timeout=40_000)


@pytest.fixture(scope="module")
def bench(tmp_path_factory):
    """A bracket with a scan that was laid before; the same points wait beside the project under another name."""
    folder = write_scanned(tmp_path_factory.mktemp("scanned"))
    shutil.copy(folder / "scan.xyz", folder.parent / "top too high.xyz")
    (folder / "scan.xyz").rename(folder.parent / "earlier.xyz")
    lay_scan(open_project(folder), read_request("bracket", folder.parent / "earlier.xyz", "mm", 0.02))
    started = fork_workbench(folder)
    try:
        started.wait_until_it_answers()
        started.wait_until_it_has_read_the_project()
        yield started
    finally:
        started.end()


def open_scan(page, bench):
    page.goto(f"{bench.url}/scan?show=bracket")
    expect(page.locator(".drop")).to_contain_text("Drop a scan of bracket here")
    expect(page.locator(".model-says p").first).to_contain_text("triangles shown")


def waiting(bench):
    return bench.folder.parent / "top too high.xyz"


def lay(page):
    page.get_by_role("button", name="lay the scan on bracket").click()


def test_a_scan_is_dropped_asked_about_laid_and_shown_in_every_tab(bench, context, page):
    other = context.new_page()
    open_scan(page, bench)
    open_scan(other, bench)
    expect(page.locator(".model-ink")).to_be_attached()
    page.get_by_label("choose a scan of bracket").set_input_files(waiting(bench))
    lay(page)
    expect(page.locator(".refusal")).to_contain_text("states no length unit")
    expect(other.locator(".refusal")).to_contain_text("states no length unit")
    assert not (bench.folder / "scans" / "top-too-high.xyz").exists()
    page.get_by_label("unit of its numbers").select_option("mm")
    page.get_by_label("std of the scanner, mm").fill("thin")
    lay(page)
    expect(page.locator(".trouble .refusal")).to_contain_text('"thin" is no number')
    page.get_by_label("std of the scanner, mm").fill("0.02")
    lay(page)
    for tab in (page, other):
        said = tab.get_by_role("region", name="what the scan says")
        expect(said).to_contain_text("The scan file is kept as scans/top-too-high.xyz")
        expect(said).to_contain_text("height")
        expect(tab.locator(".model-view select").first).to_have_value("wall")
        expect(tab.locator(".model-view")).to_contain_text("deviation of the scan")
    assert (bench.folder / "scans" / "top-too-high.xyz").read_bytes() == waiting(bench).read_bytes()
    record = read_records(bench.folder, "scan")[-1]
    assert (record.payload["file"], record.payload["scanner_std_mm"]) == ("scans/top-too-high.xyz", 0.02)
    expect(page.get_by_role("region", name="recorded scans")).to_contain_text("scans/top-too-high.xyz")
    # The colours that were drawn are those of the map: burnt orange or its like over the top.
    walls = page.evaluate(
        """async () => { const drawing = document.querySelector('.model-view').drawing;
        for (let i = 0; i < 400; i += 1) {
          const part = drawing.parts.get('bracket');
          if (part.walls) return part.walls.geometry.attributes.position.count;
          await new Promise((resolve) => setTimeout(resolve, 50));
        } return 0; }"""
    )
    assert walls > 1000
    other.close()


def test_a_kept_scan_is_taken_again_by_datums_and_put_away(bench, page):
    open_scan(page, bench)
    page.get_by_role("button", name="take the scan scans/earlier.xyz again").click()
    expect(page.get_by_label("std of the scanner, mm")).to_have_value("0.02")
    expect(page.get_by_label("unit of its numbers")).to_have_value("mm")
    page.get_by_label("lay it on these features, in this order").fill("back, nowhere")
    lay(page)
    expect(page.locator(".refusal")).to_contain_text("nowhere")
    page.get_by_label("lay it on these features, in this order").fill("back,height")
    lay(page)
    said = page.get_by_role("region", name="what the scan says")
    expect(said).to_contain_text("by its datums")
    assert read_records(bench.folder, "scan")[-1].payload["datums"] == ["back", "height"]
    page.get_by_role("button", name=re.compile("^put the scan away")).click()
    expect(said).to_have_count(0)
    expect(page.get_by_role("button", name="lay the scan on bracket")).to_have_count(0)
    assert (bench.folder / "scans" / "earlier.xyz").exists()


def test_what_is_no_scan_is_refused_where_it_was_dropped(bench, page, tmp_path):
    open_scan(page, bench)
    words = tmp_path / "words.xyz"
    words.write_text("no numbers here\n", encoding="utf-8")
    page.get_by_label("choose a scan of bracket").set_input_files(words)
    page.get_by_label("unit of its numbers").select_option("mm")
    lay(page)
    expect(page.locator(".refusal")).to_contain_text("words.xyz")
    assert str(tmp_path) not in page.locator(".refusal").inner_text()
    few = tmp_path / "few.xyz"
    np.savetxt(few, np.eye(3))
    page.get_by_label("choose a scan of bracket").set_input_files(few)
    expect(page.locator("h3").filter(has_text="few.xyz")).to_be_visible()
    lay(page)
    expect(page.locator(".refusal")).to_contain_text("few.xyz")
    page.get_by_role("button", name=re.compile("^put the scan away")).click()
    expect(page.locator(".refusal")).to_have_count(0)


def test_a_part_that_is_not_there_is_said_and_another_is_chosen(bench, page):
    page.goto(f"{bench.url}/scan?show=gone")
    expect(page.locator(".refusal")).to_contain_text("there is no part gone")
    page.get_by_label("part").select_option("bracket")
    expect(page.locator(".drop")).to_contain_text("Drop a scan of bracket here")


def test_the_keyboard_reaches_it_from_the_board(bench, page):
    page.goto(f"{bench.url}/as-built?show=bracket")
    link = page.get_by_role("link", name="a scan of it")
    expect(link).to_be_visible()
    link.focus()
    page.keyboard.press("Enter")
    expect(page.locator(".drop")).to_contain_text("Drop a scan of bracket here")
    reached = set()
    for _ in range(MOST_TABS):
        page.keyboard.press("Tab")
        reached.add(
            page.evaluate(
                "document.activeElement.getAttribute('aria-label') || document.activeElement.textContent"
            )
        )
    assert {"choose a scan of bracket", "part", "take the scan scans/earlier.xyz again"} <= reached


@pytest.mark.parametrize(("size", "theme"), [("wide", "light"), ("narrow", "dark")])
def test_it_can_be_read_by_all(bench, page, size, theme):
    page.set_viewport_size(SIZES[size])
    page.emulate_media(color_scheme=theme)
    open_scan(page, bench)
    page.get_by_role("button", name="take the scan scans/earlier.xyz again").click()
    expect(page.get_by_role("button", name="lay the scan on bracket")).to_be_visible()
    assert accessibility_faults(page) == []
    assert page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth") <= 0
    keep_picture(page, f"scan-{size}-{theme}")
