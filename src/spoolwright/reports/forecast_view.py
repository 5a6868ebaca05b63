"""A forecast arranged for reading: the same words and rows for terminal, page and print."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from spoolwright.crafts.testcell.forecast.model import Effect, Forecast, LimitForecast, Option, Range
from spoolwright.crafts.testcell.model import Figure
from spoolwright.reports.figures import Shown, number, percent, shown, unit_text
from spoolwright.units import difference_from_inner

MARK: Final = {
    "likely": "meets",
    "uncertain": "cannot_tell",
    "unlikely": "does_not_meet",
    "cannot_tell": "cannot_tell",
}
"""Shape and colour of an outcome: those of the verdict that it foretells."""
WORD: Final = {
    "likely": "likely to pass",
    "uncertain": "may pass or fail",
    "unlikely": "more likely to fail",
    "cannot_tell": "cannot be told",
}
_QUANTITY: Final = {
    "power_at_rated_mgt": "power at rated MGT",
    "mgt_at_rated_power": "MGT at rated power",
    "ng_at_rated_power": "gas generator speed at rated power",
    "sfc_at_rated_power": "fuel consumption at rated power",
}
SHOWN_LIMITS: Final = 6
"""Limits shown before those that are likely to be passed are folded away."""
MOST_OPTIONS: Final = 8
"""Options shown before the rest is folded away."""


@dataclass(frozen=True)
class Spread:
    """A range as text, its ends in the same decimals, and its unit."""

    mean: str
    low: str
    high: str
    unit: str

    @property
    def text(self) -> str:
        """Mean, unit, and the middle 90 %."""
        return f"{self.mean} {self.unit} ({self.low} to {self.high})".replace("  ", " ")


@dataclass(frozen=True)
class Drawn:
    """Places of a bar in a drawing of width 100: zero line, ends, middle, and guard line."""

    zero: float
    low: float
    high: float
    middle: float
    guard: float | None = None


@dataclass(frozen=True)
class LimitRow:
    """A limit as a row."""

    limit: LimitForecast
    name: str
    reading: Spread
    bound: str
    value: str
    guard: str
    margin: Spread
    passing: str
    outcome: str
    word: str
    drawn: Drawn


@dataclass(frozen=True)
class EatenRow:
    """What a finding takes, as a row: of the governing power and temperature margins."""

    title: str
    as_built: str
    nominal: str
    power: Spread | None
    temperature: Spread | None
    drawn: Drawn
    words: str


@dataclass(frozen=True)
class OptionRow:
    """A change, as a row."""

    title: str
    power: Spread | None
    temperature: Spread | None
    passing: str
    gain: str
    cost: str
    worst: str


def spread(r: Range) -> Spread:
    """A range in the unit it is shown in, as many decimals as its interval earns."""
    digits = r.mean.standard_uncertainty or None
    of = [_plain(f, digits) for f in (r.mean, r.low, r.high)]
    return Spread(of[0].value, of[1].value, of[2].value, of[0].unit)


def _plain(f: Figure, digits: float | None) -> Shown:
    """A figure without an interval of its own, in the digits of another's uncertainty."""
    told = shown(f.model_copy(update={"standard_uncertainty": digits}))
    return Shown(told.value, told.unit)


def limit_rows(f: Forecast) -> list[LimitRow]:
    """Limits, the least sure first."""
    rows = [_limit_row(x) for x in f.limits]
    return sorted(rows, key=lambda r: r.limit.passing)


def open_limits(rows: list[LimitRow]) -> int:
    """How many of the limits stand open: all that are not likely to be passed, and the few least sure."""
    return max(sum(r.limit.outcome != "likely" for r in rows), min(SHOWN_LIMITS, len(rows)))


def _limit_row(x: LimitForecast) -> LimitRow:
    sd = x.margin.mean.standard_uncertainty or 1.0
    guard = f"{difference_from_inner(x.guard.value, x.guard.shown_in):.3g}"
    return LimitRow(
        limit=x,
        name=x.name,
        reading=spread(x.reading),
        bound=x.bound,
        value=str(shown(x.limit_value)),
        guard=f"{guard} {unit_text(x.guard.shown_in)}" if x.guard.value else "",
        margin=spread(x.margin),
        passing=percent(x.passing),
        outcome=MARK[x.outcome],
        word=WORD[x.outcome],
        drawn=_drawn(x.margin, 4.0 * sd, x.guard.value),
    )


