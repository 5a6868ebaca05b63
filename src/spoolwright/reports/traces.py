"""Strip charts: the traces of a run over one time axis, with event marks.

On the page a trace is a path in whole steps of its own unit, so that the drawn line is also the data that the
page reads values from. In print it is a path in points.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from spoolwright.crafts.testcell.model import Event, Strip
from spoolwright.reports.drawing import Drawing, Scale, mark_texts, round_marks
from spoolwright.reports.figures import clock, unit_text

TICK = 0.05
"""Step of time on the page [s]."""
_STEPS = 4000
"""A trace's range is drawn in at least this many steps."""
_PRINT_STYLE = (
    'text{font:7px "IBM Plex Sans";fill:#1a1a1a}.end{text-anchor:end}.mid{text-anchor:middle}'
    ".trace{stroke:#1a1a1a;stroke-width:.5;fill:none;stroke-linejoin:round}"
    ".rule{stroke:#c3c8ca;stroke-width:.4}.event{stroke:#8a8f94;stroke-width:.4;stroke-dasharray:1.5 1.5}"
)
_LABELS = 118.0
_ROW, _ALL_ROWS = 45.0, 560.0
"""Height of a strip in print, and of all of them at most [pt]."""
_ROUND_TIMES = (5, 10, 15, 30, 60, 120, 300, 600, 900, 1800, 3600, 7200, 14400)


@dataclass(frozen=True)
class Trace:
    """One strip on the page."""

    name: str
    unit: str
    path: str
    step: float
    places: int
    view: str
    marks: tuple[tuple[str, float], ...]
    """Text and place from the top in percent."""


def trace(strip: Strip, start: float, end: float) -> Trace:
    """A strip as a path in steps, and what its axis shows."""
    low, high = _range(strip)
    places = max(-math.floor(math.log10((high - low) / _STEPS)), 0)
    step = 10.0**-places
    marks = _marks(low, high)
    return Trace(
        name=strip.name,
        unit=unit_text(strip.unit),
        path=_stepped(strip, step),
        step=step,
        places=places,
        view=f"{start / TICK:.0f} {-high / step:.0f} {(end - start) / TICK:.0f} {(high - low) / step:.0f}",
        marks=tuple(
            (text, round(100 * (high - m) / (high - low), 1))
            for m, text in zip(marks, mark_texts(marks), strict=True)
        ),
    )


def _marks(low: float, high: float) -> list[float]:
    """Round values on a strip's axis, not so near its ends that they meet those of the next strip."""
    edge = 0.08 * (high - low)
    return round_marks(low + edge, high - edge, 3)


def _range(strip: Strip) -> tuple[float, float]:
    values = [v for v in strip.values if v is not None and math.isfinite(v)] or [0.0]
    low, high = min(values), max(values)
    room = 0.07 * (high - low) or 0.5 * abs(high) or 1.0
    return low - room, high + room


def _pieces(strip: Strip) -> Iterator[list[tuple[float, float]]]:
    """Unbroken stretches of a trace."""
    piece: list[tuple[float, float]] = []
    for t, v in zip(strip.time_s, strip.values, strict=True):
        if v is None or not math.isfinite(v):
            if piece:
                yield piece
            piece = []
        else:
            piece.append((t, v))
    if piece:
        yield piece


def _stepped(strip: Strip, step: float) -> str:
    """Whole steps, each from the one before; upwards is negative as in every SVG."""
    out = []
    for piece in _pieces(strip):
        x, y = round(piece[0][0] / TICK), round(-piece[0][1] / step)
        out.append(f"M{x} {y}l")
        deltas = []
        for t, v in piece[1:]:
            nx, ny = round(t / TICK), round(-v / step)
            deltas.append(f"{nx - x} {ny - y}")
            x, y = nx, ny
        out.append(" ".join(deltas).replace(" -", "-") or "0 0")
    return "".join(out)


