"""The take-off margin as a waterfall: what each finding takes from it, what is expected to be left."""

from __future__ import annotations

from dataclasses import dataclass

from spoolwright.crafts.testcell.forecast.model import Forecast, LimitForecast
from spoolwright.crafts.testcell.model import Figure
from spoolwright.reports.drawing import Drawing, Scale, mark_texts, round_marks
from spoolwright.reports.figures import number, unit_text
from spoolwright.reports.forecast_view import pair_of
from spoolwright.units import difference_from_inner

_LEFT, _RIGHT, _ROW = 300.0, 110.0, 30.0


@dataclass(frozen=True)
class Step:
    """A bar: its name, from and to on the margin's axis, the middle 90 % of its end."""

    name: str
    start: float
    end: float
    low: float
    high: float


@dataclass(frozen=True)
class Waterfall:
    """The margin of a limit taken apart."""

    limit: str
    unit: str
    steps: tuple[Step, ...]
    expected: Step
    guard: float

    @property
    def worst(self) -> Step | None:
        """The finding that takes most; none where none takes anything."""
        least = min(self.steps, key=lambda s: s.end - s.start, default=None)
        return least if least is not None and least.end < least.start else None


def waterfall(f: Forecast) -> Waterfall:
    """The power margin at the governing rating, or the governing margin where there is none.

    A step is a finding alone, the margin with it less the margin without it; steps of several findings add up
    only nearly, so the first bar stands where they together would begin.
    """
    wanted = pair_of(f)[0] or f.governing
    limit = next(x for x in f.limits if x.limit == wanted)
    parts = sorted(
        (
            _in_unit(x.change.mean, limit),
            _in_unit(x.change.low, limit),
            _in_unit(x.change.high, limit),
            e.title,
        )
        for e in f.eaten
        for x in e.effects
        if x.limit == wanted
    )
    expected = _in_unit(limit.margin.mean, limit)
    at = expected - sum(p[0] for p in parts)
    steps = []
    for mean, low, high, title in parts:
        steps.append(Step(title, at, at + mean, at + low, at + high))
        at += mean
    low, high = (_in_unit(v, limit) for v in (limit.margin.low, limit.margin.high))
    end = Step("Expected margin", 0.0, expected, low, high)
    unit = unit_text(limit.margin.mean.shown_in)
    return Waterfall(limit.name, unit, tuple(steps), end, _in_unit(limit.guard, limit))


def _in_unit(figure: Figure, limit: LimitForecast) -> float:
    return difference_from_inner(figure.value, limit.margin.mean.shown_in)


def waterfall_svg(w: Waterfall) -> str:
    """The waterfall as SVG, a row for each step, the limit as a line."""
    first = w.steps[0].start if w.steps else w.expected.end
    begin = Step("With every finding at nominal, nearly", 0.0, first, first, first)
    rows = [begin, *w.steps, w.expected]
    d = Drawing(760.0, 34.0 + _ROW * len(rows) + 44.0)
    ends = [v for r in rows for v in (r.start, r.end, r.low, r.high)] + [w.guard]
    room = 0.06 * (max(ends) - min(ends) or 1.0)
    x = Scale(min(ends) - room, max(ends) + room, _LEFT, d.width - _RIGHT)
    bottom = 34.0 + _ROW * len(rows)
    d.path(f"M{x.at(0.0):.1f} 20V{bottom}", "limit")
    d.text(x.at(0.0), 14.0, "limit", "midlimit")
    if w.guard:
        d.path(f"M{x.at(w.guard):.1f} 26V{bottom}", "dash")
    for i, row in enumerate(rows):
        _bar(d, row, x, 34.0 + _ROW * (i + 0.5), whole=i in (0, len(rows) - 1))
    _axis(d, x, bottom, w)
    return d.svg(f"{w.limit}: what eats the margin")


def _bar(d: Drawing, row: Step, x: Scale, y: float, *, whole: bool) -> None:
    a, b = sorted((x.at(row.start), x.at(row.end)))
    d.path(f"M{a:.1f} {y - 8:.1f}H{max(b, a + 1):.1f}V{y + 8:.1f}H{a:.1f}Z", "whole" if whole else "step")
    if row.high > row.low:
        d.path(f"M{x.at(row.low):.1f} {y:.1f}H{x.at(row.high):.1f}", "thick")
        for v in (row.low, row.high):
            d.path(f"M{x.at(v):.1f} {y - 5:.1f}v10", "thick")
    d.text(_LEFT - 12.0, y + 4.0, row.name, "end")
    told = row.end if whole else row.end - row.start
    sign = "+" if not whole and told > 0 else ""
    d.text(d.width - _RIGHT + 12.0, y + 4.0, sign + number(told, 1), "start")


def _axis(d: Drawing, x: Scale, bottom: float, w: Waterfall) -> None:
    d.path(f"M{x.start} {bottom}H{x.end}", "axis")
    marks = round_marks(x.low, x.high, 7)
    for value, text in zip(marks, mark_texts(marks), strict=True):
        d.path(f"M{x.at(value):.1f} {bottom}v4", "axis")
        d.text(x.at(value), bottom + 17, text, "mid")
    d.text((x.start + x.end) / 2, d.height - 6, f"margin [{w.unit}]", "mid")
