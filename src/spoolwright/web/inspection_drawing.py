"""Drawings of the inspection pages: the rosette of a stage, and the outline of a part with its zones."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass

from spoolwright.crafts.typefile.shop.inspection import InspectedPart, InspectionZone, OutlineKind

Point = tuple[float, float]
Place = Callable[[float, float], Point]
"""From along the chord (0 leading to 1 trailing edge) and the span (0 root to 1 tip) to the drawing."""

RADIUS, INNER, CENTRE = 297.0, 182.0, 300.0
WIDTH, HEIGHT = 520.0, 532.0
EDGE, BAND = 0.27, 0.17


@dataclass(frozen=True)
class Sector:
    """A blade in the rosette: where it is touched, its line, its number, its mark."""

    number: int
    region: str
    line: str
    label: Point
    mark: Point
    state: str


@dataclass(frozen=True)
class Region:
    """A zone on the outline."""

    id: str
    name: str
    key: str
    points: str
    label: Point


@dataclass(frozen=True)
class Outline:
    """A part with its zones."""

    views: tuple[tuple[str, float], ...]
    """What each view is called, and where its name stands."""
    regions: tuple[Region, ...]
    lines: tuple[str, ...] = ()

    @property
    def view_box(self) -> str:
        return f"0 0 {WIDTH:g} {HEIGHT:g}"


def rosette(part: InspectedPart, states: Mapping[int, str]) -> list[Sector]:
    """The stage seen as the type says; what is not numbered has its twelve clock positions.

    Number 1 stands at the top.
    """
    count = part.count if part.count > 1 else 12
    step = 2 * math.pi / count
    out = []
    for number in range(1, count + 1):
        # 12 o'clock is at the top; blade 1 too
        at = step * (number - 1 if part.count > 1 else number)
        at = -at if part.sense == "anticlockwise" and part.count > 1 else at
        low, high = at - step / 2, at + step / 2
        lean = min(step * 0.3, 0.06)
        arc = f"A{RADIUS:g} {RADIUS:g} 0 0 1"
        back = f"A{INNER:g} {INNER:g} 0 0 0"
        region = (
            f"M{_at(low, INNER)}L{_at(low, RADIUS)}{arc} {_at(high, RADIUS)}L{_at(high, INNER)}"
            f"{back} {_at(low, INNER)}Z"
        )
        line = f"M{_at(at - lean, INNER + 4)}L{_at(at + lean, RADIUS - 36)}"
        label, mark = _polar(at, RADIUS - 17), _polar(at - lean * 0.2, INNER + 30)
        out.append(Sector(number, region, line, label, mark, states.get(number, "")))
    return out


def outline(part: InspectedPart) -> Outline:
    """The outline of a part; each of its zones is a region to touch."""
    drawn = {
        OutlineKind.DISK: _wheel,
        OutlineKind.LINER: _liner,
        OutlineKind.SHAFT: _shaft,
        OutlineKind.GEARS: _tooth,
        OutlineKind.BEARING: _bearing,
        OutlineKind.CASING: _casing,
    }
    regions = tuple(drawn[part.outline](part) if part.outline in drawn else _bladed(part))
    views: tuple[tuple[str, float], ...] = ()
    if part.outline not in drawn:
        views = (("pressure side", 130.0), ("suction side", 390.0))
    return Outline(views, regions)


def _bladed(part: InspectedPart) -> Iterator[Region]:
    """The airfoil from both sides; edges, tip and fillet can be touched in either view."""
    for place, face in (
        (_place(part, 130.0, 1.0), "pressure side"),
        (_place(part, 390.0, -1.0), "suction side"),
    ):
        for zone in part.zone:
            corners = _cell(zone, face, part)
            if corners is not None:
                middle = [sum(c[i] for c in corners) / len(corners) for i in (0, 1)]
                yield _region(zone, [place(u, v) for u, v in corners], place(middle[0], middle[1]))
    below = [
        z for z in part.zone if z.side in ("platform", "root", "rim", "web", "bore", "spline", "surface")
    ]
    yield from _rows(below, 428.0)


def _cell(zone: InspectionZone, face: str, part: InspectedPart) -> list[Point] | None:
    """Where a zone lies on the airfoil, as corners along chord and span."""
    sides = {z.side for z in part.zone}
    band = 0.28 if part.outline is OutlineKind.IMPELLER else BAND
    foot, head = (band if "fillet" in sides else 0.0), (1 - band if "tip" in sides else 1.0)
    inside = (max(zone.span_from, foot), min(zone.span_to, head))
    match zone.side:
        case "leading edge":
            return _box(0.0, EDGE, *inside)
        case "trailing edge":
            return _box(1 - EDGE, 1.0, *inside)
        case "tip":
            return _box(0.0, 1.0, head, 1.0)
        case "fillet":
            return _box(0.0, 1.0, 0.0, foot)
        case "pressure side" | "suction side" if zone.side == face:
            return _box(EDGE, 1 - EDGE, *inside)
    return None


def _box(u0: float, u1: float, v0: float, v1: float) -> list[Point]:
    """Corners of a cell, with points between so that a bent outline stays smooth."""
    steps = 6
    along = [(u0 + (u1 - u0) * i / steps, v0) for i in range(steps)]
    up = [(u1, v0 + (v1 - v0) * i / steps) for i in range(steps)]
    back = [(u1 + (u0 - u1) * i / steps, v1) for i in range(steps)]
    down = [(u0, v1 + (v0 - v1) * i / steps) for i in range(steps)]
    return [*along, *up, *back, *down]


def _place(part: InspectedPart, middle: float, sense: float) -> Place:
    """How the airfoil lies in its view."""
    if part.outline is OutlineKind.IMPELLER:

        def bent(u: float, v: float) -> Point:
            # the meridional view: inducer at the axis, exit at the radius, hub below, shroud above
            angle = math.pi / 2 * u
            along = (1 - v) * 232.0 + v * 128.0
            height = (1 - v) * (30.0 + 340.0 * (1 - math.cos(angle))) + v * (
                200.0 + 170.0 * (1 - math.cos(angle))
            )
            return middle + sense * (along * math.sin(angle) - 116.0), 412.0 - height

        return bent

    def straight(u: float, v: float) -> Point:
        half = 112.0 - 8.0 * v
        sweep = 8.0 * v
        return middle + sense * ((u - 0.5) * 2 * half + sweep), 412.0 - 372.0 * v

    return straight


def _rows(zones: Sequence[InspectionZone], top: float) -> Iterator[Region]:
    """Zones below the airfoil, side by side: platform, root, what the blade stands on."""
    if not zones:
        return
    width, height = 504.0 / len(zones), min(84.0, HEIGHT - 8.0 - top)
    for n, zone in enumerate(zones):
        x = 8.0 + n * width
        yield _region(zone, _rect(x + 3, top, x + width - 3, top + height))


def _wheel(part: InspectedPart) -> Iterator[Region]:
    """Half of the wheel's section: rim with slots at the top, bore at the bottom."""
    spans = {
        "slot": (200.0, 20.0, 320.0, 92.0),
        "rim": (170.0, 96.0, 350.0, 160.0),
        "web": (226.0, 164.0, 294.0, 316.0),
        "bore": (160.0, 320.0, 360.0, 420.0),
        "spline": (364.0, 200.0, 470.0, 316.0),
    }
    yield from _by_side(part, spans)


