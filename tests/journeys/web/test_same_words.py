"""Both faces say the same: the words and digits of a report on a sheet and at the command line."""

import re
import subprocess
from collections import Counter

import pytest
from playwright.sync_api import expect

from conftest import COMMAND

pytestmark = pytest.mark.browser

# The command line marks a state by its shape and a listed sentence by a stroke; a sheet draws both.
_MARKS = frozenset("●▲■○△◦-")


def say(bench, *words):
    """What the command line prints, as words in their number."""
    done = subprocess.run(
        [COMMAND[0], *words],
        cwd=bench.folder,
        capture_output=True,
        encoding="utf-8",
        timeout=120,
    )
    assert done.returncode in (0, 1), done.stderr
    return Counter(word for word in done.stdout.split() if word not in _MARKS)


def ask(page, words):
    """What the command box of a sheet shows to the same words: headings, sentences and cells."""
    page.get_by_label("command: a verb of the command line").fill(words)
    page.get_by_role("button", name="run the command").click()
    expect(page.locator(".slip-head > span")).to_have_text(words, timeout=60_000)
    shown = page.evaluate(
        """() => { const copy = document.querySelector('.answer .slip').cloneNode(true);
        for (const e of copy.querySelectorAll('.slip-head, .state')) e.remove();
        for (const e of copy.querySelectorAll('th.of-states')) e.remove();
        for (const e of copy.querySelectorAll('td, th, p, h2, h3')) e.append(' ');
        return copy.textContent; }"""
    )
    return Counter(word for word in shown.split() if word not in _MARKS)


@pytest.fixture
def sheet(shared_workbench, page):
    page.goto(shared_workbench.url + "/settings")
    expect(page.locator(".faults .heading")).to_be_visible(timeout=30_000)
    return page


@pytest.mark.parametrize(
    "words",
    [
        "forecast",
        "forecast --brief",
        "forecast --what-if tall.skew_xz_deg=0",
        "forecast --why wall-plumb-1",
        "ready",
        "joints --look",
        "since --list",
    ],
)
def test_the_command_box_says_what_the_command_line_says(shared_workbench, sheet, words):
    shown = ask(sheet, words)
    said = say(shared_workbench, *words.split())
    assert sum(said.values()) > 5
    assert shown - said == Counter()
    assert said - shown == Counter()


def test_the_rows_of_the_fit_sheet_are_those_of_the_forecast(shared_workbench, page):
    done = subprocess.run(
        [COMMAND[0], "forecast"],
        cwd=shared_workbench.folder,
        capture_output=True,
        encoding="utf-8",
    )
    lines = {re.sub(r"\s+", " ", line).strip() for line in done.stdout.splitlines()}
    page.goto(shared_workbench.url + "/fit")
    expect(page.locator("table.rows .state-cell").first).to_be_visible(timeout=30_000)
    rows = page.evaluate(
        """() => [...document.querySelectorAll('table.rows > tbody > tr:not(.why)')].map(row => [
        row.querySelector('.state-cell').textContent.trim(), row.querySelector('.id').textContent.trim(),
        row.querySelector('.point').textContent.trim(), row.querySelector('.of-limits').textContent.trim(),
        row.querySelectorAll('.point')[1].textContent.trim(),
        [...row.querySelectorAll('.causes span')].map(e => e.textContent).join('; ')])"""
    )
    assert len(rows) == 15
    shapes = {"pass": "●", "stop": "■"}
    for state, *cells in rows:
        assert " ".join([shapes[state], *cells]) in lines
