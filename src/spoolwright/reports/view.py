"""What both the page and the print show, worked out once: order, grouping, drawn intervals, names."""

from __future__ import annotations

from dataclasses import dataclass

from spoolwright.crafts.testcell.model import Assessment, Event, Figure, Point, Strip, Verdict
from spoolwright.reports.figures import percent, shown
from spoolwright.units import difference_from_inner

OUTCOME = {
    "meets": "meets",
    "does_not_meet": "does not meet",
    "cannot_tell": "cannot tell",
}
QUANTITY = {
    "power": "Power",
    "gas_generator_speed": "Gas generator speed Ng",
    "measured_gas_temperature": "Measured gas temperature MGT",
    "fuel_flow": "Fuel flow",
    "specific_fuel_consumption": "Specific fuel consumption",
}
RATED = {
    "power_at_rated_mgt": "Power at rated MGT",
    "mgt_at_rated_power": "MGT at rated power",
    "ng_at_rated_power": "Ng at rated power",
    "sfc_at_rated_power": "Fuel consumption at rated power",
}
GROUP_TITLE = {
    "power": "Power",
    "temperature": "Temperatures",
    "temperature difference": "Temperatures",
    "speed": "Speeds",
    "specific fuel consumption": "Fuel consumption",
    "velocity": "Vibration",
    "gauge pressure": "Oil and other pressures",
    "pressure": "Oil and other pressures",
    "time": "Times",
    "torque": "Torque",
    "volume flow": "Oil consumption",
    "ratio": "Ratios",
}
_RANK = {"does_not_meet": 0, "cannot_tell": 1, "meets": 2}


@dataclass(frozen=True)
class Drawn:
    """A margin as a short interval on its group's scale; positions are percent of the drawing's width."""

    zero: float
    low: float
    middle: float
    high: float
    beyond: bool


@dataclass(frozen=True)
class Row:
    """A verdict as a table row."""

    verdict: Verdict
    drawn: Drawn | None


@dataclass(frozen=True)
class Group:
    """Verdicts of one dimension, on one scale."""

    title: str
    rows: tuple[Row, ...]
    scale: str


def ranked(verdicts: tuple[Verdict, ...]) -> list[Verdict]:
    """What fails first, then what cannot be told, then the thinnest margin."""
    return sorted(
        verdicts,
        key=lambda v: (
            _RANK[v.outcome],
            2.0 if v.probability_conforming is None else v.probability_conforming,
        ),
    )


def groups(verdicts: tuple[Verdict, ...]) -> list[Group]:
    """Verdicts by dimension; the group with the worst verdict stands first."""
    found: dict[str, list[Verdict]] = {}
    for v in ranked(verdicts):
        figure = v.reading or v.limit_value
        key = GROUP_TITLE.get(figure.dimension, "Others") if figure else "Others"
        found.setdefault(key, []).append(v)
    return [_group(title, members) for title, members in found.items()]


def _group(title: str, members: list[Verdict]) -> Group:
    spans = {v.id: span for v in members if (span := _span(v.margin)) is not None}
    if not spans:
        return Group(title, tuple(Row(v, None) for v in members), "")
    # The widest half of the margins sets the scale, so that one huge margin does not flatten the thin ones.
    highs = sorted(high for _, _, high in spans.values())
    top = max(highs[len(highs) // 2], 0.0)
    bottom = min(0.0, *(max(low, -top if top else low) for low, _, _ in spans.values()))
    width = (top - bottom) or 1.0
    left, right = bottom - 0.06 * width, top + 0.08 * width

    def place(x: float) -> float:
        return 100 * min(max((x - left) / (right - left), 0.0), 1.0)

    rows = []
    for v in members:
        if v.id not in spans:
            rows.append(Row(v, None))
            continue
        low, middle, high = spans[v.id]
        rows.append(
            Row(v, Drawn(place(0.0), place(low), place(middle), place(high), middle > right or middle < left))
        )
    return Group(title, tuple(rows), "one scale down this table; the line is the limit, the bar 95 %")


def _span(margin: Figure | None) -> tuple[float, float, float] | None:
    if margin is None:
        return None
    unit = margin.shown_in or margin.unit
    middle = difference_from_inner(margin.value, unit)
    half = 2 * abs(difference_from_inner(margin.standard_uncertainty or 0.0, unit))
    return middle - half, middle, middle + half


def thinnest_text(assessment: Assessment) -> str:
    """The thinnest margin as a phrase."""
    wanted = assessment.disposition.thinnest
    for v in assessment.verdicts:
        if v.id == wanted and v.margin is not None:
            s = shown(v.margin)
            chance = percent(v.probability_conforming)
            return f"{v.name}: {s.value} ± {s.uncertainty} {s.unit}, {chance} probability of conforming"
    return ""


def used_channels(point: Point) -> list[str]:
    """Channels a point card lists."""
    return [r.channel for r in point.readings]


def strips_of(run: str, strips: tuple[Strip, ...]) -> list[Strip]:
    """The strips of one run in drawing order."""
    return [s for s in strips if s.run == run]


def events_of(run: str, assessment: Assessment) -> list[Event]:
    """The events of one run in order of time."""
    return sorted((e for e in assessment.events if e.run == run), key=lambda e: e.at_s)
