"""Performance curves as drawings: this engine in ink, limit lines labelled on the line."""

from __future__ import annotations

from dataclasses import dataclass, field

from spoolwright.crafts.testcell.model import Assessment, Curve, CurvePoint
from spoolwright.reports.drawing import Drawing, Room, Scale, mark_texts, round_marks
from spoolwright.reports.figures import unit_text
from spoolwright.reports.labels import QUANTITY, block_names, words
from spoolwright.units import from_inner

AXIS = {
    "power": "corrected power",
    "measured_gas_temperature": "corrected MGT",
    "gas_generator_speed": "corrected Ng",
    "fuel_flow": "corrected fuel flow",
    "specific_fuel_consumption": "corrected fuel consumption",
}
_SHOWN = {"W": "kW", "K": "degC", "kg/s": "kg/h", "kg/J": "kg/kWh", "Pa": "kPa", "m/s": "mm/s", "1": "%"}
"""Unit in which an inner unit is drawn when no point names one."""
PRINT_STYLE = (
    'text{font:9px "IBM Plex Sans";fill:#1a1a1a}.small{font-size:8px}.mid{text-anchor:middle}'
    ".end{text-anchor:end}.axis{stroke:#1a1a1a;stroke-width:.8;fill:none}.band{fill:#dfe3e5}"
    ".fit{stroke:#1a1a1a;stroke-width:1.2;fill:none}.earlier{stroke-dasharray:2 2;stroke-width:.8}"
    ".dot{fill:#1a1a1a;stroke:#1a1a1a}.hollow{fill:#fff;stroke:#1a1a1a}.cross,.bar{stroke:#1a1a1a;fill:none}"
    ".bar{stroke-width:.7}.limit{stroke:#b3261e;stroke-width:1.4;stroke-dasharray:7 3;fill:none}"
    ".limit-word{fill:#b3261e;font-weight:700}"
)
_SPOTS = ((0.0, 0.25), (-1.0, -1.25), (0.0, -1.25), (-1.0, 0.25), (0.0, -0.5), (-1.0, -0.5), (-0.5, 0.8))
"""Where a label may stand from its point, in parts of its width and height: below right first."""
_AWAY = 5.0


@dataclass(frozen=True)
class Chart:
    """Curves of one pair of quantities by one method, a curve a block."""

    title: str
    x_name: str
    y_name: str
    x_unit: str
    y_unit: str
    curves: tuple[Curve, ...]
    blocks: dict[int, str]

    def point(self, x: float, y: float) -> tuple[float, float]:
        """Inner values in the shown units."""
        return from_inner(x, self.x_unit), from_inner(y, self.y_unit)

    @property
    def latest(self) -> int | None:
        """The last block drawn."""
        return max((c.block for c in self.curves if c.block is not None), default=None)


def charts(a: Assessment) -> list[Chart]:
    """One chart for each pair of quantities and method; a pair is not drawn again with its axes exchanged."""
    units: dict[str, str] = {q.quantity: q.observed.shown_in for p in a.points for q in p.corrected}
    found: dict[tuple[str, str, str], list[Curve]] = {}
    for c in a.curves:
        if (c.y_quantity, c.x_quantity, c.method) not in found:
            found.setdefault((c.x_quantity, c.y_quantity, c.method), []).append(c)
    return [
        Chart(
            title=_title(x, y, method),
            x_name=AXIS.get(x, words(x)),
            y_name=AXIS.get(y, words(y)),
            x_unit=units.get(x) or _SHOWN.get(own[0].x_unit, own[0].x_unit),
            y_unit=units.get(y) or _SHOWN.get(own[0].y_unit, own[0].y_unit),
            curves=tuple(sorted(own, key=lambda c: c.block or 0)),
            blocks=block_names(a),
        )
        for (x, y, method), own in found.items()
    ]


def _title(x: str, y: str, method: str) -> str:
    over = QUANTITY.get(x, words(x)).split()[-1] if x != "power" else "power"
    name = QUANTITY.get(y, words(y))
    by = "the approved method" if method == "approved" else "the model, advisory"
    return f"{name} over {over}, corrected by {by}"


def chart_svg(chart: Chart, *, width: float = 520.0, height: float = 330.0, style: str = "") -> str:
    """The chart as SVG; `style` is given for print, where no page dresses it."""
    return _Plot(chart, Drawing(width, height, style)).svg()


