"""Charts of a blend: frequencies against engine orders over speed; the stage's unbalance seen on its face."""

from __future__ import annotations

import math
from collections.abc import Sequence

from spoolwright.crafts.inspection.resonance import ModeLine
from spoolwright.crafts.typefile.shop.inspection import Airfoil, InspectedPart
from spoolwright.reports.drawing import Drawing, Room, Scale, mark_texts, round_marks

_LEFT, _TOP, _RIGHT, _BOTTOM = 64.0, 16.0, 16.0, 46.0


def interference_svg(airfoil: Airfoil, lines: Sequence[ModeLine], title: str) -> str:
    """Frequency against speed: modes before (hollow) and after (filled), order lines, running range."""
    d = Drawing(760.0, 420.0)
    low, high = airfoil.speed_rpm
    top = 1.12 * max(max(*m.before_hz, *m.after_hz, m.at(high, after=False)) for m in lines)
    x = Scale(0.0, 1.08 * high, _LEFT, d.width - _RIGHT)
    y = Scale(0.0, top / 1e3, d.height - _BOTTOM, _TOP)
    d.path(f"M{x.at(low):.1f} {y.end}H{x.at(high):.1f}V{y.start}H{x.at(low):.1f}Z", "band")
    _axes(d, x, y, "speed [rpm]", "frequency [kHz]")
    room = Room((_LEFT, _TOP, d.width - _RIGHT, d.height - _BOTTOM), 12.0)
    for line in lines:
        room.take_line([(x.at(0.0), y.at(line.at(0.0, after=True) / 1e3)),
                        (x.at(x.high), y.at(line.at(x.high, after=True) / 1e3))])  # fmt: skip
    _orders(d, airfoil, x, y, room)
    for line in lines:
        _mode(d, line, x, y, room)
    words = "running range"
    d.text((x.at(low) + x.at(high)) / 2, y.start - 6, words, "midquiet")
    return d.svg(title)


def _orders(d: Drawing, airfoil: Airfoil, x: Scale, y: Scale, room: Room) -> None:
    for o in airfoil.engine_order:
        end = min(x.high, 60e3 * y.high / o.order)
        start, stop = (x.at(0.0), y.at(0.0)), (x.at(end), y.at(end * o.order / 60e3))
        d.lines([start, stop], "order")
        room.take_line([start, stop])
    for o in airfoil.engine_order:
        end = min(x.high, 60e3 * y.high / o.order)
        spots = []
        for share in (0.97, 0.9, 0.8, 0.7, 0.6, 0.5, 0.4):
            px, py = x.at(end * share), y.at(end * share * o.order / 60e3)
            spots += [(px + 8, py, 0.0, 0.3), (px - 8, py, -1.0, -1.0), (px - 8, py, -1.0, -1.8)]
        words = f"order {o.order}, {o.cause}"
        box = room.place(words, spots) or room.place(f"order {o.order}", spots)
        if box is not None:
            d.text(box[0], box[3] - 2, words, "start")


def _mode(d: Drawing, line: ModeLine, x: Scale, y: Scale, room: Room) -> None:
    speeds = [x.high * i / 40.0 for i in range(41)]
    for after, name in ((False, "before"), (True, "after")):
        d.lines([(x.at(n), y.at(line.at(n, after=after) / 1e3)) for n in speeds], name)
    for n, before, after_hz in zip(line.speeds_rpm, line.before_hz, line.after_hz, strict=True):
        d.circle(x.at(n), y.at(before / 1e3), 6.0, "hollow")
        d.circle(x.at(n), y.at(after_hz / 1e3), 3.0, "dot")
    for c in line.crossings_after:
        d.circle(x.at(c.speed_rpm), y.at(c.speed_rpm * c.order / 60e3), 9.0, "meets")
    words = line.name + (", documented at one speed" if line.is_level else "")
    spots = []
    for share in (0.02, 0.1, 0.2, 0.3, 0.4):
        px = x.at(share * x.high)
        py = y.at(line.at(share * x.high, after=True) / 1e3)
        spots += [(px, py - 5, 0.0, -1.0), (px, py + 5, 0.0, 0.0)]
    box = room.place(words, spots)
    if box is not None:
        d.text(box[0], box[3] - 2, words, "start")