def time_marks(start: float, end: float, most: int = 8) -> list[tuple[str, float]]:
    """Round times on the axis, as clock and place from the left in percent."""
    span = (end - start) or 1.0
    longest = _ROUND_TIMES[-1]
    step = next((s for s in _ROUND_TIMES if span / s <= most), longest * math.ceil(span / most / longest))
    first = math.ceil(start / step)
    return [
        (clock(i * step), round(100 * (i * step - start) / span, 2))
        for i in range(first, math.floor(end / step) + 1)
    ]


def event_marks(events: Sequence[Event], start: float, end: float, apart: float) -> list[tuple[str, float]]:
    """Numbers of the events and their places in percent; those too near the one before have none."""
    span, last, out = (end - start) or 1.0, -math.inf, []
    for index, e in enumerate(events, start=1):
        place = 100 * (e.at_s - start) / span
        if place - last >= apart:
            out.append((str(index), round(place, 2)))
            last = place
    return out


def whole(strips: Sequence[Strip], events: Sequence[Event]) -> tuple[float, float]:
    """First and last moment of a run's drawing."""
    times = [t for s in strips for t in (s.time_s[:1] + s.time_s[-1:])] + [e.at_s for e in events]
    return min(times, default=0.0), max(times, default=1.0)


def print_svg(
    strips: Sequence[Strip], events: Sequence[Event], *, width: float = 494.0, style: str = _PRINT_STYLE
) -> str:
    """All strips of a run stacked over one time axis, for print; without style where a page dresses it."""
    row = min(_ROW, _ALL_ROWS / max(len(strips), 1))
    top, bottom = 12.0, 12.0 + row * len(strips)
    d = Drawing(width, bottom + 24.0, style)
    start, end = whole(strips, events)
    x = Scale(start, end, _LABELS, width - 4.0)
    for e in events:
        d.path(f"M{x.at(e.at_s):.1f} {top}V{bottom:.1f}", "event")
    for text, place in event_marks(events, start, end, 1.9):
        d.text(x.start + (x.end - x.start) * place / 100, top - 3.0, text, "mid")
    for i, strip in enumerate(strips):
        _print_strip(d, strip, x, top + i * row, row)
    for text, place in time_marks(start, end):
        at = x.start + (x.end - x.start) * place / 100
        d.path(f"M{at:.1f} {bottom:.1f}v3", "rule")
        d.text(at, bottom + 10.0, text, "mid")
    d.text((x.start + x.end) / 2, bottom + 20.0, "time from the start of the recording [h:mm:ss]", "mid")
    return d.svg("strip charts")


def _print_strip(d: Drawing, strip: Strip, x: Scale, top: float, height: float) -> None:
    low, high = _range(strip)
    y = Scale(low, high, top + height - 1.0, top + 1.0)
    d.path(f"M{x.start - 2:.1f} {top + height:.1f}H{x.end:.1f}", "rule")
    marks = _marks(low, high)
    for value, text in zip(marks, mark_texts(marks), strict=True):
        d.text(x.start - 4.0, y.at(value) + 2.4, text, "end")
        d.path(f"M{x.start - 2:.1f} {y.at(value):.1f}h2", "rule")
    middle = top + height / 2
    lines = [*_wrapped(strip.name, 24), f"[{unit_text(strip.unit)}]"]
    for i, line in enumerate(lines):
        d.text(0.0, middle + 2.5 + 8.0 * (i - (len(lines) - 1) / 2), line, "name")
    for piece in _pieces(strip):
        d.lines([(x.at(t), y.at(v)) for t, v in piece], "trace")


def _wrapped(name: str, most: int) -> list[str]:
    lines = [""]
    for word in name.split():
        if lines[-1] and len(lines[-1]) + 1 + len(word) > most:
            lines.append(word)
        else:
            lines[-1] = f"{lines[-1]} {word}".strip()
    return lines
