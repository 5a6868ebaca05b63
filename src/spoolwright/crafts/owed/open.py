"""What is owed stands between an engine and its release until a person closes it with evidence."""

from __future__ import annotations

from spoolwright.crafts.owed.rules import Owed, event_words, owed_work
from spoolwright.crafts.visit.folder import Folder, OpenItem


def open_items(folder: Folder) -> list[OpenItem]:
    """Every owed item that is not closed, or not any more."""
    return [
        OpenItem(
            "owed",
            _words(owed),
            f"/visit/{folder.visit}/owed#{owed.key}",
            owed.role,
            owed.because[-1].body.module,
        )
        for owed in owed_work(folder)
        if not owed.closed
    ]


def _words(owed: Owed) -> str:
    what = list(dict.fromkeys(event_words(e.body) for e in owed.because))
    because = ", ".join(what[:3]) + (f" and {len(what) - 3} more" if len(what) > 3 else "")
    again = f"; {owed.looked_at_again}" if owed.looked_at_again else ""
    return f"Owed {owed.kind}: {owed.text} (after: {because}){again}"
