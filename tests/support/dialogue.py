"""A command that asks at the terminal, interrupted by Ctrl-C once it has acknowledged some readings."""

from __future__ import annotations

import signal
import subprocess
import time


def interrupt_after(process: subprocess.Popen[str], answers: str, kept: int = 2) -> tuple[str, str]:
    """What is left of its output and its errors; answers are given, and so many acknowledgements waited for."""
    assert process.stdin is not None
    assert process.stdout is not None
    process.stdin.write(answers)
    process.stdin.flush()
    heard = ""
    while heard.count("kept as record") < kept:
        line = process.stdout.readline()
        assert line, f"it ended before it kept {kept} readings: {heard}"
        heard += line
    time.sleep(0.2)
    process.send_signal(signal.SIGINT)
    rest, error = process.communicate(timeout=60)
    assert process.returncode == 130
    assert "Traceback" not in error
    return rest, error
