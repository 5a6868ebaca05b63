"""A diagnosis as one HTML file that needs nothing else."""

from __future__ import annotations

from importlib.resources import files
from pathlib import Path
from typing import Any

from spoolwright.crafts.testcell.diagnosis.model import Diagnosis
from spoolwright.reports import diagnosis_view as view
from spoolwright.reports.diagnosis_charts import panel_svg, panels
from spoolwright.reports.diagnosis_how import OUTSIDE, families, residual_id
from spoolwright.reports.diagnosis_margins import margin_tables
from spoolwright.reports.figures import clock
from spoolwright.reports.html import fonts_css, page
from spoolwright.reports.jsonfile import result_hash, write_text
from spoolwright.reports.labels import cell_name, words


def write_diagnosis_html(diagnosis: Diagnosis, path: Path) -> Path:
    """Write a diagnosis as one HTML file."""
    return write_text(path, diagnosis_html(diagnosis))


def diagnosis_html(d: Diagnosis) -> str:
    """A diagnosis as HTML text."""
    return page("diagnosis.html.j2", _context(d))


def _context(d: Diagnosis) -> dict[str, Any]:
    templates = files("spoolwright.reports") / "templates"
    suspects = view.ranked(d)
    return {
        "d": d,
        "answer": view.answer(d),
        "proposal": view.proposal(d),
        "fit": view.fit(d) if d.residuals else None,
        "how_fit": OUTSIDE,
        "blocks": view.blocks(d),
        "checks": view.checks(d),
        "first_checks": view.FIRST_CHECKS,
        "margins": margin_tables(d),
        "cases": view.cases(d),
        "panels": [(p.name, residual_id(p.output), panel_svg(p)) for p in panels(d)],
        "top": view.explains(d),
        "every": view.every(d),
        "families": families(d),
        "has_pairs": any(s.alone < 0.999 * s.probability for s in suspects),
        "clock": clock,
        "words": words,
        "cell_name": cell_name,
        "result_hash": result_hash(d),
        "css": (templates / "report.css").read_text(),
        "own_css": (templates / "diagnosis.css").read_text(),
        "script": (templates / "report.js").read_text(),
        "fonts_css": fonts_css(),
    }
