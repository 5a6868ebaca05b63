"""The report as PDF, set by typst with the shipped font. Values travel as data, never as markup."""

from __future__ import annotations

import json
import shutil
import tempfile
from collections.abc import Callable
from dataclasses import asdict
from importlib.resources import as_file, files
from pathlib import Path
from typing import Any

from spoolwright.crafts.testcell.model import Assessment, Finding, GateState, RunRef, Strip
from spoolwright.errors import OutputError
from spoolwright.reports import charts, labels, traces, view
from spoolwright.reports.cards import Card, Line, Rung, cards
from spoolwright.reports.figures import Cell, clock, percent
from spoolwright.reports.jsonfile import result_hash, write_bytes
from spoolwright.reports.proposal import Ask, asks, proposal, still_open, surer, unsettled
from spoolwright.reports.rated import RatedRow, rated_tables

CHART_WIDTH, CHART_HEIGHT = 340.0, 262.0


def write_pdf(assessment: Assessment, strips: tuple[Strip, ...], path: Path) -> Path:
    """Write the report as PDF."""
    try:
        data = report_pdf(assessment, strips)
    except OSError as error:
        told = f"the print cannot be set: {error.strerror}."
        raise OutputError(told, where=str(path), mend="Make room for temporary files.") from error
    return write_bytes(path, data)


def report_pdf(assessment: Assessment, strips: tuple[Strip, ...]) -> bytes:
    """The report as PDF bytes; the same assessment gives the same bytes."""
    return set_print("report.typ", lambda work: _data(assessment, strips, work))


def set_print(template: str, data: Callable[[Path], dict[str, Any]]) -> bytes:
    """A template set with its data; `data` may lay drawings into the folder it is given."""
    import typst

    with tempfile.TemporaryDirectory() as folder, as_file(files("spoolwright") / "assets" / "fonts") as fonts:
        work = Path(folder)
        for name in ("sheet.typ", template):
            shutil.copyfile(str(files("spoolwright.reports") / "templates" / name), work / name)
        (work / "data.json").write_text(json.dumps(data(work), ensure_ascii=False))
        try:
            made = typst.compile(
                str(work / template),
                root=folder,
                font_paths=[str(fonts)],
                ignore_system_fonts=True,
                timestamp=0,
            )
        except typst.TypstError as error:
            raise OutputError(f"the report could not be set as PDF: {error}.") from error
    return bytes(made)


def _data(a: Assessment, strips: tuple[Strip, ...], work: Path) -> dict[str, Any]:
    return {
        **_head(a),
        "unsettled": [
            {"title": f"{labels.words(f.kind)}: {', '.join(f.channels) or 'the recording'}", "mend": f.mend}
            for f in unsettled(a)
        ],
        "asks": [_ask(k) for k in asks(a)],
        "still_open": [asdict(o) for o in still_open(a)],
        "findings": [_finding(f) for f in a.findings],
        "thinnest": [_verdict(r) for r in view.thinnest(a)],
        "surer": [{"step": step, "names": "; ".join(names)} for step, names in surer(a)],
        "rated": [
            {
                "block": t.block,
                "ratings": [{"name": n, "rows": [_rated(r) for r in rows]} for n, rows in t.ratings],
            }
            for t in rated_tables(a)
        ],
        "model_basis": a.model_basis,
        "curves": [_chart(c, i, work) for i, c in enumerate(charts.charts(a))],
        "runs": [_run(a, r, strips, work) for r in a.runs],
        "points": [_card(c) for c in cards(a)],
        "groups": [{"title": g.title, "rows": [_verdict(r) for r in g.rows]} for g in view.groups(a)],
        **_rests(a),
    }


def _head(a: Assessment) -> dict[str, Any]:
    p, digest = proposal(a), result_hash(a)
    blocks = list(labels.block_names(a).values())
    return {
        "title": f"{a.type_name}, serial {a.engine_serial}",
        "kind": "Test report",
        "runs_line": f"run {', '.join(r.run for r in a.runs)} · limits “{a.limit_set}”",
        "foot": f"{a.program} · result {digest[:16]} · type file {a.type_file_sha256[:16]}",
        "demonstration": a.demonstration,
        "words": labels.OUTCOME,
        "outcome": a.disposition.outcome,
        "headline": p.text,
        "tally": [list(t) for t in p.tally],
        "thin": None
        if p.thinnest is None
        else f"{p.thinnest.name}, {_interval(p.thinnest.margin)}, "
        f"{p.thinnest.probability} probability of conforming.",
        "earlier": "; ".join(p.earlier),
        "open": p.open,
        "blocks": [blocks[0], blocks[-1]] if blocks else [],
    }


def _rests(a: Assessment) -> dict[str, Any]:
    return {
        "gates": [[f"run {g.run}", g.name, g.state, _gate(g)] for g in a.gates],
        "schedule": [[s.name, labels.words(s.state), s.text, s.source] for s in a.schedule],
        "files": [
            *([f"run {r.run}", r.file, r.sha256] for r in a.runs),
            ["type file", a.type_id, a.type_file_sha256],
            ["result", "the JSON file of this assessment", result_hash(a)],
        ],
        "adjustments": labels.adjustment_text(a.runs),
        "filled": [p.partition(" = ")[0] for p in a.filled_model_parameters],
        "cautions": list(a.cautions),
    }


