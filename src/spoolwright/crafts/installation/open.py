"""What is open after installation. None of it stands before a release: the engine has left."""

from __future__ import annotations

from spoolwright.crafts.installation.model import CheckEntered, ChecksCompared
from spoolwright.crafts.visit.folder import Folder, OpenItem
from spoolwright.crafts.visit.people import Role


def open_items(folder: Folder) -> list[OpenItem]:
    """Checks that nobody has compared yet, or that are in doubt."""
    link = f"/visit/{folder.visit}/installation"
    checks, results = folder.of(CheckEntered), folder.of(ChecksCompared)
    newest = max(results, key=lambda e: e.seq, default=None)
    out = []
    waiting = [e for e in checks if newest is None or e.seq > newest.seq]
    if waiting:
        text = f"{len(waiting)} check(s) on the aircraft are not compared with the bench run."
        out.append(OpenItem("installation", text, link, Role.LEAD, blocks_release=False))
    if newest is not None:
        out += [
            OpenItem(
                "installation",
                f"Check of {c.checked_on} is in doubt: {c.doubts[0]}",
                link,
                Role.RECORDS,
                blocks_release=False,
            )
            for c in newest.body.result.checks
            if c.doubts and not c.used
        ]
    return out
