"""A point as a card: one ladder from observed to corrected for all quantities, and its readings."""

from __future__ import annotations

import re
from collections import Counter
from dataclasses import dataclass

from spoolwright.crafts.testcell.model import Assessment, CorrectedQuantity, Figure, Point, Reading
from spoolwright.reports.figures import Cell, cell, clock, unit_text
from spoolwright.reports.labels import SHORT_QUANTITY, block_names, rating_names, short_names, words

_PROBES = 3
"""This many channels with one name and a number behind it are probes of one thing."""


@dataclass(frozen=True)
class Rung:
    """One quantity on one row of the ladder."""

    factor: str
    cell: Cell | None


@dataclass(frozen=True)
class Column:
    """A quantity's name and units."""

    name: str
    unit: str
    second: str


@dataclass(frozen=True)
class Line:
    """A channel's mean on a card."""

    name: str
    full_name: str
    mean: Cell
    as_recorded: Cell | None
    samples: str


@dataclass(frozen=True)
class Card:
    """A point, ready to be set."""

    id: str
    title: str
    when: str
    block: str
    steady: bool
    usable: bool
    why_not: tuple[str, ...]
    columns: tuple[Column, ...]
    shares: tuple[tuple[str, tuple[Rung, ...]], ...]
    """Observed, then every share with its factor and the value after it."""
    results: tuple[tuple[str, tuple[Cell | None, ...]], ...]
    """Corrected by the approved method, by the model, their difference."""
    lines: tuple[Line, ...]
    probes: tuple[Line, ...]
    steadiness: tuple[tuple[str, str, str, bool], ...]

    @property
    def state(self) -> str:
        """Steady or not, usable or not."""
        return ("steady" if self.steady else "not steady") + ("" if self.usable else ", not usable")


def cards(a: Assessment) -> list[Card]:
    """A card for every point, usable or not."""
    ratings, blocks = rating_names(a), block_names(a)
    items = {s.item: s.name for s in a.schedule}
    return [_card(p, _title(p, items, ratings), blocks.get(p.block, "")) for p in a.points]


def _title(p: Point, items: dict[str, str], ratings: dict[str, str]) -> str:
    if p.schedule_item:
        return items.get(p.schedule_item, words(p.schedule_item))
    return ratings.get(p.rating, words(p.rating)) if p.rating else "Not in the schedule"


def _card(p: Point, title: str, block: str) -> Card:
    lines = _lines(p.readings)
    probes = _probe_channels(p.readings)
    told = list(zip(p.readings, lines, strict=True))
    return Card(
        id=p.id,
        title=title,
        when=f"{clock(p.from_s)}–{clock(p.to_s)}",
        block=block,
        steady=p.steady,
        usable=p.usable,
        why_not=p.why_not,
        columns=tuple(_column(q) for q in p.corrected),
        shares=_shares(p.corrected),
        results=tuple(
            (name, tuple(cell(getattr(q, field)) for q in p.corrected))
            for name, field in (
                ("approved correction", "approved"),
                ("by the model, advisory", "model"),
                ("approved less model", "difference"),
            )
        ),
        lines=tuple(line for r, line in told if r.channel not in probes),
        probes=tuple(line for r, line in told if r.channel in probes),
        steadiness=tuple(
            (s.channel, _drift(s.drift, s.unit), _drift(s.allowed, s.unit), s.met) for s in p.steadiness
        ),
    )


def _drift(value: float, unit: str) -> str:
    return f"{value:.3g} {unit_text(unit)}".replace("-", "−")


def _column(q: CorrectedQuantity) -> Column:
    observed = cell(q.observed)
    assert observed is not None
    second = observed.second.unit if observed.second else ""
    return Column(SHORT_QUANTITY.get(q.quantity, words(q.quantity)), observed.main.unit, second)


def _shares(
    quantities: tuple[CorrectedQuantity, ...],
) -> tuple[tuple[str, tuple[Rung, ...]], ...]:
    """Rows of the ladder; a share that one quantity lacks is left open there."""
    names = list(dict.fromkeys(s.name for q in quantities for s in q.ladder))
    rows = [("observed", tuple(Rung("", cell(q.observed, like=_figures(q))) for q in quantities))]
    rows += [(name, tuple(_rung(q, name) for q in quantities)) for name in names if name != "observed"]
    return tuple(rows)


def _rung(q: CorrectedQuantity, name: str) -> Rung:
    step = next((s for s in q.ladder if s.name == name), None)
    if step is None:
        return Rung("", None)
    factor = "" if step.factor is None else f"× {step.factor:.5f}"
    return Rung(factor, cell(step.value, like=_figures(q)))


def _figures(q: CorrectedQuantity) -> list[Figure]:
    return [q.observed, *(s.value for s in q.ladder)]


def _lines(readings: tuple[Reading, ...]) -> list[Line]:
    out = []
    for r, name in zip(readings, short_names([r.name for r in readings]), strict=True):
        mean = cell(r.mean)
        assert mean is not None
        out.append(Line(name, r.name, mean, cell(r.as_recorded), f"{r.effective_samples:.0f}"))
    return out


def _probe_channels(readings: tuple[Reading, ...]) -> set[str]:
    """Single probes of a mean: channels numbered alike, as in mgt_1, mgt_2, mgt_3."""
    stems = {r.channel: re.sub(r"[_-]\d+$", "", r.channel) for r in readings}
    many = {stem for stem, n in Counter(stems.values()).items() if n >= _PROBES}
    return {c for c, stem in stems.items() if stem in many and c != stem}
