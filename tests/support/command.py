"""The command line in process: what it prints, and a check that it never shows a traceback."""

from __future__ import annotations

import json
from typing import Any

from typer.testing import CliRunner, Result

from dryfit.cli.main import app


def run(*arguments: object) -> Result:
    """Run a command; anything but an orderly exit fails the test."""
    result = CliRunner().invoke(app, [str(argument) for argument in arguments])
    if result.exception is not None and not isinstance(result.exception, SystemExit):
        raise AssertionError(f"a traceback instead of a refusal: {result.exception!r}") from result.exception
    assert result.exit_code in (0, 1, 2), result.output
    return result


def run_json(*arguments: object) -> tuple[int, Any]:
    """Exit status and the one JSON value on standard output; NaN and infinities are no JSON."""
    result = run(*arguments, "--json")

    def refuse(word: str) -> None:
        raise AssertionError(f"{word} in JSON")

    assert result.stderr == "", result.stderr
    return result.exit_code, json.loads(result.stdout, parse_constant=refuse)


def refusal(*arguments: object) -> dict[str, Any]:
    """The three parts of a refusal, the same as JSON and in words, with exit status 2."""
    status, plain = run_json(*arguments)
    assert status == 2, plain
    refused = plain["refused"]
    assert refused["what"]
    assert refused["where"]
    assert refused["do"]
    worded = run(*arguments)
    assert worded.exit_code == 2
    assert worded.stdout == ""
    assert worded.stderr.startswith("dryfit: ")
    result: dict[str, Any] = refused
    return result
