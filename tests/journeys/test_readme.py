"""README.md and docs/: every command is run and its output compared, and every link leads somewhere."""

from __future__ import annotations

import os
import re
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
PAGES = [ROOT / name for name in ("README.md", "CONTRIBUTING.md", "CHANGELOG.md")] + sorted(
    (ROOT / "docs").rglob("*.md")
)
MARKED = [page for page in PAGES if re.search(r"^<!-- run", page.read_text(encoding="utf-8"), re.MULTILINE)]
# Running every page takes minutes. With DRYFIT_PAGES=3 the first two are run, and a third of the others: each commit
# takes the next, so that all come round. Without it all are run.
ALWAYS = ("README.md", "docs/first-hour.md")
LINK = re.compile(r"\[[^\]]*\]\(([^)\s]+)\)")


def name_of(page: Path) -> str:
    return page.relative_to(ROOT).as_posix()


def due_pages() -> list[Path]:
    share = int(os.environ.get("DRYFIT_PAGES", "1"))
    first = [page for page in MARKED if name_of(page) in ALWAYS]
    others = [page for page in MARKED if name_of(page) not in ALWAYS]
    command = ["git", "rev-list", "--count", "HEAD"]
    done = subprocess.run(command, cwd=ROOT, capture_output=True, encoding="utf-8", check=False)
    turn = int(done.stdout) % share if done.returncode == 0 else 0
    return [*first, *others[turn::share]]


@pytest.mark.slow
@pytest.mark.parametrize("page", due_pages(), ids=name_of)
def test_what_a_page_shows_is_what_the_program_prints(page: Path) -> None:
    command = [sys.executable, str(ROOT / "tools" / "readme.py"), "--check", name_of(page)]
    done = subprocess.run(command, capture_output=True, encoding="utf-8", check=False)
    assert done.returncode == 0, done.stdout + done.stderr


def test_a_changed_output_is_noticed(tmp_path: Path) -> None:
    page = ROOT / "docs" / "reference" / "errors.md"
    stale = tmp_path / "errors.md"
    stale.write_text(
        page.read_text(encoding="utf-8").replace("names nothing", "names something"), encoding="utf-8"
    )
    command = [sys.executable, str(ROOT / "tools" / "readme.py"), "--check", str(stale)]
    done = subprocess.run(command, capture_output=True, encoding="utf-8", check=False)
    assert done.returncode == 1
    assert "out of date" in done.stdout


@pytest.mark.parametrize("page", PAGES, ids=name_of)
def test_every_link_leads_somewhere(page: Path) -> None:
    for target in LINK.findall(page.read_text(encoding="utf-8")):
        file, _, heading = target.partition("#")
        if re.match(r"[a-z]+:", file):
            continue
        found = (page.parent / file).resolve() if file else page
        assert found.exists(), f"{name_of(page)}: {target}"
        if heading:
            heads = re.findall(r"^#+ +(.*)$", found.read_text(encoding="utf-8"), re.MULTILINE)
            slugs = {re.sub(r"[^\w\- ]", "", head.lower()).strip().replace(" ", "-") for head in heads}
            assert heading in slugs, f"{name_of(page)}: {target}"
