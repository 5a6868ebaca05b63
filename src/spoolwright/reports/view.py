"""What page, print and terminal show, worked out once: order, grouping, rows, drawn intervals."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from spoolwright.crafts.testcell.model import Assessment, Event, Figure, Strip, Verdict
from spoolwright.reports.figures import Cell, cell, percent
from spoolwright.reports.labels import state_words, verdict_note
from spoolwright.units import difference_from_inner

GROUP_TITLE = {
    "power": "Power",
    "temperature": "Temperatures",
    "temperature difference": "Temperatures",
    "speed": "Speeds",
    "specific fuel consumption": "Fuel consumption",
    "torque": "Torque",
    "velocity": "Vibration",
    "gauge pressure": "Oil pressure and other pressures",
    "pressure": "Oil pressure and other pressures",
    "volume flow": "Oil consumption",
    "time": "Times",
    "ratio": "Shares and ratios",
    "state": "States",
}
OTHERS = "Others"
UNREAD = "Without a reading"
TOLD_RISK = 0.001
"""A risk below this is not worth a line."""
THIN = 8
"""Margins drawn on the first page, besides those that fail."""
_RANK = {"does_not_meet": 0, "cannot_tell": 1, "meets": 2}
_FARTHEST = 4.0
"""Most that the drawing of the thinnest margins shows on either side, in 95 % half-widths from the limit."""


@dataclass(frozen=True)
class Drawn:
    """A margin as a short interval on a scale; positions are percent of the drawing's width."""

    zero: float
    low: float
    middle: float
    high: float
    beyond: str
    """'‹' or '›' where the margin lies off the drawing, else empty."""


@dataclass(frozen=True)
class Row:
    """A verdict with its figures as text."""

    verdict: Verdict
    note: str
    """Run, block, or that it was shown anew, where that tells verdicts of one name apart."""
    reading: Cell | None
    limit: Cell | None
    accept: Cell | None
    margin: Cell | None
    probability: str
    risk: str
    """That accepting, or not accepting, is wrong; empty where it is too small to tell."""
    drawn: Drawn | None = None

    @property
    def name(self) -> str:
        """The limit's name, with what tells it from others of that name."""
        return f"{self.verdict.name} ({self.note})" if self.note else self.verdict.name

    @property
    def place(self) -> str:
        """Document, and the point it was read at."""
        v = self.verdict
        return f"{v.source} · point {v.point}" if v.point else v.source


@dataclass(frozen=True)
class Group:
    """Verdicts of one dimension, drawn on one scale."""

    title: str
    rows: tuple[Row, ...]


def half_widths(v: Verdict) -> float:
    """The margin in units of its own 95 % half-width; infinite where it has none."""
    if v.margin is None or not v.margin.standard_uncertainty:
        return math.inf
    return v.margin.value / (2 * v.margin.standard_uncertainty)


def ranked(verdicts: Sequence[Verdict]) -> list[Verdict]:
    """What fails first, then what cannot be told, then the thinnest margin."""
    return sorted(verdicts, key=lambda v: (_RANK[v.outcome], half_widths(v)))


def in_order(verdicts: Sequence[Verdict]) -> list[Verdict]:
    """What fails first, then what cannot be told, else as the document orders them."""
    return sorted(verdicts, key=lambda v: _RANK[v.outcome])


def standing(a: Assessment) -> list[Verdict]:
    """Verdicts that no later block has shown anew."""
    return [v for v in a.verdicts if v.id not in a.disposition.superseded]


def row(a: Assessment, v: Verdict, drawn: Drawn | None = None) -> Row:
    """A verdict as a table's row."""
    states = state_words(v)
    figure = v.reading or v.limit_value
    is_state = figure is not None and figure.dimension == "state"
    limit = v.limit_value
    if is_state and limit is not None:
        # The limit lies between the two states: what it allows is the state on its own side.
        limit = limit.model_copy(update={"value": float(v.bound == "min")})
    apart = None if v.margin is None else v.margin.value
    return Row(
        verdict=v,
        note=verdict_note(a, v),
        reading=cell(v.reading, states, apart=apart),
        limit=cell(limit, states, apart=apart),
        accept=cell(v.acceptance_limit, states),
        margin=None if is_state else cell(v.margin, apart=apart),
        probability="–" if not _uncertain(v) else percent(v.probability_conforming),
        risk=_risk(v),
        drawn=None if is_state else drawn,
    )