@dataclass
class _Plot:
    """A chart being drawn."""

    chart: Chart
    drawing: Drawing
    x: Scale = field(init=False)
    y: Scale = field(init=False)
    room: Room = field(init=False)

    def __post_init__(self) -> None:
        d = self.drawing
        frame = (64.0, 8.0, d.width - 12.0, d.height - 40.0)
        xs, ys = self._extent()
        self.x = Scale(*_padded(xs), frame[0], frame[2])
        self.y = Scale(*_padded(ys), frame[3], frame[1])
        self.room = Room((frame[0] + 3, frame[1], d.width, frame[3] - 2), 9.5)

    def svg(self) -> str:
        self._axes()
        for c in self.chart.curves:
            self._fit(c)
        limit = self._limit()
        for c in self.chart.curves:
            for p in c.points:
                self._dot(c, p)
        self._limit_word(limit)
        self._block_words()
        self._point_words()
        return self.drawing.svg(self.chart.title)

    def _extent(self) -> tuple[list[float], list[float]]:
        c = self.chart
        places = [
            c.point(p.x + i * p.ux, p.y + i * p.uy) for k in c.curves for p in k.points for i in (-2, 2)
        ]
        places += [c.point(x, y) for k in c.curves for x, y in zip(k.x, k.y, strict=True)]
        places += [c.point(x, y) for k in c.curves for _, *ends in k.limit_lines for x, y in _pairs(ends)]
        return [x for x, _ in places] or [0.0, 1.0], [y for _, y in places] or [0.0, 1.0]

    def _at(self, x: float, y: float) -> tuple[float, float]:
        """Place of inner values."""
        a, b = self.chart.point(x, y)
        return self.x.at(a), self.y.at(b)

    def _axes(self) -> None:
        d, x, y = self.drawing, self.x, self.y
        d.path(f"M{x.start} {y.end}V{y.start}H{x.end}", "axis")
        marks = round_marks(x.low, x.high, 6)
        for value, text in zip(marks, mark_texts(marks), strict=True):
            d.path(f"M{x.at(value):.1f} {y.start}v4", "axis")
            d.text(x.at(value), y.start + 15, text, "mid")
        marks = round_marks(y.low, y.high, 6)
        for value, text in zip(marks, mark_texts(marks), strict=True):
            d.path(f"M{x.start} {y.at(value):.1f}h-4", "axis")
            d.text(x.start - 7, y.at(value) + 3.5, text, "end")
        c = self.chart
        d.text((x.start + x.end) / 2, d.height - 6, f"{c.x_name} [{unit_text(c.x_unit)}]", "mid")
        d.text(12, (y.start + y.end) / 2, f"{c.y_name} [{unit_text(c.y_unit)}]", "mid", turned=True)

    def _fit(self, c: Curve) -> None:
        if not c.x:
            return
        line = [self._at(x, y) for x, y in zip(c.x, c.y, strict=True)]
        if self._is_latest(c):
            low = [self._at(x, y) for x, y in zip(c.x, c.low, strict=True)]
            high = [self._at(x, y) for x, y in zip(c.x, c.high, strict=True)]
            self.drawing.lines([*low, *reversed(high)], "band", close=True)
        self.drawing.lines(line, "fit" if self._is_latest(c) else "fit earlier")
        self.room.take_line(line)

    def _is_latest(self, c: Curve) -> bool:
        return c.block is None or c.block == self.chart.latest

    def _limit(self) -> list[tuple[float, float]]:
        """Limit lines joined where one ends as the next begins; gives the last one's places."""
        segments = dict.fromkeys(tuple(ends) for c in self.chart.curves for _, *ends in c.limit_lines)
        joined: list[list[tuple[float, float]]] = []
        for start, end in (_pairs(ends) for ends in segments):
            if joined and joined[-1][-1] == start:
                joined[-1].append(end)
            else:
                joined.append([start, end])
        places: list[tuple[float, float]] = []
        for part in joined:
            places = [self._at(x, y) for x, y in part]
            self.drawing.lines(places, "limit")
            self.room.take_line(places, reach=2.0)
        return places

    def _dot(self, c: Curve, p: CurvePoint) -> None:
        d, (x, y) = self.drawing, self._at(p.x, p.y)
        (x0, y0), (x1, y1) = (
            self._at(p.x - 2 * p.ux, p.y - 2 * p.uy),
            self._at(p.x + 2 * p.ux, p.y + 2 * p.uy),
        )
        d.path(f"M{x0:.1f} {y:.1f}H{x1:.1f}M{x:.1f} {y0:.1f}V{y1:.1f}", "bar")
        if not p.used:
            d.path(f"M{x - 4:.1f} {y - 4:.1f}l8 8m0-8l-8 8", "cross")
        else:
            d.circle(x, y, 3.4, "dot" if self._is_latest(c) else "hollow")
        self.room.taken.append((x - 4, y - 4, x + 4, y + 4))

    def _limit_word(self, places: list[tuple[float, float]]) -> None:
        for x, y in (*reversed(places[1:]), *places[:1]):
            box = self.room.place("limit", _around(x, y))
            if box:
                self.drawing.text(box[0], box[3] - 1.5, "limit", "limit-word")
                return

    def _block_words(self) -> None:
        if len(self.chart.curves) < 2:
            return
        for c in self.chart.curves:
            name = self.chart.blocks.get(c.block or 0, "")
            for i in (-1, 0, len(c.x) // 2):
                box = self.room.place(name, _around(*self._at(c.x[i], c.y[i]), 8.0)) if c.x else None
                if box:
                    self.drawing.text(box[0], box[3] - 1.5, name, "small")
                    break

    def _point_words(self) -> None:
        for c in self.chart.curves:
            for p in c.points:
                name = p.point if p.used else f"{p.point} not used"
                box = self.room.place(name, _around(*self._at(p.x, p.y)))
                if box:
                    self.drawing.text(box[0], box[3] - 1.5, name, "small")


def _around(x: float, y: float, away: float = _AWAY) -> list[tuple[float, float, float, float]]:
    out = []
    for across, down in _SPOTS:
        dx = away if across == 0.0 else -away if across == -1.0 else 0.0
        out.append((x + dx, y, across, down))
    return out


def _pairs(ends: list[float] | tuple[float, ...]) -> tuple[tuple[float, float], tuple[float, float]]:
    x0, y0, x1, y1 = ends
    return (x0, y0), (x1, y1)


def _padded(values: list[float]) -> tuple[float, float]:
    low, high = min(values), max(values)
    room = 0.04 * ((high - low) or abs(high) or 1.0)
    return low - room, high + room
