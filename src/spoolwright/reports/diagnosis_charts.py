"""Residuals of every output over the points: what was seen, how sure, and what the top cause explains."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from spoolwright.core.diagnosis.observation import ADDITIVE
from spoolwright.crafts.testcell.diagnosis.model import Diagnosis, Residual
from spoolwright.reports.drawing import CHARACTER, Drawing, Scale, mark_texts, round_marks

_DEGREES: Final = 57.29577951308232
_LEFT, _RIGHT, _TOP, _BOTTOM = 44.0, 8.0, 10.0, 34.0
_ASIDE: Final = 5.0
"""How far what is explained stands beside what was seen."""
PRINT_STYLE: Final = (
    'text{font:9px "IBM Plex Sans";fill:#1a1a1a}.mid{text-anchor:middle}.end{text-anchor:end}'
    ".axis{stroke:#1a1a1a;stroke-width:.8;fill:none}.zero{stroke:#8a8f94;stroke-width:.8;fill:none}"
    ".bar{stroke:#1a1a1a;stroke-width:1;fill:none}.dot{fill:#1a1a1a;stroke:#1a1a1a}"
    ".explains{stroke:#1a1a1a;stroke-width:.8;stroke-dasharray:3 2;fill:none}"
    ".hollow{fill:#fff;stroke:#1a1a1a}"
)


@dataclass(frozen=True)
class Panel:
    """One output over the points."""

    output: str
    name: str
    rows: tuple[Residual, ...]
    is_explained: bool
    """Whether a cause is drawn beside what was seen."""

    @property
    def title(self) -> str:
        """Its name with what the drawing shows."""
        return f"{self.name}: difference from the average engine"


def scale_of(output: str) -> tuple[float, str]:
    """Factor and unit in which an output's residuals are told."""
    return (_DEGREES, "°") if output in ADDITIVE else (100.0, "%")


def panels(d: Diagnosis) -> list[Panel]:
    """A panel for every output, in the diagnosis's order."""
    found: dict[str, list[Residual]] = {}
    for r in d.residuals:
        found.setdefault(r.output, []).append(r)
    is_explained = any(r.explained for r in d.residuals)
    return [Panel(output, rows[0].name, tuple(rows), is_explained) for output, rows in found.items()]


def panel_svg(panel: Panel, *, width: float = 330.0, height: float = 190.0, style: str = "") -> str:
    """A panel as SVG; `style` is given for print, where no page dresses it."""
    d = Drawing(width, height, style)
    factor, unit = scale_of(panel.output)
    y = Scale(*_extent(panel.rows, factor), height - _BOTTOM, _TOP)
    x = Scale(-0.5, len(panel.rows) - 0.5, _LEFT, width - _RIGHT)
    _axes(d, x, y, [r.point for r in panel.rows], unit)
    told = panel.rows if panel.is_explained else ()
    hollow = [(x.at(i) + _ASIDE, y.at(factor * r.explained)) for i, r in enumerate(told)]
    d.lines(hollow, "explains")
    for i, r in enumerate(panel.rows):
        _seen(d, x.at(i) - _ASIDE, y, factor * r.value, 2.0 * factor * r.standard_uncertainty)
    for place in hollow:
        d.circle(*place, 3.2, "hollow")
    return d.svg(panel.title)


def _extent(rows: Sequence[Residual], factor: float) -> tuple[float, float]:
    ends = [factor * (r.value + side * r.standard_uncertainty) for r in rows for side in (-2.0, 2.0)]
    ends += [0.0, *(factor * r.explained for r in rows)]
    room = 0.06 * ((max(ends) - min(ends)) or 1.0)
    return min(ends) - room, max(ends) + room


def _axes(d: Drawing, x: Scale, y: Scale, points: Sequence[str], unit: str) -> None:
    d.path(f"M{x.start} {y.at(0.0):.1f}H{x.end}", "zero")
    d.path(f"M{x.start} {y.end}V{y.start}H{x.end}", "axis")
    marks = round_marks(y.low, y.high, 5)
    for value, text in zip(marks, mark_texts(marks), strict=True):
        d.path(f"M{x.start} {y.at(value):.1f}h-4", "axis")
        signed = f"+{text}" if value > 0 and text.strip("0.") else text
        d.text(x.start - 7, y.at(value) + 3.5, signed, "end")
    longest = max(len(p) for p in points)
    every = max(1, -(-int(longest * 10.5 * CHARACTER + 8) * len(points) // int(x.end - x.start)))
    for i, point in enumerate(points):
        if i % every == 0:
            d.text(x.at(i), y.start + 14, point, "mid")
    d.text((x.start + x.end) / 2, d.height - 4, "point", "mid")
    d.text(11, (y.start + y.end) / 2, f"difference [{unit}]", "mid", turned=True)


def _seen(d: Drawing, at: float, y: Scale, value: float, half: float) -> None:
    low, high = y.at(value - half), y.at(value + half)
    d.path(f"M{at - 3:.1f} {low:.1f}h6M{at:.1f} {low:.1f}V{high:.1f}M{at - 3:.1f} {high:.1f}h6", "bar")
    d.circle(at, y.at(value), 3.2, "dot")
