"""A file as Arrow reads it."""

from __future__ import annotations

import mmap
from pathlib import Path
from typing import Any


def mapped(path: Path) -> Any:
    """A file's bytes as an Arrow source, mapped into memory; Arrow itself opens only names that are text."""
    import pyarrow as pa

    with path.open("rb") as file:
        return pa.BufferReader(pa.py_buffer(mmap.mmap(file.fileno(), 0, access=mmap.ACCESS_READ)))
