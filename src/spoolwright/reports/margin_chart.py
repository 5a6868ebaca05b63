"""Margins over hours or days as a drawing: each point opens its record, the limit is the line at zero."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from xml.sax.saxutils import quoteattr

from spoolwright.reports.drawing import Drawing, Scale, mark_texts, round_marks

_LEFT, _TOP, _RIGHT, _BOTTOM = 58.0, 12.0, 16.0, 42.0
_TOUCH = 22.0
MOST_TOUCHED = 80
"""With more points than this, touch areas would cover each other."""


@dataclass(frozen=True)
class Dot:
    """A margin with the half width of its 95 % interval; hollow where it is left out of the trend."""

    x: float
    y: float
    half: float
    label: str
    link: str
    used: bool = True


@dataclass(frozen=True)
class Axis:
    """Name, range and marks of the horizontal axis; marks are round numbers where none are given."""

    name: str
    low: float
    high: float
    marks: tuple[tuple[float, str], ...] = ()


def margin_chart(
    dots: Sequence[Dot],
    axis: Axis,
    title: str,
    *,
    line: Sequence[tuple[float, float, float]] = (),
    zero_word: str = "zero margin",
    width: float = 920.0,
    height: float = 340.0,
) -> str:
    """The drawing as SVG; `line` is a fitted line with its half width."""
    d = Drawing(width, height)
    x = Scale(axis.low, axis.high, _LEFT, width - _RIGHT)
    low, high = _span(dots, line)
    y = Scale(low, high, height - _BOTTOM, _TOP)
    _axes(d, x, y, axis)
    if line:
        upper = [(x.at(a), y.at(b + h)) for a, b, h in line]
        lower = [(x.at(a), y.at(b - h)) for a, b, h in reversed(line)]
        d.lines([*upper, *lower], "band", close=True)
        d.lines([(x.at(a), y.at(b)) for a, b, _ in line], "fit")
    d.path(f"M{x.start} {y.at(0.0):.1f}H{x.end}", "limit")
    d.text(x.end, y.at(0.0) - 5, zero_word, "end limit-word")
    for dot in dots:
        _dot(d, dot, x.at(dot.x), y, touched=len(dots) <= MOST_TOUCHED)
    return d.svg(title).replace('role="img"', 'role="group"', 1)  # it holds links


def _span(dots: Sequence[Dot], line: Sequence[tuple[float, float, float]]) -> tuple[float, float]:
    ends = [p.y + s * p.half for p in dots for s in (-1, 1)] + [
        b + s * h for _, b, h in line for s in (-1, 1)
    ]
    low, high = min([0.0, *ends]), max([0.0, *ends])
    room = 0.06 * ((high - low) or 1.0)
    return low - room, high + room


def _axes(d: Drawing, x: Scale, y: Scale, axis: Axis) -> None:
    d.path(f"M{x.start} {y.end}V{y.start}H{x.end}", "axis")
    marks = round_marks(axis.low, axis.high, 8)
    for value, text in axis.marks or tuple(zip(marks, mark_texts(marks), strict=True)):
        d.path(f"M{x.at(value):.1f} {y.start}v4", "axis")
        d.text(x.at(value), y.start + 16, text, "mid")
    levels = round_marks(y.low, y.high, 7)
    for value, text in zip(levels, mark_texts(levels), strict=True):
        d.path(f"M{x.start} {y.at(value):.1f}h-4", "axis")
        d.text(x.start - 8, y.at(value) + 4, text, "end")
    d.text((x.start + x.end) / 2, d.height - 6, axis.name, "mid")
    d.text(13, (y.start + y.end) / 2, "margin of power [%]", "mid", turned=True)


def _dot(d: Drawing, dot: Dot, at: float, y: Scale, *, touched: bool) -> None:
    d.parts.append(f"<a href={quoteattr(dot.link)} aria-label={quoteattr(dot.label)}>")
    if touched:
        d.circle(at, y.at(dot.y), _TOUCH, "reach")
    if dot.half > 0.0:
        d.path(f"M{at:.1f} {y.at(dot.y - dot.half):.1f}V{y.at(dot.y + dot.half):.1f}", "bar")
    d.circle(at, y.at(dot.y), 3.6, "dot" if dot.used else "hollow")
    d.parts.append("</a>")
