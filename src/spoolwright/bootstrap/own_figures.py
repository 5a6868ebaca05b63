"""The shop's own figures from its records, and from tables of lives."""

from __future__ import annotations

import csv
import io
import threading
from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

from spoolwright.crafts.cards.model import CardIssued, OnCard, StepSigned, WorkPutDown, WorkTaken
from spoolwright.crafts.inspection.model import DispositionAccepted, FindingRecorded, StageInspected
from spoolwright.crafts.life.model import PartUsed
from spoolwright.crafts.scope.figures import (
    Demand,
    Life,
    LivesFigure,
    Rate,
    TaskHours,
    Trend,
    demand_of,
    lives_figures,
    reject_trend,
)
from spoolwright.crafts.supply.model import PartOrdered
from spoolwright.crafts.testcell.visit.model import RunDisposed
from spoolwright.crafts.visit.entry import Body, Entry
from spoolwright.crafts.visit.parts import PartFitted, PartNeeded
from spoolwright.errors import OutputError

if TYPE_CHECKING:
    from spoolwright.bootstrap.shop import Shop

_KINDS: tuple[type[Body], ...] = (
    CardIssued, WorkTaken, WorkPutDown, StepSigned, StageInspected, FindingRecorded, DispositionAccepted,
    PartUsed, PartFitted, PartNeeded, PartOrdered, RunDisposed,
)  # fmt: skip
SERVICE = 0.95


@dataclass(frozen=True)
class ShopFigures:
    """Everything the page shows."""

    found: tuple[Rate, ...]
    scrapped: tuple[Rate, ...]
    hours: tuple[TaskHours, ...]
    lives: tuple[LivesFigure, ...]
    demand: tuple[Demand, ...]
    rejects: Trend | None
    no_serial: int = 0


@dataclass
class _Read:
    """What is folded from entries, newest revision of each subject."""

    at: dict[str, Entry[Body]] = field(default_factory=dict)
    hands: dict[str, list[Entry[Body]]] = field(default_factory=lambda: defaultdict(list))

    def of(self, kind: type[Body]) -> list[Entry[Body]]:
        return [e for e in self.at.values() if isinstance(e.body, kind)]


class OwnFigures:
    """The figures of a shop; read again only after something was recorded."""

    def __init__(self, shop: Shop) -> None:
        self._shop = shop
        self._lock = threading.Lock()
        self._read = _Read()
        self._seq = 0
        self._kept: ShopFigures | None = None

    def figures(self, now: datetime) -> ShopFigures:
        """The figures as the records stand."""
        with self._lock:
            news = self._shop.records.since(self._seq, *_KINDS)
            for entry in news:
                self._seq = entry.seq
                self._read.at[entry.subject] = entry
                if isinstance(entry.body, OnCard):
                    self._read.hands[f"{entry.visit}/{entry.body.card}/{entry.body.run}"].append(entry)
            if news or self._kept is None:
                self._kept = _figures(self._read, now)
            return self._kept


def _figures(read: _Read, now: datetime) -> ShopFigures:
    lives, no_serial = _lives(read)
    return ShopFigures(
        found=_found(read),
        scrapped=_scrapped(read),
        hours=_hours(read),
        lives=tuple(lives_figures(lives)),
        demand=_demand(read, now),
        rejects=_rejects(read),
        no_serial=no_serial,
    )


def _found(read: _Read) -> tuple[Rate, ...]:
    """Inspections that found something, of all that were signed, by part."""
    from spoolwright.core.reliability.shares import binomial_share

    looks: defaultdict[str, list[bool]] = defaultdict(list)
    for e in read.of(StageInspected):
        assert isinstance(e.body, StageInspected)
        looks[e.body.part].append(e.body.findings > 0)
    return tuple(Rate(p, binomial_share(sum(x), len(x))) for p, x in sorted(looks.items()))


