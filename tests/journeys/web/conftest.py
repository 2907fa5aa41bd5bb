"""A running workbench on a copy of the demonstration, and a browser to look at it with.

The browser is the Chromium of the system. Where there is none these tests are skipped and say so; with
DRYFIT_BROWSER=required in the environment they fail instead. Nothing is downloaded.
"""

from __future__ import annotations

import json
import os
import re
import shutil
import signal
import subprocess
import sys
import threading
import time
import urllib.error
import urllib.request
from dataclasses import dataclass, field
from importlib.resources import files
from pathlib import Path

import pytest
from forked import Forked

ROOT = Path(__file__).parents[3]
ARTEFACTS = ROOT / "artefacts"
CHROMIUM = next((found for name in ("chromium", "chromium-browser") if (found := shutil.which(name))), None)
FLAGS = (
    "--no-sandbox",
    "--disable-gpu",
    "--use-gl=swiftshader",
    "--enable-unsafe-swiftshader",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
)
STARTUP_S = 60
# Smooth edges take half of the time of a drawing where there is no graphics card, and no test looks at them.
WITHOUT_SMOOTHING = """(() => {
  const get = HTMLCanvasElement.prototype.getContext;
  HTMLCanvasElement.prototype.getContext = function (kind, options) {
    return get.call(this, kind, kind.startsWith("webgl") ? { ...options, antialias: false } : options);
  };
})()"""
COMMAND = (str(Path(sys.executable).with_name("dryfit")), "serve")


@dataclass
class Workbench:
    """A server in a process of its own. links: what it printed after "for one other device"."""

    folder: Path
    process: subprocess.Popen | Forked
    lines: list[str] = field(default_factory=list)

    @property
    def url(self) -> str:
        return self._find(r"workbench: (http://\S+)/ ")

    @property
    def link(self) -> str:
        return self._find(r"for one other device, once: (\S+)")

    def _find(self, pattern: str) -> str:
        end = time.monotonic() + STARTUP_S
        while time.monotonic() < end:
            match = re.search(pattern, "\n".join(self.lines))
            if match:
                return match.group(1)
            assert self.process.poll() is None, "\n".join(self.lines)
            time.sleep(0.02)
        raise AssertionError(f"not printed: {pattern}\n" + "\n".join(self.lines))

    def wait_until_it_answers(self) -> None:
        end = time.monotonic() + STARTUP_S
        while time.monotonic() < end:
            try:
                urllib.request.urlopen(self.url, timeout=30).close()
            except urllib.error.URLError:
                time.sleep(0.05)
            else:
                return
        raise AssertionError("the workbench does not answer\n" + "\n".join(self.lines))

    def wait_until_it_has_read_the_project(self) -> None:
        """Its first forecast is in the ledger: from then on it writes nothing unasked."""
        from dryfit.app.ledger_reading import read_records

        end = time.monotonic() + STARTUP_S
        while time.monotonic() < end:
            if read_records(self.folder, "forecast"):
                return
            time.sleep(0.05)
        raise AssertionError("the workbench does not read the project\n" + "\n".join(self.lines))

    def interrupt(self) -> int:
        """Ctrl-C; returns the exit status."""
        if self.process.poll() is None:
            self.process.send_signal(signal.SIGINT)
        return self.process.wait(20)

    def end(self) -> None:
        """Whatever it is doing, with all that it started: the tests that stop it as a user does say so."""
        if self.process.poll() is None:
            os.killpg(self.process.pid, signal.SIGKILL)
        self.process.wait(20)


def start_workbench(folder: Path, *options: str) -> Workbench:
    """Start `dryfit serve` on a folder; the caller ends it."""
    process = subprocess.Popen(
        [*COMMAND, str(folder), *options],
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        encoding="utf-8",
        env={**os.environ, "PYTHONIOENCODING": "utf-8"},
        start_new_session=True,
    )
    bench = Workbench(folder, process)
    threading.Thread(target=_collect, args=(process, bench.lines), daemon=True).start()
    return bench


def fork_workbench(folder: Path) -> Workbench:
    """The same in a process that need not load the program; the caller ends it."""
    process = Forked(["serve", str(folder)])
    bench = Workbench(folder, process)
    threading.Thread(target=_collect, args=(process, bench.lines), daemon=True).start()
    return bench


def _collect(process: subprocess.Popen | Forked, lines: list[str]) -> None:
    lines.extend(line.rstrip("\n") for line in process.stdout)  # one by one, as they come
    process.stdout.close()


