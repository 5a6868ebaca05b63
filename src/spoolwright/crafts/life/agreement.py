"""Whether the cards of an engine's parts agree about the engine: its own counts, day by day.

Every card copies the engine's hours and starts. Two cards that give one day two counts, or a later day a
lower count, cannot both be right; which one is wrong the tool does not say.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from fractions import Fraction
from itertools import pairwise

from spoolwright.crafts.life.figure import exact, shown, slack
from spoolwright.crafts.life.line_checks import of
from spoolwright.crafts.life.model import PartUsed


@dataclass(frozen=True)
class Copied:
    """A count of an engine as a card has it."""

    engine: str
    measure: str
    on: date
    text: str
    value: Fraction
    part_number: str
    serial: str
    line: int

    def __str__(self) -> str:
        card = f"card of {self.part_number}, serial {self.serial}, line {self.line}"
        return f"{shown(self.value)} on {self.on} ({card})"


@dataclass(frozen=True)
class Disagreement:
    """Two cards that cannot both be right about an engine."""

    earlier: Copied
    later: Copied

    @property
    def text(self) -> str:
        e = self.earlier
        return f"cards disagree about the {e.measure} of engine {e.engine}: {e}, {self.later}."


def disagreements(lines: Iterable[PartUsed]) -> list[Disagreement]:
    """Each pair of neighbours in time, from two cards, whose counts of an engine contradict each other."""
    by_engine: dict[tuple[str, str], list[Copied]] = {}
    for copied in _copied(lines):
        by_engine.setdefault((copied.engine, copied.measure), []).append(copied)
    return [d for own in by_engine.values() for d in _of_engine(own)]


def _copied(lines: Iterable[PartUsed]) -> Iterator[Copied]:
    for x in lines:
        for on, reading in ((x.on, x.engine_on), (x.off, x.engine_off)):
            for measure in ("hours", "starts"):
                text = of(reading, measure)
                value = exact(text)
                if on is not None and value is not None and x.engine_serial:
                    place = (x.part_number, x.serial, x.line)
                    yield Copied(x.engine_serial, measure, on, text, value, *place)


def _of_engine(own: Sequence[Copied]) -> Iterator[Disagreement]:
    ordered = sorted(own, key=lambda c: (c.on, c.value, c.part_number, c.serial, c.line))
    for a, b in pairwise(ordered):
        if (a.part_number, a.serial) == (b.part_number, b.serial):
            continue  # what a card says against itself stands in its own ledger
        gap = b.value - a.value
        allowed = slack((a.text, b.text))
        if (a.on == b.on and abs(gap) > allowed) or gap < -allowed:
            yield Disagreement(a, b)
