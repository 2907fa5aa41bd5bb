"""The installed command as a process: streams, signals, terminals and permissions."""

import json
import os
import pty
import re
import signal
import subprocess
import sys
import time
from collections import Counter
from pathlib import Path

import pytest

from support.projects import contents, document, write_project

DRYFIT = str(Path(sys.executable).with_name("dryfit"))
ESCAPES = re.compile(r"\x1b\[[0-9;?]*[A-Za-z]")


@pytest.fixture(scope="module")
def project(tmp_path_factory):
    return write_project(tmp_path_factory.mktemp("portal"))


def call(*arguments, env=None, **options):
    return subprocess.run(
        [DRYFIT, *map(str, arguments)],
        capture_output="stdout" not in options,
        env={**os.environ, "PYTHONUNBUFFERED": "", **(env or {})},
        check=False,
        timeout=60,
        **options,
    )


def test_piped_output_has_no_control_characters(project):
    result = call("ready", project, "--unrecorded", env={"FORCE_COLOR": ""})
    text = result.stdout.decode("utf-8")
    assert result.returncode == 1
    assert result.stderr == b""
    assert "■ Portal: hold point before printing" in text
    assert not [letter for letter in text if ord(letter) < 32 and letter != "\n"]


def test_json_is_all_there_is(project):
    result = call("forecast", project, "--unrecorded", "--json")
    assert result.stderr == b""
    assert json.loads(result.stdout)["project"] == "Portal"
    assert result.stdout.isascii()


@pytest.mark.parametrize("arguments", [["--nope"], ["--samples", "3"], ["--samples", "x"], ["a", "b", "c"]])
def test_wrong_arguments_are_refused_in_json_too(project, arguments):
    result = call("forecast", project, "--json", *arguments)
    assert result.returncode == 2
    assert result.stderr == b""
    assert json.loads(result.stdout)["refused"]["do"]


def test_an_unknown_command_suggests_the_nearest():
    result = call("forecats")
    assert result.returncode == 2
    assert b"forecast" in result.stderr
    assert result.stdout == b""


def test_an_encoding_without_the_shapes_gets_the_words(project):
    result = call("forecast", project, "--unrecorded", env={"PYTHONIOENCODING": "latin-1"})
    assert result.returncode == 1
    assert b"[stop] Portal" in result.stdout
    assert b"Traceback" not in result.stderr


def test_a_name_that_the_encoding_cannot_hold_is_escaped(tmp_path):
    text = document(head='schema = 1\n[project]\nname = "模型"\nscale = "1:20"\n')
    result = call("joints", write_project(tmp_path, text), "--look", env={"PYTHONIOENCODING": "latin-1"})
    assert (result.returncode, result.stderr) == (0, b"")
    assert b"\\u6a21\\u578b: 4 mating faces" in result.stdout


@pytest.mark.parametrize("form", [[], ["--json"]])
def test_a_reader_that_leaves_sees_no_traceback(project, form):
    command = subprocess.Popen(
        [DRYFIT, "forecast", str(project), "--unrecorded", *form],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
    )
    command.stdout.close()
    with command:
        assert command.stderr.read() == b""
    assert command.returncode != 0


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="needs a device that is always full")
@pytest.mark.parametrize(
    "words",
    [
        ["forecast", "--unrecorded"],
        ["forecast", "--unrecorded", "--json"],
        ["joints", "--accept", "all", "--json"],
    ],
)
def test_a_full_disk_is_said_in_words(project, words):
    """Also where the output is so short that it would wait in the buffer until the end."""
    with open("/dev/full", "wb") as full:
        result = call(*words, project, stdout=full, stderr=subprocess.PIPE)
    assert result.returncode == 2
    assert b"No space left" in result.stderr
    assert b"Traceback" not in result.stderr


def test_a_closed_output_is_no_fault(project):
    result = subprocess.run(
        ["sh", "-c", '"$0" joints "$1" --look >&-', DRYFIT, str(project)], capture_output=True, check=False
    )
    assert (result.returncode, result.stderr) == (0, b"")