def _gate(g: GateState) -> list[str]:
    return [g.text if g.state == "holds" else f"{g.text} {g.mend}", g.source]


def _ask(ask: Ask) -> dict[str, Any]:
    told = [r for r in ask.rows if r.margin]
    return {
        "outcome": ask.outcome,
        "title": ask.title,
        "why": ask.why,
        "step": ask.step,
        "action": ask.action,
        "source": ask.source,
        "rows": [[r.name, _text(r.reading), _limit(r), _interval(r.margin)] for r in told],
        "names": [] if told or len(ask.rows) == 1 else [r.name for r in ask.rows],
    }


def _finding(f: Finding) -> list[str]:
    when = f"run {f.run}" if f.from_s is None else f"run {f.run} {clock(f.from_s)}–{clock(f.to_s)}"
    chance = ""
    if f.probability is not None and "robability" not in f.text:
        chance = f" Probability {percent(f.probability)}."
    if f.corrected_by:
        state = f"corrected, signed by {f.corrected_by}; both values are kept"
    else:
        state = "bars judgement until signed" if f.bars_use else "for information"
    return [
        when,
        f"{labels.words(f.kind)}, {', '.join(f.channels)}",
        f"{f.text}{chance}",
        "" if f.corrected_by else f.mend,
        state,
    ]


def _verdict(r: view.Row) -> dict[str, Any]:
    v = r.verdict
    return {
        "outcome": v.outcome,
        "name": v.name,
        "note": r.note,
        "place": r.place,
        "reading": _text(r.reading),
        "reading2": _second(r.reading),
        "limit": _limit(r),
        "limit2": f"accept to {r.accept.text}" if r.accept else _second(r.limit),
        "margin": "–" if r.margin is None else r.margin.main.interval,
        "probability": r.probability,
        "risk": f"risk {r.risk}" if r.risk else "",
        "drawn": None if r.drawn is None else asdict(r.drawn),
    }


def _limit(r: view.Row) -> str:
    return "–" if r.limit is None else f"{r.verdict.bound} {r.limit.text}".replace(" ", "\u00a0")


def _text(c: Cell | None) -> str:
    return "–" if c is None else c.text


def _second(c: Cell | None) -> str:
    return "" if c is None else c.second_text


def _interval(c: Cell | None) -> str:
    return "–" if c is None else c.interval


def _bare(c: Cell | None) -> str:
    return "–" if c is None else c.main.interval


def _rated(r: RatedRow) -> list[str]:
    quantity = f"{r.quantity} [{r.unit}]" + (f", {r.note}" if r.note else "")
    return [quantity, *(_bare(c) for c in (r.approved, r.nominal, r.margin, r.model, r.difference))]


def _chart(chart: charts.Chart, index: int, work: Path) -> dict[str, str]:
    name = f"curve-{index}.svg"
    drawn = charts.chart_svg(chart, width=CHART_WIDTH, height=CHART_HEIGHT, style=charts.PRINT_STYLE)
    (work / name).write_text(drawn)
    return {"file": name, "title": chart.title}


def _run(a: Assessment, r: RunRef, strips: tuple[Strip, ...], work: Path) -> dict[str, Any]:
    own, events = view.strips_of(r.run, strips), view.events_of(r.run, a)
    name = ""
    if own:
        name = f"strips-{len(list(work.glob('strips-*')))}.svg"
        (work / name).write_text(traces.print_svg(own, events))
    started = "" if r.started_at is None else f", started {r.started_at:%Y-%m-%d %H:%M:%S} UTC"
    line = f"{r.file}, {r.rows} rows, {clock(r.duration_s)} long{started}, {labels.cell_name(r.cell)}."
    rows = [[str(i), clock(e.at_s), e.text] for i, e in enumerate(events, 1)]
    return {"run": r.run, "line": line, "file": name, "events": rows}


def _card(c: Card) -> dict[str, Any]:
    block = f", {c.block}" if c.block else ""
    return {
        "title": f"{c.id}  {c.title}{block}",
        "when": f"{c.when}, {c.state}",
        "good": c.steady and c.usable,
        "why": " ".join(c.why_not),
        "columns": [
            {"name": k.name, "units": " · ".join(filter(None, (k.unit, k.second))), "second": bool(k.second)}
            for k in c.columns
        ],
        "shares": [{"name": name, "rungs": [_rung(g) for g in rungs]} for name, rungs in c.shares],
        "results": [
            {"name": name, "cells": [[_bare(k), _second_interval(k)] for k in cells]}
            for name, cells in c.results
        ],
        "lines": [_line(k) for k in c.lines],
        "probes": [[k.name, _bare(k.mean)] for k in c.probes],
        "probe_unit": c.probes[0].mean.main.unit if c.probes else "",
    }


def _rung(g: Rung) -> list[str]:
    value = "–" if g.cell is None else g.cell.main.value
    return [g.factor.replace(" ", ""), value, g.cell.second.value if g.cell and g.cell.second else ""]


def _second_interval(c: Cell | None) -> str:
    return c.second.interval if c and c.second else ""


def _line(line: Line) -> list[str]:
    recorded = f"as recorded {line.as_recorded.text}" if line.as_recorded else ""
    return [line.name, line.mean.interval, recorded]
