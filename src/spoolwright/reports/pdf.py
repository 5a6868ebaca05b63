"""The report as PDF, set by typst with the shipped font. Values travel as data, never as markup."""

from __future__ import annotations

import json
import shutil
import tempfile
from importlib.resources import as_file, files
from pathlib import Path
from typing import Any

from spoolwright.crafts.testcell.model import (
    Assessment,
    CorrectedQuantity,
    Event,
    Figure,
    Finding,
    GateState,
    Point,
    RatedValue,
    Strip,
    Verdict,
)
from spoolwright.errors import OutputError
from spoolwright.reports import view
from spoolwright.reports.charts import curve_svg, strips_svg
from spoolwright.reports.figures import clock, percent, shown
from spoolwright.reports.html import AXIS
from spoolwright.reports.jsonfile import write_bytes

Cell = str


def write_pdf(assessment: Assessment, strips: tuple[Strip, ...], path: Path) -> Path:
    """Write the report as PDF."""
    return write_bytes(path, report_pdf(assessment, strips))


def report_pdf(assessment: Assessment, strips: tuple[Strip, ...]) -> bytes:
    """The report as PDF bytes; the same assessment gives the same bytes."""
    import typst

    with tempfile.TemporaryDirectory() as folder, as_file(files("spoolwright") / "assets" / "fonts") as fonts:
        work = Path(folder)
        shutil.copyfile(str(files("spoolwright.reports") / "templates" / "report.typ"), work / "report.typ")
        (work / "data.json").write_text(json.dumps(_data(assessment, strips, work), ensure_ascii=False))
        try:
            made = typst.compile(
                str(work / "report.typ"),
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
        "todo": [_todo(v) for v in view.ranked(a.verdicts) if v.outcome != "meets"],
        "findings": [_finding(f) for f in a.findings],
        "groups": [_group(g) for g in view.groups(a.verdicts)],
        "rated": [_rated(r) for r in a.rated],
        "model_basis": a.model_basis,
        "curves": [_curve(c, i, work) for i, c in enumerate(a.curves)],
        "runs": [_run(a, r, strips, work) for r in a.runs],
        "points": [_point(p) for p in a.points],
        "gates": [[g.run, g.name, g.state, _gate(g)] for g in a.gates],
        "schedule": [[s.name, s.state.replace("_", " "), f"{s.text} {s.source}"] for s in a.schedule],
        "files": [["run " + r.run, r.file, f"{r.sha256} {'; '.join(r.adjustments)}"] for r in a.runs]
        + [["type file", a.type_id, a.type_file_sha256]],
        "filled": _filled(a),
        "cautions": list(a.cautions),
    }


def _head(a: Assessment) -> dict[str, Any]:
    recording = a.runs[0].sha256[:16] if a.runs else "none"
    return {
        "title": f"{a.type_name}, serial {a.engine_serial}: test report",
        "runs_line": f"run {', '.join(r.run for r in a.runs)} · limits “{a.limit_set}”",
        "foot": f"{a.program} · type file {a.type_file_sha256[:16]} · recording {recording}",
        "demonstration": a.demonstration,
        "words": view.OUTCOME,
        "outcome": a.disposition.outcome,
        "sentence": a.disposition.sentence,
        "open": list(a.disposition.open),
    }


def _rated(r: RatedValue) -> list[Cell]:
    name = view.RATED.get(r.quantity, r.quantity)
    return [r.rating.replace("_", " "), name, _pm(r.approved), _one(r.nominal), _pm(r.margin), _pm(r.model)]


def _gate(g: GateState) -> Cell:
    return f"{g.text} {g.source}" if g.state == "holds" else f"{g.text} {g.mend} {g.source}"


def _filled(a: Assessment) -> str:
    if not a.filled_model_parameters:
        return ""
    names = ", ".join(a.filled_model_parameters)
    return f"{len(a.filled_model_parameters)} model parameters were filled by the generic shape: {names}."


def _todo(v: Verdict) -> dict[str, str]:
    action = v.action if v.outcome == "does_not_meet" else ""
    return {
        "outcome": v.outcome, "name": v.name, "sentence": v.sentence, "why": " ".join(v.why),
        "next": v.next_step, "action": action, "source": v.source,
    }  # fmt: skip


