"""A diagnosis as PDF, set by typst with the shipped font. Values travel as data, never as markup."""

from __future__ import annotations

from dataclasses import asdict
from pathlib import Path
from typing import Any

from spoolwright.crafts.testcell.diagnosis.model import Diagnosis
from spoolwright.errors import OutputError
from spoolwright.reports import diagnosis_view as view
from spoolwright.reports.diagnosis_charts import PRINT_STYLE, Panel, panel_svg, panels
from spoolwright.reports.diagnosis_margins import MarginRow, margin_tables
from spoolwright.reports.figures import Cell, clock
from spoolwright.reports.jsonfile import result_hash, write_bytes
from spoolwright.reports.labels import cell_name, words
from spoolwright.reports.pdf import set_print

_PANEL = (240.0, 150.0)
_PRINTED = 0.2
"""Margins and evidence are printed for causes at least so probable, and for the most probable."""


def write_diagnosis_pdf(diagnosis: Diagnosis, path: Path) -> Path:
    """Write a diagnosis as PDF."""
    try:
        data = diagnosis_pdf(diagnosis)
    except OSError as error:
        told = f"the print cannot be set: {error.strerror}."
        raise OutputError(told, where=str(path), mend="Make room for temporary files.") from error
    return write_bytes(path, data)


def diagnosis_pdf(d: Diagnosis) -> bytes:
    """A diagnosis as PDF bytes; the same diagnosis gives the same bytes."""
    return set_print("diagnosis.typ", lambda work: _data(d, work))


def _data(d: Diagnosis, work: Path) -> dict[str, Any]:
    printed = max(sum(s.probability >= _PRINTED for s in d.suspects), 1)
    return {
        **_head(d),
        "blocks": [asdict(b) | {"group": b.is_group} for b in view.blocks(d)],
        "checks": [asdict(c) for c in view.checks(d)[: view.FIRST_CHECKS]],
        "more_checks": max(len(d.checks) - view.FIRST_CHECKS, 0),
        "margins": [
            {
                "title": f"{t.name}, {t.chance}",
                "ratings": [{"name": n, "rows": [_margin(r) for r in rows]} for n, rows in t.ratings],
            }
            for t in margin_tables(d)[:printed]
        ],
        "cases": [asdict(c) for c in view.cases(d)[:printed]],
        "folded": max(len(view.leading(d)) - printed, 0),
        "panels": [_panel(p, i, work) for i, p in enumerate(panels(d))],
        "explains": view.explains(d),
        "every": [
            [c.name, c.place, c.chance, alone, "; ".join(f"{a} ({b})" for a, b in c.sizes) or "–"]
            for c, alone in view.every(d)
        ],
        **_rests(d),
    }


def _head(d: Diagnosis) -> dict[str, Any]:
    fits, fit = view.fit(d) if d.residuals else (True, "")
    digest = result_hash(d)
    return {
        "title": f"{d.type_name}, serial {d.engine_serial}",
        "line": f"run {', '.join(r.run for r in d.runs)}" if d.runs else "",
        "foot": f"{d.program} · result {digest[:16]} · type file {d.type_file_sha256[:16]}",
        "demonstration": d.demonstration,
        "lead": "Cannot tell" if d.outcome == "cannot_tell" else "Diagnosis",
        "answer": view.answer(d),
        "proposal": view.proposal(d),
        "fits": fits,
        "fit": fit,
    }


def _margin(r: MarginRow) -> dict[str, Any]:
    return {
        "name": r.quantity,
        "now": _two(r.now),
        "after": _two(r.after),
        "mark": r.mark,
        "words": r.words,
        "drawn": None if r.drawn is None else asdict(r.drawn),
    }


def _two(c: Cell) -> list[str]:
    """A margin in both units, each with its interval."""
    return [c.interval, f"{c.second.interval} {c.second.unit}" if c.second else ""]


def _panel(p: Panel, index: int, work: Path) -> dict[str, str]:
    name = f"panel-{index}.svg"
    (work / name).write_text(panel_svg(p, width=_PANEL[0], height=_PANEL[1], style=PRINT_STYLE))
    return {"file": name, "title": p.name}


def _rests(d: Diagnosis) -> dict[str, Any]:
    return {
        "left_out": list(d.left_out),
        "findings": [
            [
                f"run {f.run}" + ("" if f.from_s is None else f" {clock(f.from_s)}–{clock(f.to_s)}"),
                f"{words(f.kind)}, {', '.join(f.channels)}: {f.text}",
                f"corrected, signed by {f.corrected_by}" if f.corrected_by else f.mend,
            ]
            for f in d.findings
        ],
        "sisters": [[s.engine, s.released_on, "; ".join(s.shares), s.text] for s in d.sisters],
        "basis": [
            ["average engine", d.baseline, d.baseline_sha256],
            ["shares beforehand", d.priors, ""],
            *(
                [
                    f"run {r.run}",
                    f"{r.file}, {r.rows} rows, {cell_name(r.cell)}, limits “{r.limit_set}”",
                    r.sha256,
                ]
                for r in d.runs
            ),
            *(["earlier run", e, ""] for e in d.earlier),
            ["type file", d.type_id, d.type_file_sha256],
            ["result", "the JSON file of this diagnosis", result_hash(d)],
        ],
        "cautions": list(d.cautions),
    }
