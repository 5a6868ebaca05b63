"""Every kind of record that a craft defines is known to each process that opens a shop."""

from __future__ import annotations

import re
import subprocess
import sys
from pathlib import Path

_KIND = re.compile(r'^    kind: ClassVar\[str\] = "(\w+)"', re.MULTILINE)
_OPENED = (
    "from spoolwright.bootstrap import shop; from spoolwright.crafts.visit.entry import KINDS; print(*KINDS)"
)


def test_opening_a_shop_knows_every_kind(repository: Path) -> None:
    crafts = repository / "src" / "spoolwright" / "crafts"
    defined = {k for path in crafts.rglob("*.py") for k in _KIND.findall(path.read_text(encoding="utf-8"))}
    told = subprocess.run([sys.executable, "-c", _OPENED], capture_output=True, text=True, check=True)
    assert {"visit", "release", "person"} <= defined
    assert defined <= set(told.stdout.split())
