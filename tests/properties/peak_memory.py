"""Peak memory of this process alone."""

from __future__ import annotations

from pathlib import Path


def peak_bytes() -> int:
    """High-water mark of resident memory since this program began.

    `getrusage` would tell the parent's peak too, which a child inherits when it is started.
    """
    lines = Path("/proc/self/status").read_text().splitlines()
    return 1024 * next(int(line.split()[1]) for line in lines if line.startswith("VmHWM"))
