"""The report as one HTML file that needs nothing else: style, font, script and data are inside."""

from __future__ import annotations

import base64
import json
from importlib.resources import files
from pathlib import Path
from typing import Any

from spoolwright.crafts.testcell.model import Assessment, Input, Strip
from spoolwright.reports import view
from spoolwright.reports.charts import curve_svg
from spoolwright.reports.figures import clock, number, percent, shown, unit_text
from spoolwright.reports.jsonfile import write_text

AXIS = {
    "power": "corrected power",
    "measured_gas_temperature": "corrected MGT",
    "gas_generator_speed": "corrected Ng",
    "fuel_flow": "corrected fuel flow",
    "specific_fuel_consumption": "specific fuel consumption",
}


def write_html(assessment: Assessment, strips: tuple[Strip, ...], path: Path) -> Path:
    """Write the report as one HTML file."""
    return write_text(path, report_html(assessment, strips))


def report_html(assessment: Assessment, strips: tuple[Strip, ...]) -> str:
    """The report as HTML text. Everything that came from outside is escaped."""
    from jinja2 import Environment, PackageLoader, StrictUndefined

    environment = Environment(
        loader=PackageLoader("spoolwright.reports"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    return environment.get_template("report.html.j2").render(**_context(assessment, strips))


def _context(a: Assessment, strips: tuple[Strip, ...]) -> dict[str, Any]:
    vendor = files("spoolwright") / "assets" / "vendor" / "uplot"
    templates = files("spoolwright.reports") / "templates"
    return {
        "a": a,
        "todo": [v for v in view.ranked(a.verdicts) if v.outcome != "meets"],
        "groups": view.groups(a.verdicts),
        "runs": [
            {"ref": r, "strips": len(view.strips_of(r.run, strips)), "events": view.events_of(r.run, a)}
            for r in a.runs
        ],
        "curves": [_curve(c) for c in a.curves],
        "derivations": list(a.derivations.values()),
        "known": {d.id: d.title for d in a.derivations.values()},
        "outcome_word": view.OUTCOME,
        "quantity": view.QUANTITY,
        "rated_name": view.RATED,
        "shown": shown,
        "percent": percent,
        "clock": clock,
        "plain": plain,
        "strip_json": _for_script(_strip_data(a, strips)),
        "css": (templates / "report.css").read_text(),
        "script": (templates / "report.js").read_text(),
        "fonts_css": _fonts(),
        "uplot_css": (vendor / "uPlot.min.css").read_text(),
        "uplot_js": (vendor / "uPlot.iife.min.js").read_text(),
    }


def _curve(curve: Any) -> dict[str, str]:
    x_name = AXIS.get(curve.x_quantity, curve.x_quantity)
    y_name = AXIS.get(curve.y_quantity, curve.y_quantity)
    return {"title": curve.title, "svg": curve_svg(curve, x_name, y_name)}


def plain(item: Input) -> str:
    """An input's value with its unit."""
    if isinstance(item.value, str):
        return item.value
    magnitude = abs(item.value)
    if magnitude and (magnitude >= 1e7 or magnitude < 1e-4):
        text = f"{item.value:.6g}"
    else:
        text = number(item.value, max(0, 6 - len(str(int(magnitude))))).rstrip("0").rstrip(".") or "0"
    return f"{text} {unit_text(item.unit)}".rstrip()


def _strip_data(a: Assessment, strips: tuple[Strip, ...]) -> dict[str, Any]:
    return {
        r.run: {
            "events": [{"at": e.at_s, "text": e.text} for e in view.events_of(r.run, a)],
            "strips": [
                {"name": s.name, "unit": unit_text(s.unit), "x": list(s.time_s), "y": list(s.values)}
                for s in view.strips_of(r.run, strips)
            ],
        }
        for r in a.runs
    }


def _for_script(data: object) -> str:
    """JSON that cannot end the script element it stands in."""
    return json.dumps(data, allow_nan=False, separators=(",", ":")).replace("<", "\\u003c")


def _fonts() -> str:
    rules = []
    for name, weight in (("Regular", 400), ("Bold", 700)):
        data = (files("spoolwright") / "assets" / "fonts" / f"IBMPlexSans-{name}.woff2").read_bytes()
        encoded = base64.b64encode(data).decode()
        rules.append(
            f'@font-face{{font-family:"Plex";font-weight:{weight};'
            f'src:url(data:font/woff2;base64,{encoded}) format("woff2")}}'
        )
    return "".join(rules)
