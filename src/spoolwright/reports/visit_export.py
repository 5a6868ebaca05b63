"""A visit as a page that needs neither program nor network: every record in words, with its revisions."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from importlib.resources import files

from spoolwright.crafts.visit.entry import Body, Entry
from spoolwright.crafts.visit.model import VisitOpened
from spoolwright.reports.html import fonts_css, page
from spoolwright.reports.record_words import Line, lines_of, title_of


@dataclass(frozen=True)
class Told:
    """An entry as the page shows it."""

    entry: Entry[Body]
    title: str
    lines: tuple[Line, ...]
    superseded_by: int = 0


def export_html(
    opened: VisitOpened,
    entries: Sequence[Entry[Body]],
    outside: Sequence[Entry[Body]],
    *,
    names: Mapping[str, str],
    places: Mapping[str, str],
    head: tuple[int, str],
    made_at: datetime,
    demonstration: bool,
) -> str:
    """The page as HTML text.

    Parameters
    ----------
    opened : the visit
    entries : every revision of its records, in the order they were recorded
    outside : every revision of what it rests on outside itself
    names : login to the person's name
    places : hash of an attachment to its path in the folder
    head : number and digest of the last record of the shop at the export
    made_at : when it was exported, UTC
    demonstration : whether the type is demonstration data
    """
    templates = files("spoolwright.reports") / "templates"
    context = {
        "opened": opened,
        "told": told_of(entries),
        "outside": told_of(outside),
        "names": names,
        "places": places,
        "head": head,
        "made_at": made_at,
        "demonstration": demonstration,
        "style": fonts_css() + (templates / "visit_export.css").read_text(encoding="utf-8"),
    }
    return page("visit_export.html.j2", context)


def told_of(entries: Sequence[Entry[Body]]) -> list[Told]:
    """Entries with their words; an old revision names the record that corrects it."""
    later = {(e.subject, e.revision - 1): e.seq for e in entries}
    return [
        Told(e, title_of(e.body), lines_of(e.body), later.get((e.subject, e.revision), 0)) for e in entries
    ]