def _uncertain(v: Verdict) -> bool:
    return v.margin is None or bool(v.margin.standard_uncertainty)


def _risk(v: Verdict) -> str:
    if v.outcome == "meets" and (v.consumer_risk or 0.0) >= TOLD_RISK:
        return percent(v.consumer_risk)
    if v.outcome != "meets" and v.reading is not None and (v.producer_risk or 0.0) >= TOLD_RISK:
        return percent(v.producer_risk)
    return ""


def thinnest(a: Assessment) -> list[Row]:
    """The thinnest margins, drawn side by side: one scale, the margin's own 95 % half-width as its unit."""
    known = [v for v in standing(a) if math.isfinite(half_widths(v))]
    order = sorted(known, key=half_widths)
    shown = order[: min(THIN + sum(v.outcome != "meets" for v in order), 2 * THIN)]
    middles = [half_widths(v) for v in shown]
    left = max(min([0.0, *middles]) - 1.5, -_FARTHEST)
    right = min(max([0.0, *middles]) + 1.5, _FARTHEST)
    return [row(a, v, _drawn(m - 1.0, m, m + 1.0, left, right)) for v, m in zip(shown, middles, strict=True)]


def groups(a: Assessment) -> list[Group]:
    """All verdicts by dimension, in the document's order; what fails or cannot be told first in its group."""
    found: dict[str, list[Verdict]] = {title: [] for title in (*GROUP_TITLE.values(), OTHERS, UNREAD)}
    for v in in_order(a.verdicts):
        figure = v.reading or v.limit_value
        found[GROUP_TITLE.get(figure.dimension, OTHERS) if figure else UNREAD].append(v)
    return [_group(a, title, members) for title, members in found.items() if members]


def _group(a: Assessment, title: str, members: Sequence[Verdict]) -> Group:
    spans = {v.id: span for v in members if (span := _span(v.margin)) is not None}
    if not spans:
        return Group(title, tuple(row(a, v) for v in members))
    # The widest half of the margins sets the scale, so that one huge margin does not flatten the thin ones.
    highs = sorted(high for _, _, high in spans.values())
    top = max(highs[len(highs) // 2], 0.0)
    bottom = min(0.0, *(max(low, -top if top else low) for low, _, _ in spans.values()))
    width = (top - bottom) or 1.0
    left, right = bottom - 0.06 * width, top + 0.08 * width
    return Group(
        title, tuple(row(a, v, _drawn(*spans[v.id], left, right) if v.id in spans else None) for v in members)
    )


def _drawn(low: float, middle: float, high: float, left: float, right: float) -> Drawn:
    def place(x: float) -> float:
        return round(100 * min(max((x - left) / (right - left), 0.0), 1.0), 2)

    beyond = "›" if middle > right else "‹" if middle < left else ""
    return Drawn(place(0.0), place(low), place(middle), place(high), beyond)


def _span(margin: Figure | None) -> tuple[float, float, float] | None:
    if margin is None:
        return None
    unit = margin.shown_in or margin.unit
    middle = difference_from_inner(margin.value, unit)
    half = 2 * abs(difference_from_inner(margin.standard_uncertainty or 0.0, unit))
    return middle - half, middle, middle + half


def strips_of(run: str, strips: Sequence[Strip]) -> list[Strip]:
    """The strips of one run in drawing order."""
    return [s for s in strips if s.run == run]


def events_of(run: str, a: Assessment) -> list[Event]:
    """The events of one run in order of time."""
    return sorted((e for e in a.events if e.run == run), key=lambda e: e.at_s)
