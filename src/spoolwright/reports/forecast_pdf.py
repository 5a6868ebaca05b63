"""A forecast as PDF, set by typst with the shipped font. Values travel as data, never as markup."""

from __future__ import annotations

from dataclasses import asdict
from pathlib import Path
from typing import Any

from spoolwright.crafts.testcell.forecast.model import Forecast, FoundRow, RuleRow
from spoolwright.errors import OutputError
from spoolwright.reports.figures import Shown
from spoolwright.reports.forecast_html import factor_cells, plusminus, signed
from spoolwright.reports.forecast_view import (
    MARK,
    MOST_OPTIONS,
    EatenRow,
    LimitRow,
    OptionRow,
    Spread,
    eaten_rows,
    limit_rows,
    option_rows,
    pair_words,
    share_rows,
)
from spoolwright.reports.jsonfile import write_bytes
from spoolwright.reports.pdf import set_print


def write_pdf(forecast: Forecast, path: Path) -> Path:
    """Write a forecast as PDF."""
    try:
        data = set_print("forecast.typ", lambda _: _data(forecast))
    except OSError as error:
        told = f"the print cannot be set: {error.strerror}."
        raise OutputError(told, where=str(path), mend="Make room for temporary files.") from error
    return write_bytes(path, data)


def _data(f: Forecast) -> dict[str, Any]:
    return {
        **_head(f),
        "limits": [_limit(r) for r in limit_rows(f)],
        "heads": list(pair_words(f)),
        "eaten": [_eaten(r) for r in eaten_rows(f)],
        "options": [_option(r) for r in option_rows(f)[:MOST_OPTIONS]],
        "shares": [list(s) for s in share_rows(f)],
        "built": [_built(r) for r in f.findings],
        "notes": list(f.notes),
        "factors": [list(factor_cells(r)) for r in f.factors],
        "rules": [_rule(r) for r in f.rules],
    }


def _limit(r: LimitRow) -> dict[str, Any]:
    return {
        "name": r.name,
        "source": r.limit.source,
        "mark": r.outcome,
        "word": r.word,
        "value": [f"{r.bound} {r.value}", f"guard band {r.guard}" if r.guard else ""],
        "reading": _two(r.reading),
        "margin": _two(r.margin),
        "drawn": asdict(r.drawn),
        "passing": r.passing,
    }


def _eaten(r: EatenRow) -> dict[str, Any]:
    return {
        **{k: getattr(r, k) for k in ("title", "as_built", "nominal", "words")},
        "power": _two(r.power),
        "temperature": _two(r.temperature),
        "drawn": asdict(r.drawn),
    }


def _option(r: OptionRow) -> dict[str, Any]:
    return {
        **{k: getattr(r, k) for k in ("title", "worst", "passing", "gain")},
        "power": _two(r.power),
        "temperature": _two(r.temperature),
        "cost": r.cost or "–",
    }


def _built(r: FoundRow) -> list[str]:
    excess = str(Shown(signed(r.excess, r.excess_uncertainty), r.excess_unit))
    return [r.title, r.as_built, r.nominal, r.uncertainty, excess, r.note]


def _head(f: Forecast) -> dict[str, Any]:
    visit = f"visit {f.visit} · " if f.visit else ""
    options, eaten = option_rows(f), eaten_rows(f)
    gains = any(o.gain > 0.0 for o in f.options) and f.outcome != "cannot_tell"
    best = options[0] if gains else None
    worst = eaten[0] if eaten and eaten[0].words == "takes" else None
    takes = (worst.power or worst.temperature) if worst else None
    return {
        "title": f"{f.type_name}, serial {f.engine_serial}",
        "line": f"{visit}limits “{f.limit_set}” · {f.cell}",
        "foot": f"{f.sheet_file} · {f.sheet_sha256[:16]} · prepared {f.prepared_on} · seed {f.seed}",
        "demonstration": f.demonstration,
        "mark": MARK[f.outcome],
        "answer": f.answer,
        "reasons": list(f.reasons),
        "best": f"{best.title}. The probability of passing becomes {best.passing} ({best.gain})."
        if best
        else "",
        "worst": f"{worst.title}, {worst.as_built} against {worst.nominal}: {takes.text}."
        if worst and takes
        else "",
        "cautions": " ".join(f.cautions),
    }


def _two(s: Spread | None) -> list[str]:
    """A range as two lines: mean with its unit, and the middle 90 %."""
    return ["–", ""] if s is None else [f"{s.mean} {s.unit}".rstrip(), f"{s.low} to {s.high}"]


def _rule(r: RuleRow) -> list[str]:
    stage = f"stage {r.stage}" if r.stage else ""
    outside = "finding outside the rule's range: uncertainty widened" if r.outside else ""
    return [
        r.text[:1].upper() + r.text[1:],
        "; ".join(filter(None, (stage, outside))),
        plusminus(r.mean, r.standard_deviation),
        r.unit,
        plusminus(r.prior_mean, r.prior_standard_deviation),
        r.source,
    ]
