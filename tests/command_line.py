"""The program's own entry point, called in this process or in one of its own."""

from __future__ import annotations

import contextlib
import io
import subprocess
import sys
import warnings
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any
from unittest import mock

PROGRAM = [sys.executable, "-c", "from spoolwright.cli.main import run; run()"]


@dataclass(frozen=True)
class Answer:
    """What a call came to."""

    code: int
    out: str
    err: str


def called(*words: object, columns: int = 100) -> Answer:
    """The program called in this process."""
    from spoolwright.cli.main import run

    code, out, err = 0, io.StringIO(), io.StringIO()
    with (
        contextlib.redirect_stdout(out),
        contextlib.redirect_stderr(err),
        warnings.catch_warnings(),
        mock.patch.object(sys, "argv", ["spoolwright", *map(str, words)]),
        mock.patch.dict("os.environ", {"COLUMNS": str(columns)}),
    ):
        try:
            run()
        except SystemExit as stop:
            code = int(stop.code or 0)
    return Answer(code, out.getvalue(), err.getvalue())


def started(words: Sequence[object], **how: Any) -> subprocess.CompletedProcess[str]:
    """The program as a process of its own."""
    return subprocess.run(
        [*PROGRAM, *map(str, words)], capture_output=True, text=True, timeout=120, check=False, **how
    )