def _scrapped(read: _Read) -> tuple[Rate, ...]:
    """Findings that ended in scrap, of all with a disposition, by part."""
    from spoolwright.core.reliability.shares import binomial_share

    ended: defaultdict[str, list[bool]] = defaultdict(list)
    for e in read.of(DispositionAccepted):
        assert isinstance(e.body, DispositionAccepted)
        finding = read.at.get(e.body.finding)
        if finding is not None and isinstance(finding.body, FindingRecorded) and not finding.body.withdrawn:
            ended[finding.body.part].append(e.body.decided == "scrap")
    return tuple(Rate(p, binomial_share(sum(x), len(x))) for p, x in sorted(ended.items()))


def _hours(read: _Read) -> tuple[TaskHours, ...]:
    """Hours in hand of each finished run of a card."""
    took: defaultdict[str, list[float]] = defaultdict(list)
    titles = {}
    for e in read.of(CardIssued):
        assert isinstance(e.body, CardIssued)
        card = e.body.card
        titles[card.id] = card.title
        hands = read.hands.get(f"{e.visit}/{card.id}/{e.body.run}", [])
        signed = {x.body.step for x in hands if isinstance(x.body, StepSigned)}
        if signed >= {s.id for s in card.step} and (hours := _in_hand(hands)) > 0.0:
            took[card.id].append(hours)
    return tuple(TaskHours(c, titles[c], tuple(h)) for c, h in sorted(took.items()))


def _in_hand(hands: Iterable[Entry[Body]]) -> float:
    """Hours between taking a card and putting it down, or the last step signed on it."""
    total, since, last = 0.0, None, None
    for e in hands:
        if isinstance(e.body, WorkTaken) and since is None:
            since = e.at
        elif isinstance(e.body, WorkPutDown) and since is not None:
            total, since = total + (e.at - since).total_seconds(), None
        elif isinstance(e.body, StepSigned) and since is not None and e.revision == 1:
            last = e.at
    if since is not None and last is not None and last > since:
        total += (last - since).total_seconds()
    return total / 3600.0


def _lives(read: _Read) -> tuple[list[Life], int]:
    """Each inspected serial with its hours: failed where a finding was scrapped, else suspended."""
    numbers = {}
    for e in read.of(PartFitted):
        assert isinstance(e.body, PartFitted)
        numbers[e.body.part, e.body.serial] = e.body.part_number
    hours: dict[tuple[str, str], float] = {}
    for e in read.of(PartUsed):
        assert isinstance(e.body, PartUsed)
        if e.body.part_off.hours:
            key = (e.body.part_number, e.body.serial)
            hours[key] = max(float(e.body.part_off.hours), hours.get(key, 0.0))
    scrapped = {
        (f.body.part, f.body.serial)
        for e in read.of(DispositionAccepted)
        if isinstance(e.body, DispositionAccepted)
        and e.body.decided == "scrap"
        and (f := read.at.get(e.body.finding)) is not None
        and isinstance(f.body, FindingRecorded)
        and not f.body.withdrawn
    }
    seen = {
        (e.body.part, e.body.serial) for e in read.of(StageInspected) if isinstance(e.body, StageInspected)
    }
    lives, without = [], 0
    for part, serial in sorted(seen):
        age = hours.get((numbers.get((part, serial), ""), serial), 0.0)
        if not serial or age <= 0.0:
            without += 1
            continue
        lives.append(Life(part, age, "failed" if (part, serial) in scrapped else "suspended"))
    return lives, without


