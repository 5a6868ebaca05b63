"""Over all visits: first-pass yield by cause, time in each stage, margins of engines that were accepted."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from statistics import quantiles

from spoolwright.crafts.visit.model import Stage

COVERAGE = 0.95
_GONE = (Stage.SHIPPED, Stage.INSTALLED)
_FEW = 5
"""Under so many stays no spread is told, the median alone."""


@dataclass(frozen=True)
class Share:
    """k of n, with the exact binomial interval."""

    name: str
    k: int
    n: int
    low: float
    high: float

    @property
    def value(self) -> float:
        return self.k / self.n if self.n else 0.0


def share(name: str, k: int, n: int) -> Share:
    """A share with its 95 % interval after Clopper and Pearson (Biometrika 26 (1934) 404)."""
    from scipy.stats import beta

    if n == 0:
        return Share(name, 0, 0, 0.0, 1.0)
    tail = (1.0 - COVERAGE) / 2.0
    low = float(beta.ppf(tail, k, n - k + 1)) if k else 0.0
    high = float(beta.ppf(1.0 - tail, k + 1, n - k)) if k < n else 1.0
    return Share(name, k, n, low, high)


@dataclass(frozen=True)
class Decision:
    """The first decision of a visit."""

    visit: str
    accepted: bool
    cause: str = ""


def first_pass(decisions: Sequence[Decision]) -> tuple[Share, list[Share]]:
    """Engines accepted at their first decision, and rejects by cause, the most frequent first."""
    n = len(decisions)
    causes = Counter(" ".join(d.cause.casefold().split()) or "not told" for d in decisions if not d.accepted)
    passed = share("accepted at the first run", sum(d.accepted for d in decisions), n)
    return passed, [share(name, k, n) for name, k in causes.most_common()]


@dataclass(frozen=True)
class Stay:
    """A visit's stay in a stage, ended or still going on."""

    visit: str
    stage: Stage
    days: float
    ended: bool


def stays(
    visit: str, opened_at: datetime, moves: Iterable[tuple[datetime, Stage]], now: datetime
) -> list[Stay]:
    """What a visit's moves make of its time; it begins in receiving."""
    out = []
    stage, since = Stage.RECEIVING, opened_at
    for at, to in moves:
        if to != stage:
            out.append(Stay(visit, stage, (at - since).total_seconds() / 86400.0, True))
            stage, since = to, at
    out.append(Stay(visit, stage, (now - since).total_seconds() / 86400.0, False))
    return [s for s in out if s.days > 0.0 or not s.ended]


@dataclass(frozen=True)
class StageTime:
    """How long a stage lasts [days]; low and high: the middle 80 % of ended stays, where told."""

    stage: Stage
    ended: int
    median: float | None
    low: float | None
    high: float | None
    here: int
    longest: Stay | None


def stage_times(all_stays: Iterable[Stay]) -> list[StageTime]:
    """Every stage in the shop that was met, in the order of the job."""
    ended: dict[Stage, list[float]] = {}
    here: dict[Stage, list[Stay]] = {}
    for s in all_stays:
        if s.ended:
            ended.setdefault(s.stage, []).append(s.days)
        else:
            here.setdefault(s.stage, []).append(s)
    out = []
    for stage in (s for s in Stage if s not in _GONE):
        days, now = sorted(ended.get(stage, [])), here.get(stage, [])
        if days or now:
            low, high = _middle(days)
            median = _median(days) if days else None
            longest = max(now, key=lambda s: s.days, default=None)
            out.append(StageTime(stage, len(days), median, low, high, len(now), longest))
    return out


def _median(days: Sequence[float]) -> float:
    half = len(days) // 2
    return days[half] if len(days) % 2 else 0.5 * (days[half - 1] + days[half])


def _middle(days: Sequence[float]) -> tuple[float | None, float | None]:
    if len(days) < _FEW:
        return None, None
    cuts = quantiles(days, n=10, method="inclusive")
    return cuts[0], cuts[-1]


@dataclass(frozen=True)
class MarginSeen:
    """The margin of power of a visit's accepted runs; in % with the half width of its 95 % interval."""

    visit: str
    engine: str
    at: datetime
    margin: float
    half: float
    seq: int
    left: bool
