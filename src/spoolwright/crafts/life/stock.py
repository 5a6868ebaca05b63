"""A changed limit over the whole stock: which serials it touches, what is left of each, where each is."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from fractions import Fraction

from spoolwright.crafts.life.figure import shown
from spoolwright.crafts.life.model import AffectedSerial
from spoolwright.crafts.life.rules import Standing
from spoolwright.crafts.typefile.shop.lives import LifeLimit


@dataclass(frozen=True)
class LimitChange:
    """A limit and the one it replaced."""

    was: LifeLimit
    now: LifeLimit

    @property
    def fell(self) -> bool:
        return Fraction(self.now.limit) < Fraction(self.was.limit)

    @property
    def key(self) -> str:
        """The change as a piece of a subject."""
        return f"{self.now.part_number}/{self.now.measure}/{self.now.effective}"

    @property
    def sentence(self) -> str:
        """The change in words, with its document."""
        n = self.now
        return (
            f"Limit of {n.part_number} {'fell' if self.fell else 'rose'} "
            f"from {shown(Fraction(self.was.limit))} to {shown(Fraction(n.limit))} {n.measure} "
            f"on {n.effective} "
            f"({n.source.document} revision {n.revision}, {n.source.paragraph})."
        )


def limit_changes(limits: Sequence[LifeLimit], on: date) -> list[LimitChange]:
    """Every change of a limit up to a day, newest first."""
    out = []
    for now in limits:
        before = [
            x
            for x in limits
            if (x.part_number, x.measure) == (now.part_number, now.measure) and x.effective < now.effective
        ]
        if before and now.effective <= on:
            was = max(before, key=lambda x: x.effective)
            if Fraction(was.limit) != Fraction(now.limit):
                out.append(LimitChange(was, now))
    return sorted(out, key=lambda c: c.now.effective, reverse=True)


def affected_by(
    change: LimitChange, standings: Iterable[Standing], place: Callable[[str, str], str]
) -> tuple[AffectedSerial, ...]:
    """The serials of that part number, those with least left first; unproven ones first of all.

    Parameters
    ----------
    place : where a part is, from part number and serial: in an engine in the shop, installed, in store
    """
    was, now = Fraction(change.was.limit), Fraction(change.now.limit)
    rows = []
    for s in standings:
        if s.part_number != change.now.part_number:
            continue
        used, proof = s.ledger.totals[change.now.measure], s.ledger.proven
        row = AffectedSerial(
            serial=s.serial,
            used=shown(used),
            left_before=shown(was - used) if proof else "none proven",
            left_now=shown(now - used) if proof else "none proven",
            place=place(s.part_number, s.serial),
            proof=proof,
            over=proof and used >= now,
        )
        rows.append(((proof, now - used, s.serial), row))
    return tuple(row for _, row in sorted(rows, key=lambda r: r[0]))


def count_sentence(change: LimitChange, affected: Sequence[AffectedSerial]) -> str:
    """How many serials a change touches, in words."""
    n = len(affected)
    over = sum(a.over for a in affected)
    return f"{change.sentence} {n} serial{'s' if n != 1 else ''} affected; {over} at or over the limit."
