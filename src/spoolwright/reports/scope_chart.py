"""Alternatives of a scope as a drawing: money against the chance to pass, or against days."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from spoolwright.reports.drawing import Drawing, Scale, mark_texts, round_marks

_LEFT, _TOP, _RIGHT, _BOTTOM = 62.0, 14.0, 24.0, 44.0
_NEAR = 13.0
_ABOVE, _BELOW, _BESIDE = (0.0, -10.0, "mid"), (0.0, 19.0, "mid"), (10.0, 4.0, "start")


@dataclass(frozen=True)
class Spot:
    """An alternative: where it stands, and its number."""

    x: float
    y: float
    number: str
    signed: bool = False


def scope_chart(
    spots: Sequence[Spot],
    x_name: str,
    y_name: str,
    title: str,
    *,
    width: float = 640.0,
    height: float = 300.0,
) -> str:
    """The drawing as SVG; each spot carries its number, the signed one is filled."""
    d = Drawing(width, height)
    x, y = (
        Scale(*_room([s.x for s in spots]), _LEFT, width - _RIGHT),
        Scale(*_room([s.y for s in spots]), height - _BOTTOM, _TOP),
    )
    _axes(d, x, y, x_name, y_name)
    drawn: list[tuple[float, float]] = []
    for spot in spots:
        at = (x.at(spot.x), y.at(spot.y))
        d.circle(*at, 4.5, "dot" if spot.signed else "hollow")
        crowd = sum(abs(at[0] - a) < _NEAR and abs(at[1] - b) < _NEAR for a, b in drawn)
        dx, dy, where = (_ABOVE, _BELOW, _BESIDE)[crowd % 3]
        d.text(at[0] + dx, at[1] + dy, spot.number, where)
        drawn.append(at)
    return d.svg(title)


def _room(values: Sequence[float]) -> tuple[float, float]:
    low, high = min(values), max(values)
    room = 0.12 * ((high - low) or abs(high) or 1.0)
    return low - room, high + room


def _axes(d: Drawing, x: Scale, y: Scale, x_name: str, y_name: str) -> None:
    d.path(f"M{x.start} {y.end}V{y.start}H{x.end}", "axis")
    marks = round_marks(x.low, x.high, 6)
    for value, text in zip(marks, mark_texts(marks), strict=True):
        d.path(f"M{x.at(value):.1f} {y.start}v4", "axis")
        d.text(x.at(value), y.start + 17, text, "mid")
    marks = round_marks(y.low, y.high, 5)
    for value, text in zip(marks, mark_texts(marks), strict=True):
        d.path(f"M{x.start} {y.at(value):.1f}h-4", "axis")
        d.text(x.start - 8, y.at(value) + 4, text, "end")
    d.text((x.start + x.end) / 2, d.height - 6, x_name, "mid")
    d.text(14, (y.start + y.end) / 2, y_name, "mid", turned=True)