def _demand(read: _Read, now: datetime) -> tuple[Demand, ...]:
    """Parts asked for since the first time, over the lead times of deliveries: stock for 95 %."""
    from spoolwright.core.reliability.spares import fill_rate, stock_for_service

    asked: defaultdict[str, int] = defaultdict(int)
    first: datetime | None = None
    for e in read.of(PartNeeded):
        assert isinstance(e.body, PartNeeded)
        first = e.at if first is None else min(first, e.at)
        if not e.body.withdrawn:
            asked[e.body.part] += e.body.quantity
    leads: defaultdict[str, list[int]] = defaultdict(list)
    for e in read.of(PartOrdered):
        assert isinstance(e.body, PartOrdered)
        if e.body.arrived_on is not None and not e.body.cancelled:
            leads[e.body.part].append((e.body.arrived_on - e.body.ordered_on).days)
    if first is None or (days := (now - first).total_seconds() / 86400.0) < 30.0:
        return ()
    out = []
    for part in sorted(set(asked) & set(leads)):
        expected = asked[part] / days * sum(leads[part]) / len(leads[part])
        stock = stock_for_service(expected, SERVICE)
        out.append(Demand(part, expected, stock, fill_rate(expected, stock)))
    return tuple(out)


def _rejects(read: _Read) -> Trend | None:
    """Whether rejects grow rarer over the runs that were decided."""
    decided = sorted(read.of(RunDisposed), key=lambda e: e.seq)
    rejected = [
        n
        for n, e in enumerate(decided, 1)
        if isinstance(e.body, RunDisposed) and e.body.decision != "accepted"
    ]
    return reject_trend(rejected, len(decided))


def read_figures(path: Path) -> list[LivesFigure]:
    """The figures of a table of lives.

    Raises
    ------
    InputError
        The file cannot be read.
    LivesError
        The table holds mistakes.
    """
    from spoolwright.sources.lives_table import read_lives

    return lives_figures(read_lives(path))


def figures_csv(
    figures: Sequence[LivesFigure], hours_a_month: float | None, lead_days: float | None, service: float
) -> str:
    """A row for each part, and for each of its causes."""
    out = io.StringIO(newline="")
    writer = csv.writer(out)
    writer.writerow(
        ["part", "cause", "failed", "suspended", "shape", "shape_low", "shape_high", "scale_h", "scale_h_low",
         "scale_h_high", "b10_h", "b10_h_low", "b10_h_high", "log_likelihood", "expected_in_lead_time",
         "stock", "fill_rate", "told"]
    )  # fmt: skip
    for f in figures:
        spares: list[object] = ["", "", ""]
        if hours_a_month and lead_days and (d := demand_of(f, hours_a_month, lead_days, service)):
            spares = [_plain(d.in_lead_time), d.stock, _plain(d.fill)]
        for cause, fit in [("", f.fit), *f.causes.items()]:
            numbers: list[object] = [""] * 10
            if fit is not None:
                (a, b), (c, d_) = fit.interval()
                low, high = fit.life_interval(0.1)
                told = (fit.shape, a, b, fit.scale, c, d_, fit.life(0.1), low, high, fit.log_likelihood)
                numbers = [_plain(x) for x in told]
            last = [*(spares if not cause else ["", "", ""]), f.told if not cause else ""]
            writer.writerow([f.part, cause, f.failed, f.suspended, *numbers, *last])
    return out.getvalue()


def curves_csv(figures: Sequence[LivesFigure]) -> str:
    """The product-limit estimate: a row for each age at which something failed."""
    out = io.StringIO(newline="")
    writer = csv.writer(out)
    writer.writerow(["part", "hours", "at_risk", "failed", "survival", "survival_low", "survival_high"])
    for f in figures:
        if f.curve is None:
            continue
        low, high = f.curve.interval()
        for n, age in enumerate(f.curve.ages):
            shares = [_plain(float(x[n])) for x in (f.curve.survival, low, high)]
            writer.writerow(
                [f.part, _plain(float(age)), int(f.curve.at_risk[n]), int(f.curve.failed[n]), *shares]
            )
    return out.getvalue()


def _plain(value: float) -> str:
    return f"{value:.8g}"


def write_table(text: str, path: Path) -> None:
    """Write a table.

    Raises
    ------
    OutputError
        The file cannot be written.
    """
    try:
        path.write_text(text, encoding="utf-8", newline="")
    except OSError as error:
        what = f"the table cannot be written: {error.strerror}."
        raise OutputError(what, where=str(path), mend="Check folder and rights.") from error
