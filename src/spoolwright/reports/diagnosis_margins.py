"""Margins as they are and as they would be with a cause put right, as rows and drawn on one scale."""

from __future__ import annotations

from dataclasses import dataclass

from spoolwright.crafts.testcell.diagnosis.model import Diagnosis, MarginAfter
from spoolwright.reports.diagnosis_view import leading, share
from spoolwright.reports.figures import Cell, cell
from spoolwright.reports.labels import RATED, words


@dataclass(frozen=True)
class Before:
    """Places of a margin now and afterwards on a drawing of width 100; the limit at `zero`."""

    zero: float
    now: tuple[float, float, float]
    after: tuple[float, float, float]


@dataclass(frozen=True)
class MarginRow:
    """A margin now and afterwards."""

    quantity: str
    rating: str
    now: Cell
    after: Cell
    mark: str
    """That of a limit for `after`; empty where no limit asks for it."""
    words: str
    drawn: Before | None


@dataclass(frozen=True)
class MarginTable:
    """Margins with one cause put right."""

    name: str
    chance: str
    rows: tuple[MarginRow, ...]

    @property
    def ratings(self) -> list[tuple[str, list[MarginRow]]]:
        """Its rows by rating, in their order."""
        found: dict[str, list[MarginRow]] = {}
        for r in self.rows:
            found.setdefault(r.rating, []).append(r)
        return list(found.items())


def margin_tables(d: Diagnosis) -> list[MarginTable]:
    """Margins now and with a cause put right; one drawing scale for all, see `_half_widths`."""
    told = [s for s in leading(d) if s.margins]
    ends = [v for s in told for m in s.margins for v in _ends(m)]
    low, high = min([0.0, *ends], default=0.0), max([0.0, *ends], default=1.0)
    room = 0.04 * (high - low)
    return [
        MarginTable(
            s.text, share(s.probability), tuple(_margin(d, m, low - room, high + room) for m in s.margins)
        )
        for s in told
    ]


def _ends(m: MarginAfter) -> list[float]:
    unit = _half_width(m)
    return [f.value / unit + side for f in (m.now, m.after) for side in (-1.0, 1.0)] if unit else []


def _half_width(m: MarginAfter) -> float:
    """The unit of a drawn margin: the larger 95 % half-width of the two [inner unit]."""
    return 2.0 * max(m.now.standard_uncertainty or 0.0, m.after.standard_uncertainty or 0.0)


def _margin(d: Diagnosis, m: MarginAfter, left: float, right: float) -> MarginRow:
    now, after = (cell(f, like=(m.now, m.after)) for f in (m.now, m.after))
    assert now is not None and after is not None
    mark, told = _outlook(m) if m.limit else ("", "")
    return MarginRow(
        quantity=RATED.get(m.quantity, words(m.quantity)),
        rating=_rating(d, m),
        now=now,
        after=after,
        mark=mark,
        words=told,
        drawn=_drawn(m, left, right),
    )


def _rating(d: Diagnosis, m: MarginAfter) -> str:
    """A rating as the title of its margin's derivation names it, else its id as words."""
    told = d.derivations.get(m.now.how)
    _, _, name = told.title.partition(f"{RATED.get(m.quantity, '')}, ") if told else ("", "", "")
    return name.partition(":")[0] or words(m.rating)


def _outlook(m: MarginAfter) -> tuple[str, str]:
    """Mark and words for what a run would then read against its limit."""
    half = 2.0 * (m.after.standard_uncertainty or 0.0)
    if m.after.value > half:
        return "meets", "would meet its limit"
    if m.after.value < -half:
        return "does_not_meet", "would still not meet"
    return "cannot_tell", "too near to tell"


def _drawn(m: MarginAfter, left: float, right: float) -> Before | None:
    unit = _half_width(m)
    if not unit or right <= left:
        return None

    def at(v: float) -> float:
        return round(100.0 * (v - left) / (right - left), 2)

    def three(value: float, u: float | None) -> tuple[float, float, float]:
        half = 2.0 * (u or 0.0)
        return at((value - half) / unit), at(value / unit), at((value + half) / unit)

    return Before(
        at(0.0),
        three(m.now.value, m.now.standard_uncertainty),
        three(m.after.value, m.after.standard_uncertainty),
    )