def in_terminal(columns, *arguments, env=None):
    """Exit status and output on a terminal of so many columns."""
    process, terminal = pty.fork()
    if process == 0:
        os.environ.update({"COLUMNS": str(columns), "TERM": "xterm-256color", **(env or {})})
        os.execv(DRYFIT, [DRYFIT, *map(str, arguments)])
    output = b""
    while True:
        try:
            piece = os.read(terminal, 65536)
        except OSError:  # the terminal of a process that has ended
            break
        if not piece:
            break
        output += piece
    os.close(terminal)
    return os.waitstatus_to_exitcode(os.waitpid(process, 0)[1]), output.decode("utf-8")


# Opening a pseudo-terminal forks; the tests run no threads of their own.
@pytest.mark.filterwarnings("ignore:This process:DeprecationWarning")
class TestTerminal:
    def test_a_narrow_one_loses_nothing(self, project):
        """Folded differently, but letter for letter the same as on a wide one."""
        said = {}
        for columns in (60, 1000):
            status, output = in_terminal(columns, "forecast", project, "--unrecorded", "--brief")
            assert status == 1
            lines = [ESCAPES.sub("", line).rstrip() for line in output.replace("\r", "").split("\n")]
            assert max(map(len, lines)) <= columns
            said[columns] = Counter("".join(lines).replace(" ", ""))
        assert said[60] == said[1000]

    def test_colour_on_a_terminal_and_none_when_not_wanted(self, project):
        _, coloured = in_terminal(120, "forecast", project, "--unrecorded", "--brief")
        assert ESCAPES.search(coloured)
        _, plain = in_terminal(120, "forecast", project, "--unrecorded", "--brief", env={"NO_COLOR": "1"})
        colours = [code for code in ESCAPES.findall(plain) if re.search(r"[34]8;|3[0-7]m|9[0-7]m", code)]
        assert colours == []
        assert "■" in plain  # the state is a shape before it is a colour


def cpu_seconds(process):
    fields = Path(f"/proc/{process.pid}/stat").read_text().rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


@pytest.mark.skipif(not Path("/proc/self/stat").exists(), reason="reads the processor time from /proc")
def test_an_interrupt_leaves_nothing_half_written(tmp_path):
    folder = tmp_path / "observatory"
    assert call("demo", folder).returncode == 0
    before = contents(folder)
    command = [DRYFIT, "orient", str(folder), "--grid", "1", "--write"]
    process = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE)
    # Well after the start and long before this search ends.
    while cpu_seconds(process) < 1.5:
        assert process.poll() is None
        time.sleep(0.02)
    process.send_signal(signal.SIGINT)
    output, errors = process.communicate(timeout=60)
    assert process.returncode == 130
    assert output == b""
    assert errors == b"dryfit: stopped; nothing was half-written\n"
    assert contents(folder) == before


@pytest.mark.skipif(os.geteuid() == 0, reason="the superuser may write everywhere")
class TestPermissions:
    def test_a_folder_that_cannot_be_written_to(self, tmp_path):
        folder = write_project(tmp_path / "p")
        before = contents(folder)
        folder.chmod(0o500)
        try:
            ledger = call("forecast", folder)
            document = call("orient", folder, "--write")
            free = call("forecast", folder, "--unrecorded")
        finally:
            folder.chmod(0o700)
        assert (ledger.returncode, document.returncode, free.returncode) == (2, 2, 1)
        assert b"ledger" in ledger.stderr
        assert b"written" in document.stderr
        assert b"Traceback" not in ledger.stderr + document.stderr
        assert contents(folder) == before

    def test_a_document_that_cannot_be_read(self, tmp_path):
        folder = write_project(tmp_path / "p")
        (folder / "project.toml").chmod(0)
        result = call("forecast", folder)
        assert result.returncode == 2
        assert b"Permission denied" in result.stderr
