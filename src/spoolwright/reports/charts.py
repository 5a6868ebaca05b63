"""Still pictures of a report as SVG: performance curves and strip charts. Black and white legible."""

from __future__ import annotations

import io
import re
from collections.abc import Sequence
from functools import cache
from importlib.resources import as_file, files
from typing import Any

from spoolwright.crafts.testcell.model import Curve, Event, Strip
from spoolwright.reports.figures import unit_text
from spoolwright.units import from_inner

INK = "#1a1a1a"
QUIET = "#8a8f94"
BAND = "#d9dee1"
LIMIT = "#b3261e"
TOUCH = "#0b5563"

SHOWN_UNIT = {
    "W": "kW",
    "K": "degC",
    "rpm": "rpm",
    "kg/s": "kg/h",
    "kg/J": "kg/kWh",
    "N m": "N m",
    "Pa": "kPa",
    "m/s": "mm/s",
    "1": "%",
}
"""Unit in which an inner unit is drawn when the type file names none."""


@cache
def _pyplot() -> Any:
    """matplotlib with the shipped font and our quiet style."""
    import matplotlib

    matplotlib.use("svg")
    from matplotlib import font_manager, pyplot

    for name in ("IBMPlexSans-Regular.ttf", "IBMPlexSans-Bold.ttf"):
        with as_file(files("spoolwright") / "assets" / "fonts" / name) as path:
            font_manager.fontManager.addfont(str(path))
    matplotlib.rcParams.update(
        {
            "font.family": "IBM Plex Sans",
            "font.size": 8,
            "axes.edgecolor": INK,
            "axes.linewidth": 0.6,
            "axes.spines.top": False,
            "axes.spines.right": False,
            "xtick.color": INK,
            "ytick.color": INK,
            "xtick.major.width": 0.6,
            "ytick.major.width": 0.6,
            "svg.fonttype": "path",
            "svg.hashsalt": "spoolwright",
            "path.simplify": True,
        }
    )
    return pyplot


def _svg(figure: Any) -> str:
    out = io.StringIO()
    figure.savefig(out, format="svg", metadata={"Date": None})
    _pyplot().close(figure)
    text = out.getvalue()
    return re.sub(r"<metadata>.*?</metadata>", "", text[text.index("<svg") :], flags=re.DOTALL)


def curve_svg(curve: Curve, x_name: str, y_name: str, *, width: float = 4.6, height: float = 3.0) -> str:
    """A performance curve with its points, its interval and the limit lines, labelled on the line."""
    plt = _pyplot()
    figure, axes = plt.subplots(figsize=(width, height), layout="constrained")
    xu, yu = SHOWN_UNIT.get(curve.x_unit, curve.x_unit), SHOWN_UNIT.get(curve.y_unit, curve.y_unit)
    x = [from_inner(v, xu) for v in curve.x]
    if x:
        low, high = ([from_inner(v, yu) for v in side] for side in (curve.low, curve.high))
        axes.fill_between(x, low, high, color=BAND, linewidth=0)
        axes.plot(x, [from_inner(v, yu) for v in curve.y], color=INK, linewidth=1.1)
    _points(axes, curve, xu, yu)
    _limit_lines(axes, curve, xu, yu)
    axes.set_xlabel(f"{x_name} [{unit_text(xu)}]")
    axes.set_ylabel(f"{y_name} [{unit_text(yu)}]")
    return _svg(figure)


def _points(axes: Any, curve: Curve, xu: str, yu: str) -> None:
    for p in curve.points:
        xs, ys = from_inner(p.x, xu), from_inner(p.y, yu)
        ex = 2 * abs(from_inner(p.x + p.ux, xu) - xs)
        ey = 2 * abs(from_inner(p.y + p.uy, yu) - ys)
        face = INK if p.used else "white"
        axes.errorbar(
            xs, ys, xerr=ex, yerr=ey, fmt="o", color=INK, markerfacecolor=face, markersize=4, elinewidth=0.7
        )
        axes.annotate(p.point, (xs, ys), xytext=(5, -8), textcoords="offset points", fontsize=6.5, color=INK)


def _limit_lines(axes: Any, curve: Curve, xu: str, yu: str) -> None:
    for label, x0, y0, x1, y1 in curve.limit_lines:
        ends_x, ends_y = [from_inner(v, xu) for v in (x0, x1)], [from_inner(v, yu) for v in (y0, y1)]
        axes.plot(ends_x, ends_y, color=LIMIT, linewidth=1.2, linestyle=(0, (6, 2)))
        axes.annotate(
            label,
            (ends_x[1], ends_y[1]),
            xytext=(-2, 3),
            textcoords="offset points",
            fontsize=6.5,
            color=LIMIT,
            ha="right",
        )


def strips_svg(strips: Sequence[Strip], events: Sequence[Event], *, width: float = 7.2) -> str:
    """Traces of one run stacked over one time axis, with event marks."""
    plt = _pyplot()
    figure, rows = plt.subplots(
        len(strips),
        1,
        sharex=True,
        figsize=(width, 0.35 + 0.78 * len(strips)),
        layout="constrained",
        squeeze=False,
    )
    for axes, strip in zip(rows[:, 0], strips, strict=True):
        minutes = [t / 60 for t in strip.time_s]
        values = [float("nan") if v is None else v for v in strip.values]
        axes.plot(minutes, values, color=INK, linewidth=0.6)
        axes.set_ylabel(
            f"{strip.name}\n[{unit_text(strip.unit)}]", rotation=0, ha="right", va="center", fontsize=7
        )
        axes.locator_params(axis="y", nbins=3)
        axes.tick_params(labelsize=6.5)
        for event in events:
            axes.axvline(event.at_s / 60, color=QUIET, linewidth=0.4, linestyle=(0, (2, 2)))
    _event_marks(rows[0, 0], events)
    rows[-1, 0].set_xlabel("minutes from the start of the recording")
    return _svg(figure)


def _event_marks(axes: Any, events: Sequence[Event]) -> None:
    """Number the events above the uppermost trace; the table beside the chart tells what each is."""
    last = float("-inf")
    span = axes.get_xlim()[1] - axes.get_xlim()[0] or 1.0
    for index, event in enumerate(events, start=1):
        at = event.at_s / 60
        if (at - last) / span < 0.018:
            continue
        last = at
        axes.annotate(
            str(index),
            (at, 1.0),
            xycoords=("data", "axes fraction"),
            xytext=(0, 2),
            textcoords="offset points",
            ha="center",
            fontsize=6,
            color=INK,
        )
