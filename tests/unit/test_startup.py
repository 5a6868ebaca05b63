"""Asking for help loads no heavy package: each would outlast the start-up budget by itself."""

from __future__ import annotations

import json
import subprocess
import sys

import pytest

HEAVY = ["scipy", "pyarrow", "matplotlib", "typst", "pint", "pydantic", "asammdf", "nptdms", "jax", "jinja2"]

ASK_FOR_HELP = """
import json, sys
sys.argv = ["spoolwright", "--help"]
from spoolwright.cli.main import run
code = 0
try:
    run()
except SystemExit as stop:
    code = stop.code or 0
print(json.dumps({"code": code, "modules": sorted(sys.modules)}))
"""


@pytest.fixture(scope="module")
def asked() -> tuple[str, dict[str, object]]:
    done = subprocess.run([sys.executable, "-c", ASK_FOR_HELP], capture_output=True, text=True, timeout=60)
    assert done.returncode == 0, done.stderr
    *text, last = done.stdout.splitlines()
    return "\n".join(text), json.loads(last)


def test_help_names_the_commands(asked: tuple[str, dict[str, object]]) -> None:
    text, state = asked
    assert state["code"] == 0
    assert [command for command in ("assess", "rig", "type", "demo") if command not in text] == []


@pytest.mark.parametrize("package", HEAVY)
def test_help_loads_no_heavy_package(asked: tuple[str, dict[str, object]], package: str) -> None:
    modules = asked[1]["modules"]
    assert isinstance(modules, list)
    assert "spoolwright.cli.main" in modules
    assert package not in modules
