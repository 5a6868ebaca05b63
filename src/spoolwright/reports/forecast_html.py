"""A forecast as one HTML file that needs nothing else."""

from __future__ import annotations

from importlib.resources import files
from pathlib import Path
from typing import Any

from spoolwright.crafts.testcell.forecast.model import FactorRow, Forecast
from spoolwright.reports.figures import number
from spoolwright.reports.forecast_view import (
    MARK,
    eaten_rows,
    limit_rows,
    open_limits,
    option_rows,
    pair_words,
    share_rows,
)
from spoolwright.reports.html import fonts_css, page
from spoolwright.reports.jsonfile import write_text

_TINY = 5e-7


def write_html(forecast: Forecast, path: Path) -> Path:
    """Write a forecast as one HTML file."""
    return write_text(path, forecast_html(forecast))


def forecast_html(f: Forecast) -> str:
    """A forecast as HTML text."""
    return page("forecast.html.j2", _context(f))


def _context(f: Forecast) -> dict[str, Any]:
    options, eaten = option_rows(f), eaten_rows(f)
    gains = [o for o in f.options if o.gain > 0.0]
    templates = files("spoolwright.reports") / "templates"
    return {
        "f": f,
        "edge": f.outcome if f.outcome != "likely" else "all_meet",
        "mark_of": MARK,
        "best": options[0] if gains and f.outcome != "cannot_tell" else None,
        "worst": eaten[0] if eaten and eaten[0].words == "takes" else None,
        "limits": limit_rows(f),
        "open_limits": open_limits(limit_rows(f)),
        "eaten": eaten,
        "how_of": {e.title: e.effects[0].change.mean.how for e in f.eaten},
        "options": options,
        "heads": pair_words(f),
        "governing": next(x.name for x in f.limits if x.limit == f.governing),
        "shares": share_rows(f),
        "factors": [factor_cells(r) for r in f.factors],
        "rules": f.rules,
        "signed": signed,
        "plusminus": plusminus,
        "entered": entered,
        "css": (templates / "report.css").read_text(),
        "own_css": (templates / "forecast.css").read_text(),
        "fonts_css": fonts_css(),
    }


def factor_cells(r: FactorRow) -> tuple[str, str, str, str, str]:
    """A condition factor as text, changes in per cent or degrees."""
    times, unit = (1.0, "°") if r.unit == "deg" else (100.0, " %")
    name = r.factor.replace("_", " ")
    told = [f"{number(times * x, 2)}{unit}" for x in (r.mean, r.standard_deviation, r.by_findings)]
    sign = "+" if times * r.mean > 0.005 else ""
    return name[:1].upper() + name[1:], r.module, sign + told[0], told[1], told[2]


def signed(value: float, uncertainty: float) -> str:
    """An excess with its sign and its standard uncertainty."""
    places = 2 if uncertainty < 2.0 else 1
    sign = "+" if value > _TINY else ""
    return f"{sign}{number(value, places)} ± {number(uncertainty, places)}"


def plusminus(value: float, deviation: float) -> str:
    """A coefficient with its standard deviation, in the digits that this earns."""
    places = 2 if deviation >= 0.02 else 4
    return f"{number(value, places)} ± {number(deviation, places)}"


def entered(value: float | str) -> str:
    """An input of a derivation."""
    return value if isinstance(value, str) else f"{value:.6g}".replace("-", "−")