def _finding(f: Finding) -> dict[str, str]:
    when = "" if f.from_s is None else f"{clock(f.from_s)}–{clock(f.to_s)}"
    chance = "" if f.probability is None else f" Probability {percent(f.probability)}."
    if f.corrected_by:
        state = f"corrected, signed by {f.corrected_by}"
    else:
        state = "bars judgement until signed" if f.bars_use else "for information"
    channels = ", ".join(f.channels)
    return {
        "when": f"{f.run} {when}",
        "text": f"{f.kind.replace('_', ' ')}, {channels}: {f.text}{chance}",
        "mend": f.mend,
        "state": state,
    }


def _group(group: view.Group) -> dict[str, Any]:
    return {"title": group.title, "rows": [_verdict(r) for r in group.rows]}


def _verdict(row: view.Row) -> dict[str, Any]:
    v, d = row.verdict, row.drawn
    point = f" · point {v.point}" if v.point else ""
    return {
        "outcome": v.outcome, "name": v.name, "source": f"{v.source}{point}",
        "reading": _one(v.reading), "reading2": _two(v.reading),
        "limit": f"{v.bound} {_one(v.limit_value)}", "limit2": _two(v.limit_value),
        "margin": _pm(v.margin), "probability": percent(v.probability_conforming),
        "drawn": None if d is None else {"zero": d.zero, "low": d.low, "middle": d.middle, "high": d.high},
    }  # fmt: skip


def _one(figure: Figure | None) -> Cell:
    return "–" if figure is None else str(shown(figure))


def _two(figure: Figure | None) -> Cell:
    return "" if figure is None or not figure.also_in else str(shown(figure, second=True))


def _pm(figure: Figure | None) -> Cell:
    if figure is None:
        return "–"
    s = shown(figure)
    return f"{s.value} ± {s.uncertainty} {s.unit}" if s.uncertainty else str(s)


def _curve(curve: Any, index: int, work: Path) -> dict[str, str]:
    x_name = AXIS.get(curve.x_quantity, curve.x_quantity)
    y_name = AXIS.get(curve.y_quantity, curve.y_quantity)
    name = f"curve-{index}.svg"
    (work / name).write_text(curve_svg(curve, x_name, y_name, width=4.2, height=2.9))
    return {"file": name, "title": curve.title}


def _run(a: Assessment, r: Any, strips: tuple[Strip, ...], work: Path) -> dict[str, Any]:
    own, events = view.strips_of(r.run, strips), view.events_of(r.run, a)
    name = ""
    if own:
        name = f"strips-{len(list(work.glob('strips-*')))}.svg"
        (work / name).write_text(strips_svg(own, events))
    started = "" if r.started_at is None else f", started {r.started_at:%Y-%m-%d %H:%M:%S} UTC"
    line = f"{r.file}, {r.rows} rows, {clock(r.duration_s)} long{started}, cell {r.cell}"
    return {
        "run": r.run,
        "line": line,
        "file": name,
        "events": [_event(i, e) for i, e in enumerate(events, 1)],
    }


def _event(index: int, event: Event) -> list[Cell]:
    return [str(index), clock(event.at_s), event.text]


def _point(p: Point) -> dict[str, Any]:
    steady = "steady" if p.steady else "NOT steady"
    usable = "" if p.usable else ", NOT usable"
    what = p.rating or p.schedule_item or "not in the schedule"
    return {
        "title": f"{p.id}  {what.replace('_', ' ')}, {clock(p.from_s)}–{clock(p.to_s)}, {steady}{usable}",
        "why": " ".join(p.why_not),
        "readings": [[r.name, _one(r.mean), _two(r.mean), shown(r.mean).uncertainty] for r in p.readings],
        "corrected": [{"title": view.QUANTITY[q.quantity], "rows": _ladder(q)} for q in p.corrected],
    }


def _ladder(q: CorrectedQuantity) -> list[list[Cell]]:
    rows = [
        [s.name, "" if s.factor is None else f"× {s.factor:.5f}", _one(s.value), _two(s.value)]
        for s in q.ladder
    ]
    rows.append(["corrected, approved method", "", _pm(q.approved), _two(q.approved)])
    rows.append(["by the model, advisory", "", _pm(q.model), _two(q.model)])
    rows.append(["difference", "", _pm(q.difference), ""])
    return rows