def _tooth(part: InspectedPart) -> Iterator[Region]:
    """A tooth: both flanks, tip and root, with web and spline below."""
    spans = {
        "tip": (200.0, 20.0, 320.0, 84.0),
        "pressure side": (330.0, 60.0, 430.0, 200.0),
        "suction side": (90.0, 60.0, 190.0, 200.0),
        "root": (90.0, 210.0, 430.0, 274.0),
        "web": (90.0, 284.0, 430.0, 350.0),
        "spline": (150.0, 360.0, 370.0, 430.0),
    }
    yield from _by_side(part, spans)


def _by_side(part: InspectedPart, spans: Mapping[str, tuple[float, float, float, float]]) -> Iterator[Region]:
    for zone in part.zone:
        if zone.side in spans:
            yield _region(zone, _rect(*spans[zone.side]))


def _liner(part: InspectedPart) -> Iterator[Region]:
    """A longitudinal section of the liner's upper half, flow from left to right."""
    spans = {
        "dome": [(40, 110), (100, 70), (120, 70), (120, 370), (100, 370), (40, 330)],
        "outer": [(126, 70), (400, 70), (400, 134), (126, 134)],
        "cooling": [(126, 140), (400, 140), (400, 300), (126, 300)],
        "inner": [(126, 306), (400, 306), (400, 370), (126, 370)],
        "exit": [(406, 90), (480, 120), (480, 320), (406, 350)],
    }
    for zone in part.zone:
        if zone.id in spans:
            yield _region(zone, [(float(x), float(y)) for x, y in spans[zone.id]])
    yield from _rows([z for z in part.zone if z.id not in spans], 384.0)


def _shaft(part: InspectedPart) -> Iterator[Region]:
    """Lengths of the shaft one after the other, the bore below them."""
    outside = [z for z in part.zone if z.side != "bore"]
    width = 480.0 / max(len(outside), 1)
    for n, zone in enumerate(outside):
        bulge = 14.0 * (n % 2)
        x = 20.0 + n * width
        yield _region(zone, _rect(x, 120.0 + bulge, x + width - 4, 240.0 - bulge))
    for n, zone in enumerate(z for z in part.zone if z.side == "bore"):
        yield _region(zone, _rect(20.0, 260.0 + 70 * n, 496.0, 320.0 + 70 * n))


def _bearing(part: InspectedPart) -> Iterator[Region]:
    """The section of the bearing, races outside and inside, balls and cage between."""
    height = 400.0 / len(part.zone)
    order = {"outer_race": 0, "cage": 1, "balls": 2, "inner_race": 3}
    for n, zone in enumerate(sorted(part.zone, key=lambda z: order.get(z.id, 9))):
        inset = 60.0 if zone.id in ("balls", "cage") else 0.0
        top = 20.0 + n * height
        yield _region(zone, _rect(90.0 + inset, top, 430.0 - inset, top + height - 6))


def _casing(part: InspectedPart) -> Iterator[Region]:
    """Zones of the casing side by side."""
    width = 480.0 / len(part.zone)
    for n, zone in enumerate(part.zone):
        x = 20.0 + n * width
        yield _region(zone, _rect(x, 100.0, x + width - 6, 340.0))


def _rect(x0: float, y0: float, x1: float, y1: float) -> list[Point]:
    return [(x0, y0), (x1, y0), (x1, y1), (x0, y1)]


def _region(zone: InspectionZone, points: Sequence[Point], at: Point | None = None) -> Region:
    xs, ys = [p[0] for p in points], [p[1] for p in points]
    told = " ".join(f"{x:.1f},{y:.1f}" for x, y in points)
    middle = at or (sum(xs) / len(xs), sum(ys) / len(ys))
    return Region(zone.id, zone.name, zone.key or zone.id, told, (middle[0], middle[1] + 6))


def _polar(angle: float, radius: float) -> Point:
    """Clockwise from the top."""
    return CENTRE + radius * math.sin(angle), CENTRE - radius * math.cos(angle)


def _at(angle: float, radius: float) -> str:
    x, y = _polar(angle, radius)
    return f"{x:.1f} {y:.1f}"
