"""Suspects of a diagnosis: probability, size, evidence, margins with the cause put right, what to reopen."""

from __future__ import annotations

from dataclasses import dataclass

from spoolwright.core.diagnosis.causes import Cause
from spoolwright.core.diagnosis.diagnosing import Weighing
from spoolwright.core.diagnosis.weighing import Sized
from spoolwright.crafts.testcell.diagnosis.margins_after import MarginTeller
from spoolwright.crafts.testcell.diagnosis.mechanical import MECHANICAL, Mechanical, log_factor
from spoolwright.crafts.testcell.diagnosis.model import Evidence, Magnitude, MarginAfter, Suspect
from spoolwright.crafts.testcell.diagnosis.prepared import Prepared, Weighed
from spoolwright.crafts.testcell.diagnosis.reopening import reopening
from spoolwright.crafts.testcell.diagnosis.speaking import (
    evidence,
    other_evidence,
    reading_evidence,
    reading_step,
    sized,
)
from spoolwright.crafts.testcell.diagnosis.words import in_words
from spoolwright.crafts.testcell.ledger import Ledger
from spoolwright.crafts.testcell.wording import spoken_unit
from spoolwright.crafts.typefile.model import TypeFile
from spoolwright.units import unit_of

NAMED = 0.01
"""Suspects less probable than this are not named."""
_MOST = 8
"""Suspects named at most."""


def magnitude(found: Sized, weighing: Weighing, type_file: TypeFile) -> Magnitude:
    """A size with its 90 % interval; of a wrong reading with what a size of 1 is in the channel's unit."""
    step, unit = None, ""
    if found.cause.kind == "reading":
        channel = next(c for c in type_file.channel if c.id == found.cause.module)
        known = unit_of(channel.unit, channel.dimension)
        step = reading_step(weighing, found.cause) / known.factor or None
        unit = spoken_unit(known.name, difference=True)
    return Magnitude(
        mean=found.mean, low=found.low, high=found.high, unit=found.cause.unit, step=step, step_unit=unit
    )


@dataclass(frozen=True)
class Scribe:
    """Writes the suspects of one diagnosis."""

    by: Prepared
    weighed: Weighed
    margins: MarginTeller | None
    ledger: Ledger

    def suspects(self) -> tuple[Suspect, ...]:
        """Those probable enough to be named, the most probable first."""
        weighing = self.weighed.weighing
        present = {c.id: weighing.present(c.id) for c in weighing.causes}
        named = sorted((c for c in weighing.causes if present[c.id] >= NAMED), key=lambda c: -present[c.id])
        named = named[:_MOST]
        told = evidence(weighing, [c.id for c in named])
        found = [sized(weighing, c.id) for c in named]
        margins = {} if self.margins is None else self.margins.margins(weighing, found, self.ledger)
        out = [
            self._suspect(f, present[f.cause.id], told[f.cause.id], margins.get(f.cause.id, ()))
            for f in found
        ]
        out += [
            self._mechanical(m, self.weighed.mechanical[m.id])
            for m in MECHANICAL
            if self.weighed.mechanical[m.id] >= max(NAMED, 2.0 * m.prior)  # else no reading speaks for it
        ]
        return tuple(sorted(out, key=lambda s: -s.probability)[:_MOST])

    def _suspect(
        self, found: Sized, probability: float, told: list[Evidence], margins: tuple[MarginAfter, ...]
    ) -> Suspect:
        weighing, cause = self.weighed.weighing, found.cause
        told = [*told, *other_evidence(cause.id, self.weighed.seen, self.by.kind.type_file)]
        module, name = self._module(cause)
        reopen, hours, cost = self._work(cause.id)
        return Suspect(
            id=cause.id,
            text=cause.text,
            kind=cause.kind,
            module=module,
            module_name=name,
            probability=probability,
            alone=sum(e.probability for e in weighing.explanations if e.ids == (cause.id,)),
            words=in_words(probability),
            magnitude=magnitude(found, weighing, self.by.kind.type_file),
            evidence_for=tuple(e for e in told if e.weight > 0.0),
            evidence_against=tuple(e for e in told if e.weight < 0.0),
            margins=margins,
            reopen=reopen,
            hours=hours,
            cost=cost,
        )

    def _mechanical(self, m: Mechanical, probability: float) -> Suspect:
        seen = self.weighed.seen
        told = [
            reading_evidence(
                seen[s.reading],
                s.sign,
                s.probability,
                log_factor(seen[s.reading], [s]),
                self.by.kind.type_file,
            )
            for s in m.shows
            if s.reading in seen
        ]
        size = max((s.sign * seen[s.reading].out for s in m.shows if s.reading in seen), default=0.0)
        reopen, hours, cost = self._work(m.id)
        return Suspect(
            id=m.id,
            text=m.text,
            kind="mechanical",
            module=m.module.replace(" ", "_"),
            module_name=m.module.capitalize(),
            probability=probability,
            alone=probability,
            words=in_words(probability),
            magnitude=Magnitude(
                mean=size,
                low=max(size - 1.645, 0.0),
                high=size + 1.645,
                unit="standard deviations of the fleet",
            ),
            evidence_for=tuple(e for e in told if e.weight > 0.0),
            evidence_against=tuple(e for e in told if e.weight < 0.0),
            reopen=reopen,
            hours=hours,
            cost=cost,
        )

    def _module(self, cause: Cause) -> tuple[str, str]:
        """Id and name of the type file's module that a cause sits in, or of the channel that reads wrong."""
        type_file = self.by.kind.type_file
        if cause.kind == "reading":
            name = next(c.name for c in type_file.channel if c.id == cause.module)
            return cause.module, name
        for m in type_file.module:
            if any(f in m.factors for f in cause.factors):
                return m.id, m.name
        return cause.module, cause.module.replace("_", " ").capitalize()

    def _work(self, cause: str) -> tuple[str, float | None, float | None]:
        table = self.by.tables.costs
        row = None if table is None else reopening(cause, table)
        return ("", None, None) if row is None else (row.text, row.hours, row.money)
