"""Plain line drawing in SVG: scales with round marks, and labels that keep out of each other's way.

Lines and words carry class names, no colours: the page's style sheet or the print's own style dresses them,
so one drawing serves light, dark and paper.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from itertools import pairwise
from xml.sax.saxutils import escape

from spoolwright.reports.figures import number, printable

CHARACTER = 0.56
"""Width of a character of the shipped font, in parts of its size; digits are 0.6, small letters less."""

Box = tuple[float, float, float, float]


def round_marks(low: float, high: float, most: int) -> list[float]:
    """At most `most` round values between two ends."""
    span = high - low
    if not span > 0.0 or not math.isfinite(span):
        return [low]
    for step in _round_steps(span / most):
        first, last = math.ceil(low / step - 1e-9), math.floor(high / step + 1e-9)
        if last - first + 1 <= most:
            return [i * step for i in range(first, last + 1)]
    return []


def _round_steps(least: float) -> Iterable[float]:
    power = 10.0 ** math.floor(math.log10(least))
    for decade in range(4):
        for factor in (1.0, 2.0, 5.0):
            yield factor * power * 10.0**decade


def mark_texts(marks: Sequence[float]) -> list[str]:
    """Marks as numbers, all with as many decimals as their step needs."""
    step = min((b - a for a, b in pairwise(marks)), default=abs(marks[0]) if marks else 1)
    places = max(0, -math.floor(math.log10(step) + 1e-9)) if step else 0
    return [number(m, places) for m in marks]


@dataclass(frozen=True)
class Scale:
    """Values along an axis to places on the drawing."""

    low: float
    high: float
    start: float
    end: float

    def at(self, value: float) -> float:
        """Place of a value."""
        return self.start + (value - self.low) / ((self.high - self.low) or 1.0) * (self.end - self.start)


@dataclass
class Drawing:
    """An SVG drawing in the making."""

    width: float
    height: float
    style: str = ""
    """Style sheet inside the drawing, for print."""
    parts: list[str] = field(default_factory=list)

    def path(self, d: str, name: str) -> None:
        """A path."""
        self.parts.append(f'<path class="{name}" d="{d}"/>')

    def lines(self, points: Sequence[tuple[float, float]], name: str, *, close: bool = False) -> None:
        """A line through points."""
        if points:
            body = "L".join(f"{x:.1f} {y:.1f}" for x, y in points)
            self.path(f"M{body}{'Z' if close else ''}", name)

    def circle(self, x: float, y: float, r: float, name: str) -> None:
        """A circle."""
        self.parts.append(f'<circle class="{name}" cx="{x:.1f}" cy="{y:.1f}" r="{r}"/>')

    def text(self, x: float, y: float, words: str, name: str, *, turned: bool = False) -> None:
        """Words at a place; `turned` reads upwards."""
        turn = f' transform="rotate(-90 {x:.1f} {y:.1f})"' if turned else ""
        self.parts.append(
            f'<text class="{name}" x="{x:.1f}" y="{y:.1f}"{turn}>{escape(printable(words))}</text>'
        )

    def svg(self, title: str) -> str:
        """The whole drawing."""
        style = f"<style>{self.style}</style>" if self.style else ""
        box = f"0 0 {self.width:g} {self.height:g}"
        return (
            f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="{box}" role="img">'
            f"<title>{escape(printable(title))}</title>{style}{''.join(self.parts)}</svg>"
        )


@dataclass
class Room:
    """What is taken on a drawing, to find free places for labels."""

    frame: Box
    size: float
    taken: list[Box] = field(default_factory=list)

    def take_line(self, points: Sequence[tuple[float, float]], reach: float = 1.5) -> None:
        """Keep a line free: small boxes along it."""
        for (x0, y0), (x1, y1) in pairwise(points):
            many = max(1, int(math.hypot(x1 - x0, y1 - y0) / 4.0))
            for i in range(many + 1):
                x, y = x0 + (x1 - x0) * i / many, y0 + (y1 - y0) * i / many
                self.taken.append((x - reach, y - reach, x + reach, y + reach))

    def place(self, words: str, spots: Iterable[tuple[float, float, float, float]]) -> Box | None:
        """The first free box for words among spots (x, y, and which way the words lie from there).

        Each spot is x, y, and the shift in parts of the words' width and height. None when all are taken.
        """
        width, height = len(words) * self.size * CHARACTER, self.size
        for x, y, across, down in spots:
            left, top = x + across * width, y + down * height
            box = (left, top, left + width, top + height)
            if self._inside(box) and not any(_meet(box, other) for other in self.taken):
                self.taken.append(box)
                return box
        return None

    def _inside(self, box: Box) -> bool:
        f = self.frame
        return box[0] >= f[0] and box[1] >= f[1] and box[2] <= f[2] and box[3] <= f[3]


def _meet(a: Box, b: Box) -> bool:
    return a[0] < b[2] and b[0] < a[2] and a[1] < b[3] and b[1] < a[3]
