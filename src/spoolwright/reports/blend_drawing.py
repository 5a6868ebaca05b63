"""A blend drawn to scale: the blade with what is removed hatched, the place enlarged, the section there."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from spoolwright.crafts.inspection.airfoil import Cut, Shape, outline, shape_at
from spoolwright.crafts.typefile.shop.inspection import Airfoil
from spoolwright.reports.drawing import Drawing

Point = tuple[float, float]
_BARS = (0.2, 0.5, 1.0, 2.0, 5.0, 10.0, 20.0, 50.0)
_HEIGHT, _TOP = 346.0, 50.0
_FREE = _HEIGHT - _TOP - 40.0


@dataclass(frozen=True)
class BlendDrawn:
    """What is drawn of a blend: airfoil, cut, damage [mm], where the fillet ends along the span [mm]."""

    airfoil: Airfoil
    cut: Cut
    damage_depth: float
    damage_length: float
    fillet: float | None
    others: tuple[Cut, ...] = ()


def blend_svg(b: BlendDrawn, title: str) -> str:
    """The drawing as SVG: planform, detail, section, each with its scale."""
    d = Drawing(760.0, _HEIGHT)
    _planform(d, b)
    _detail(d, b)
    _section(d, b)
    return d.svg(title)


def _planform(d: Drawing, b: BlendDrawn) -> None:
    """The whole blade, leading edge left; only lengths along chord and span are true."""
    a = b.airfoil
    widest = max(s.chord_mm for s in a.section)
    k = min(_FREE / a.span_mm, 150.0 / widest)
    base, middle = _TOP + _FREE, 120.0

    def at(along: float, span: float) -> Point:
        chord = shape_at(a, span / a.span_mm).chord * 1e3
        return middle + k * (along - 0.5 * chord), base - k * span

    spans = np.linspace(0.0, a.span_mm, 41)
    chords = [shape_at(a, float(s) / a.span_mm).chord * 1e3 for s in spans]
    left = [at(0.0, float(s)) for s in spans]
    right = [at(c, float(s)) for c, s in zip(chords, spans, strict=True)]
    d.lines([*left, *reversed(right)], "ink", close=True)
    d.path(f"M{middle - 92:.1f} {base:.1f}H{middle + 92:.1f}", "thick")
    if b.fillet is not None:
        (x0, y), (x1, _) = at(0.0, b.fillet), at(shape_at(a, b.fillet / a.span_mm).chord * 1e3, b.fillet)
        d.path(f"M{x0 - 8:.1f} {y:.1f}H{x1 + 8:.1f}", "dash")
        d.text(x1 + 12, y + 4, "fillet", "small")
    for cut in (b.cut, *b.others):
        _hatched(d, _edge(cut, a, at), "cut" if cut is b.cut else "earlier")
    _place(d, b, at, base)
    _titled(d, middle, "Blade", k)
    d.text(middle - 88, base + 20, "leading edge", "start")
    d.text(middle + 88, base + 20, "trailing edge", "end")


def _place(d: Drawing, b: BlendDrawn, at: object, base: float) -> None:
    """Dimension from the platform, and the chord there."""
    s = b.cut.position * 1e3
    chord = shape_at(b.airfoil, s / b.airfoil.span_mm).chord * 1e3
    (x0, y), (x1, _) = at(0.0, s), at(chord, s)  # type: ignore[operator]
    side = 16.0 if b.cut.leading else 224.0
    d.path(f"M{x0:.1f} {y:.1f}H{x1:.1f}", "centre")
    _arrowed(d, (side, base), (side, y))
    d.text(side - 4 if b.cut.leading else side + 12, (base + y) / 2, f"{s:g} mm", "midsmall", turned=True)
    d.text((x0 + x1) / 2, y - 5, f"chord {chord:.2f}", "midsmall")


def _edge(cut: Cut, airfoil: Airfoil, at: object) -> list[Point]:
    """The removed segment: along the edge, back along the arc."""
    spans = cut.position * 1e3 + np.linspace(-0.5, 0.5, 25) * cut.length * 1e3
    edge, arc = [], []
    for s in spans:
        depth = cut.depth_at(float(s) * 1e-3) * 1e3
        chord = shape_at(airfoil, float(s) / airfoil.span_mm).chord * 1e3
        along = (0.0, depth) if cut.leading else (chord, chord - depth)
        edge.append(at(along[0], float(s)))  # type: ignore[operator]
        arc.append(at(along[1], float(s)))  # type: ignore[operator]
    return [*edge, *reversed(arc)]


def _detail(d: Drawing, b: BlendDrawn) -> None:
    """The place enlarged: edge, damage, arc, what is removed, with depth, length and radius."""
    cut = b.cut
    depth, length = cut.depth * 1e3, cut.length * 1e3
    k = min(_FREE / (1.5 * length), 80.0 / depth)
    x, middle = 360.0 if cut.leading else 420.0, _TOP + _FREE / 2
    way = 1.0 if cut.leading else -1.0

    def at(into: float, along: float) -> Point:
        return x + way * k * into, middle - k * along

    along = np.linspace(-0.5, 0.5, 41) * length
    arc = [at(cut.depth_at(cut.position + float(s) * 1e-3) * 1e3, float(s)) for s in along]
    reach = min(0.75 * length, _FREE / 2 / k)
    _hatched(d, [at(0.0, -length / 2), *arc, at(0.0, length / 2)], "cut")
    d.lines([at(0.0, -reach), at(0.0, -length / 2), *arc, at(0.0, length / 2), at(0.0, reach)], "thick")
    d.lines([at(0.0, -length / 2), at(0.0, length / 2)], "dash")
    half = 0.5 * min(b.damage_length, length) if b.damage_length else 0.1 * depth
    nick = [at(0.0, -half), at(b.damage_depth, 0.0), at(0.0, half)]
    d.lines(nick, "damage")
    _arrowed(d, at(-18 / k, -length / 2), at(-18 / k, length / 2))
    tx, ty = at(-24 / k, 0.0)
    d.text(tx if cut.leading else tx + 12, ty, f"{length:.2f} mm", "midsmall", turned=True)
    low = at(0.0, -reach)[1] + 8
    _arrowed(d, (x, low), (x + way * k * depth, low))
    d.text(x + way * (k * depth + 8), low + 4, f"{depth:.2f} mm deep", "small" if cut.leading else "smallend")
    radius = (length**2 / 4 + depth**2) / (2 * depth)
    at_arc = at(depth, 0.0)
    d.path(f"M{at_arc[0]:.1f} {at_arc[1]:.1f}h{way * 34:g}", "dim")
    d.text(at_arc[0] + way * 38, at_arc[1] + 4, f"R {radius:.2f} mm", "small" if cut.leading else "smallend")
    _titled(d, 390.0, "The place", k)


def _section(d: Drawing, b: BlendDrawn) -> None:
    """The airfoil's section at the middle of the blend, what is removed hatched."""
    shape = shape_at(b.airfoil, b.cut.position * 1e3 / b.airfoil.span_mm)
    corners = outline(shape) * 1e3
    chord = shape.chord * 1e3
    k = 190.0 / chord
    left, middle = 545.0, _TOP + 70.0 + k * float(corners[:, 1].max()) / 2
    points = [(left + k * float(p[0]), middle - k * float(p[1])) for p in corners]
    d.lines(points, "ink", close=True)
    depth = b.cut.depth * 1e3
    removed = _removed_part(corners, depth if b.cut.leading else chord - depth, b.cut.leading)
    _hatched(d, [(left + k * px, middle - k * py) for px, py in removed], "cut")
    low = middle + 46.0
    edge = left + k * (depth if b.cut.leading else 0.0)
    _arrowed(d, (edge, low), (edge + k * (chord - depth), low))
    d.text(left + k * chord / 2, low + 16, f"{chord - depth:.2f} mm of {chord:.2f} mm chord left", "midsmall")
    thick = _thickness(shape) * 1e3
    d.text(left + k * chord / 2, low + 34, f"greatest thickness {thick:.2f} mm", "midsmall")
    _titled(d, 640.0, "Section there", k)
    d.text(640.0, low + 66, "drawn from the type's chord, thickness", "midsmall")
    d.text(640.0, low + 82, "and camber; not the maker's profile", "midsmall")


