"""The report as one HTML file that needs nothing else: style, font, script and data are inside."""

from __future__ import annotations

import base64
import re
from importlib.resources import files
from pathlib import Path
from typing import Any

from spoolwright.crafts.testcell.model import Assessment, RunRef, Strip
from spoolwright.reports import labels, traces, view
from spoolwright.reports.cards import cards
from spoolwright.reports.charts import chart_svg, charts
from spoolwright.reports.derived import families
from spoolwright.reports.figures import cell, clock, percent
from spoolwright.reports.jsonfile import result_hash, write_text
from spoolwright.reports.proposal import asks, proposal, still_open, surer, unsettled
from spoolwright.reports.rated import rated_tables

_APART = 2.2
"""Least distance of two event numbers, in percent of the drawing's width."""


def write_html(assessment: Assessment, strips: tuple[Strip, ...], path: Path) -> Path:
    """Write the report as one HTML file."""
    return write_text(path, report_html(assessment, strips))


def report_html(assessment: Assessment, strips: tuple[Strip, ...]) -> str:
    """The report as HTML text."""
    return page("report.html.j2", _context(assessment, strips))


def page(template: str, context: dict[str, Any]) -> str:
    """A template filled in; everything that came from outside is escaped."""
    from jinja2 import Environment, PackageLoader, StrictUndefined

    environment = Environment(
        loader=PackageLoader("spoolwright.reports"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    filled = environment.get_template(template).render(**context)
    return re.sub(r"\n\s*\n+", "\n", filled)


def _context(a: Assessment, strips: tuple[Strip, ...]) -> dict[str, Any]:
    how = families(a)
    templates = files("spoolwright.reports") / "templates"
    return {
        "a": a,
        "proposal": proposal(a),
        "unsettled": unsettled(a),
        "asks": asks(a),
        "still_open": still_open(a),
        "thinnest": view.thinnest(a),
        "surer": surer(a),
        "rated": rated_tables(a),
        "charts": [(c.title, chart_svg(c)) for c in charts(a)],
        "runs": [_run(a, r, strips) for r in a.runs],
        "cards": cards(a),
        "groups": view.groups(a),
        "families": how,
        "only_in_json": len(a.derivations) - sum(len(f.members) for f in how),
        "blocks": labels.block_names(a),
        "result_hash": result_hash(a),
        "outcome_word": labels.OUTCOME,
        "words": labels.words,
        "cell_name": labels.cell_name,
        "cell": cell,
        "percent": percent,
        "clock": clock,
        "css": (templates / "report.css").read_text(),
        "script": (templates / "report.js").read_text(),
        "fonts_css": fonts_css(),
    }


def _run(a: Assessment, r: RunRef, strips: tuple[Strip, ...]) -> dict[str, Any]:
    own, events = view.strips_of(r.run, strips), view.events_of(r.run, a)
    start, end = traces.whole(own, events)
    names = labels.short_names([s.name for s in own])
    return {
        "ref": r,
        "start": start,
        "end": end,
        "tick": traces.TICK,
        "strips": [
            traces.trace(s.model_copy(update={"name": n}), start, end)
            for s, n in zip(own, names, strict=True)
        ],
        "events": events,
        "event_marks": traces.event_marks(events, start, end, _APART),
        "time_marks": traces.time_marks(start, end),
    }


def fonts_css() -> str:
    """The shipped font as style rules, the files inside."""
    rules = []
    for name, weight in (("Regular", 400), ("Bold", 700)):
        data = (files("spoolwright") / "assets" / "fonts" / f"IBMPlexSans-{name}.woff2").read_bytes()
        encoded = base64.b64encode(data).decode()
        rules.append(
            f'@font-face{{font-family:"Plex";font-weight:{weight};'
            f'src:url(data:font/woff2;base64,{encoded}) format("woff2")}}'
        )
    return "".join(rules)