@pytest.fixture(scope="session")
def demo(tmp_path_factory):
    """The observatory, written once; copy it before changing it."""
    from dryfit.app.demo import write_demo
    from dryfit.app.photo_sizes import project_evidence

    folder = tmp_path_factory.mktemp("original") / "demo"
    write_demo(folder, "observatory")
    project_evidence(folder)  # kept in the folder, and so in every copy of it
    return folder


@pytest.fixture
def copy_of_demo(demo, tmp_path):
    folder = tmp_path / "demo"
    shutil.copytree(demo, folder)
    return folder


@pytest.fixture
def workbench(copy_of_demo):
    """A workbench of its own for a test that changes the project."""
    bench = fork_workbench(copy_of_demo)
    try:
        bench.wait_until_it_answers()
        yield bench
    finally:
        bench.end()


@pytest.fixture(scope="module")
def shared_workbench(demo, tmp_path_factory):
    """One workbench for the tests of a module that leave the project as it is."""
    folder = tmp_path_factory.mktemp("shared") / "demo"
    shutil.copytree(demo, folder)
    bench = fork_workbench(folder)
    try:
        bench.wait_until_it_answers()
        bench.wait_until_it_has_read_the_project()
        yield bench
    finally:
        bench.end()


@pytest.fixture(scope="session")
def chromium(tmp_path_factory):
    """A browser with a fresh profile."""
    if CHROMIUM is None:
        words = "no Chromium is installed: the tests in the browser are left out"
        if os.environ.get("DRYFIT_BROWSER") == "required":
            pytest.fail(words)
        pytest.skip(words)
    from playwright.sync_api import sync_playwright

    with sync_playwright() as player:
        # A browser launched this way keeps each context's profile apart, in a folder that it removes again.
        browser = player.chromium.launch(executable_path=CHROMIUM, args=list(FLAGS))
        yield browser
        browser.close()


@dataclass
class Requests:
    """Every request and websocket that pages sent."""

    urls: list[str] = field(default_factory=list)

    @property
    def outside(self) -> list[str]:
        """Those that leave this machine. Data and blob addresses are not sent at all."""
        kept = re.compile(
            r"(?:https?|wss?)://(?:127\.0\.0\.1|localhost)(?::\d+)?(?:/|$)|(?:data|blob|about):"
        )
        return [url for url in self.urls if not kept.match(url)]


@pytest.fixture
def requests():
    return Requests()


@pytest.fixture
def context(chromium, requests):
    """A browser context that records where its requests go; none may leave this machine."""
    context = chromium.new_context(viewport={"width": 1440, "height": 900}, reduced_motion="reduce")
    context.set_default_timeout(30_000)
    if "DRYFIT_PICTURE" not in os.environ:
        context.add_init_script(WITHOUT_SMOOTHING)
    context.on("request", lambda request: requests.urls.append(request.url))
    context.on("page", lambda page: page.on("websocket", lambda socket: requests.urls.append(socket.url)))
    yield context
    context.close()
    assert requests.outside == []


@pytest.fixture
def page(context):
    """A page whose faults fail the test: exceptions in scripts and what the security policy refused."""
    page = context.new_page()
    faults: list[str] = []
    page.on("pageerror", lambda error: faults.append(str(error)))
    page.on("console", lambda entry: faults.append(entry.text) if _is_refusal_of_policy(entry.text) else None)
    yield page
    assert faults == []


def _is_refusal_of_policy(text: str) -> bool:
    return "Content Security Policy" in text or "Content-Security-Policy" in text


def accessibility_faults(
    page, rules: tuple[str, ...] = ("wcag2a", "wcag2aa", "wcag21a", "wcag21aa")
) -> list[str]:
    """What axe-core finds on a page, one line per element. Its script comes with a package of the tests."""
    page.evaluate(files("axe_playwright_python").joinpath("axe.min.js").read_text(encoding="utf-8"))
    options = json.dumps({"runOnly": {"type": "tag", "values": list(rules)}})
    found = page.evaluate(f"axe.run(document, {options}).then(result => result.violations)")
    return [
        f"{fault['id']}: {' '.join(map(str, node['target']))}: {node['failureSummary']}"
        for fault in found
        for node in fault["nodes"]
    ]


def keep_picture(page, name: str) -> Path:
    """A screenshot among the artefacts, which git ignores."""
    ARTEFACTS.mkdir(exist_ok=True)
    path = ARTEFACTS / f"{name}.png"
    page.screenshot(path=path)
    return path