def _axes(d: Drawing, x: Scale, y: Scale, x_name: str, y_name: str) -> None:
    d.path(f"M{x.start} {y.end}V{y.start}H{x.end}", "axis")
    marks = round_marks(x.low, x.high, 8)
    for value, text in zip(marks, mark_texts(marks), strict=True):
        d.path(f"M{x.at(value):.1f} {y.start}v4", "axis")
        d.text(x.at(value), y.start + 17, text, "mid")
    marks = round_marks(y.low, y.high, 6)
    for value, text in zip(marks, mark_texts(marks), strict=True):
        d.path(f"M{x.start} {y.at(value):.1f}h-4", "axis")
        d.text(x.start - 8, y.at(value) + 4, text, "end")
    d.text((x.start + x.end) / 2, d.height - 8, x_name, "mid")
    d.text(16, (y.start + y.end) / 2, y_name, "mid", turned=True)


def balance_svg(part: InspectedPart, each: Sequence[tuple[int, float]], left: complex, title: str) -> str:
    """The stage seen as the type says: what each blend takes, what is left, the allowance as a circle [g·mm].

    A blend makes its blade lighter, so its vector points away from the blade, to the other side.
    """
    d = Drawing(420.0, 416.0)
    assert part.airfoil is not None and part.airfoil.unbalance_g_mm is not None
    allowed, middle = part.airfoil.unbalance_g_mm, (210.0, 200.0)
    longest = max([abs(left), *(u for _, u in each)])
    near = longest > 0.3 * allowed
    k = 130.0 / max(allowed, longest) if near or not longest else 90.0 / longest
    turn = -1.0 if part.sense == "anticlockwise" else 1.0

    def at(angle: float, reach: float) -> tuple[float, float]:
        return middle[0] + reach * math.sin(turn * angle), middle[1] - reach * math.cos(angle)

    d.circle(*middle, 150.0, "axis")
    if k * allowed <= 150.0:
        d.circle(*middle, round(k * allowed, 1), "limit")
        d.text(middle[0], middle[1] + k * allowed - 7, f"{allowed:g} g·mm allowed", "midlimit")
    else:
        told = f"{allowed:g} g·mm allowed lies outside, {allowed / longest:.0f} times the longest line"
        d.text(middle[0], d.height - 6, told, "midlimit")
    blended = {n for n, _ in each}
    for n in range(1, part.count + 1):
        angle = 2.0 * math.pi * (n - 1) / part.count
        (x0, y0), (x1, y1) = at(angle, 150.0), at(angle, 166.0 if n in blended else 156.0)
        d.path(f"M{x0:.1f} {y0:.1f}L{x1:.1f} {y1:.1f}", "thick" if n in blended else "axis")
        if n == 1 or n in blended:
            tx, ty = at(angle, 180.0)
            d.text(tx, ty + 4, str(n), "mid")
    for n, taken in each:
        x, y = at(2.0 * math.pi * (n - 1) / part.count + math.pi, k * taken)
        d.path(f"M{middle[0]:.1f} {middle[1]:.1f}L{x:.1f} {y:.1f}", "each")
    angle = math.atan2(left.imag, left.real)
    x, y = at(angle, k * abs(left))
    d.path(f"M{middle[0]:.1f} {middle[1]:.1f}L{x:.1f} {y:.1f}", "left")
    d.circle(x, y, 5.0, "dot")
    wide = "start" if x >= middle[0] else "end"
    d.text(x + (9 if wide == "start" else -9), y - 6, f"{abs(left):.2f} g·mm, heavy", wide)
    return d.svg(title)