def _removed_part(corners: np.ndarray, at: float, leading: bool) -> list[Point]:
    half = len(corners) // 2
    sides = (corners[:half], corners[half:][::-1])
    upper, lower = ([(float(x), float(y)) for x, y in side] for side in sides)
    out = []
    for side in (upper, lower):
        xs, ys = [p[0] for p in side], [p[1] for p in side]
        keep = [p for p in side if (p[0] < at if leading else p[0] > at)]
        end = (at, float(np.interp(at, xs, ys)))
        out.append([*keep, end] if leading else [end, *keep])
    return [*out[0], *reversed(out[1])]


def _thickness(shape: Shape) -> float:
    return shape.thickness


def _hatched(d: Drawing, corners: list[Point], name: str) -> None:
    """An area with lines at 45 degrees, as removed material is drawn."""
    d.lines(corners, name, close=True)
    lows = [y - x for x, y in corners]
    step = 4.0
    level = math.ceil(min(lows) / step) * step
    while level < max(lows):
        crossed = sorted(_crossed(corners, level))
        for x0, x1 in zip(crossed[::2], crossed[1::2], strict=False):
            d.path(f"M{x0:.1f} {x0 + level:.1f}L{x1:.1f} {x1 + level:.1f}", "hatch")
        level += step


def _crossed(corners: list[Point], level: float) -> list[float]:
    """Where the line y = x + level meets an outline."""
    found = []
    for (x0, y0), (x1, y1) in zip(corners, [*corners[1:], corners[0]], strict=True):
        a, b = y0 - x0 - level, y1 - x1 - level
        if (a < 0.0) != (b < 0.0):
            found.append(x0 + (x1 - x0) * a / (a - b))
    return found


def _arrowed(d: Drawing, start: Point, end: Point) -> None:
    """A dimension line with an end stroke at both ends."""
    (x0, y0), (x1, y1) = start, end
    long = math.hypot(x1 - x0, y1 - y0) or 1.0
    nx, ny = -(y1 - y0) / long * 5, (x1 - x0) / long * 5
    d.path(f"M{x0:.1f} {y0:.1f}L{x1:.1f} {y1:.1f}", "dim")
    for x, y in (start, end):
        d.path(f"M{x - nx:.1f} {y - ny:.1f}L{x + nx:.1f} {y + ny:.1f}", "dim")


def _titled(d: Drawing, x: float, title: str, k: float) -> None:
    """The name of a view and a bar of its scale."""
    d.text(x, 16, title, "mid")
    length = max(size for size in _BARS if size * k <= 90.0 or size == _BARS[0])
    half = length * k / 2
    _arrowed(d, (x - half, 30.0), (x + half, 30.0))
    d.text(x + half + 8, 34.0, f"{length:g} mm", "small")