def _drawn(r: Range, half: float, guard: float = 0.0) -> Drawn:
    """Places on an axis of this half-width around zero; what lies beyond is cut at the edge."""

    def at(v: float) -> float:
        return min(max(50.0 + 50.0 * v / half, 0.5), 99.5) if half else 50.0

    return Drawn(50.0, at(r.low.value), at(r.high.value), at(r.mean.value), at(guard) if guard else None)


def pair_of(f: Forecast) -> tuple[str, str]:
    """Ids of a power and a temperature limit, at the governing rating if it has them; empty where none is."""
    rating = next(x.rating for x in f.limits if x.limit == f.governing)
    out = []
    for quantity in ("power_at_rated_mgt", "mgt_at_rated_power"):
        own = [x for x in f.limits if x.quantity == quantity]
        out.append(min(own, key=lambda x: (x.rating != rating, x.passing)).limit if own else "")
    return out[0], out[1]


def pair_words(f: Forecast) -> tuple[str, str]:
    """Column heads for `pair_of`."""
    names = {x.limit: f"{_QUANTITY[x.quantity]}, {x.rating.replace('_', ' ')}" for x in f.limits}
    a, b = pair_of(f)
    return names.get(a, ""), names.get(b, "")


def _of(effects: tuple[Effect, ...], limit: str) -> Effect | None:
    return next((e for e in effects if e.limit == limit), None)


def _spread_of(effects: tuple[Effect, ...], limit: str) -> Spread | None:
    e = _of(effects, limit)
    return None if e is None else spread(e.change)


def eaten_rows(f: Forecast) -> list[EatenRow]:
    """Findings, the one that takes most of the governing margin first; bars on one scale."""
    found = {x.name: x for x in f.findings}
    governing = [_of(e.effects, f.governing) for e in f.eaten]
    ends = [abs(v) for e in governing if e for v in (e.change.low.value, e.change.high.value)]
    half = 1.05 * max(ends, default=1.0) or 1.0
    power, temperature = pair_of(f)
    return [
        EatenRow(
            title=e.title,
            as_built=found[e.finding].as_built,
            nominal=found[e.finding].nominal,
            power=_spread_of(e.effects, power),
            temperature=_spread_of(e.effects, temperature),
            drawn=_drawn(g.change, half) if g else Drawn(50.0, 50.0, 50.0, 50.0),
            words=_eaten_words(g),
        )
        for e, g in zip(f.eaten, governing, strict=True)
    ]


def _eaten_words(e: Effect | None) -> str:
    if e is None:
        return ""
    if e.change.high.value < 0.0:
        return "takes"
    if e.change.low.value > 0.0:
        return "gives"
    return "little, either way"


def option_rows(f: Forecast) -> list[OptionRow]:
    """Changes, the one that gains most first."""
    power, temperature = pair_of(f)
    return [
        OptionRow(
            title=o.title,
            power=_spread_of(o.effects, power),
            temperature=_spread_of(o.effects, temperature),
            passing=percent(o.passing_all),
            gain=_gain(o),
            cost=_cost(o, f.currency),
            worst=_worst(f, o),
        )
        for o in f.options
    ]


def _gain(o: Option) -> str:
    """Gain in points with twice its standard error."""
    points, error = 100.0 * o.gain, 200.0 * o.gain_error
    sign = "+" if points > 0 else ""
    return f"{sign}{number(points, 0)} ± {number(max(error, 1.0), 0)} points"


def _cost(o: Option, currency: str) -> str:
    if o.hours is None:
        return o.note
    money = f", {number(o.money, 0)} {currency}" if o.money else ""
    return f"{o.hours:g} h{money}"


def _worst(f: Forecast, o: Option) -> str:
    """The limit that would then be least sure."""
    at = min(range(len(o.passing)), key=lambda i: o.passing[i])
    return f"then least sure: {f.limits[at].name}, {percent(o.passing[at])}"


def share_rows(f: Forecast) -> list[tuple[str, str, float]]:
    """What the forecast's spread comes from: cause, percent, width of its bar."""
    return [(d.cause, f"{number(100.0 * d.share, 0)} %", 100.0 * d.share) for d in f.doubts]
