"""What the page of a card shows: the card, the step in front of the person, and what they may do on it."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

from spoolwright.crafts.cards.gauges import state_words
from spoolwright.crafts.cards.hand import newer_text, newer_words, workers
from spoolwright.crafts.cards.model import CountLine, GaugeKnown, ReadingTaken, StepSigned, ToolMoved
from spoolwright.crafts.cards.rules import hands_on, out_of_order, sign_hindrances
from spoolwright.crafts.cards.standing import CardState, StepState
from spoolwright.crafts.cards.tools import count_lines, count_shown, differences
from spoolwright.crafts.cards.words import (
    both_units,
    check_shown,
    correct_shown,
    dispose_shown,
    done_shown,
    limit_words,
    put_down_shown,
    put_down_words,
    resume_words,
    source_words,
    step_title,
    take_shown,
    waive_shown,
)
from spoolwright.crafts.typefile.shop.routes import Measure
from spoolwright.crafts.visit.desk import Desk
from spoolwright.crafts.visit.entry import Entry
from spoolwright.crafts.visit.folder import Folder
from spoolwright.crafts.visit.model import VisitOpened
from spoolwright.crafts.visit.people import PersonKnown, Role
from spoolwright.units import INNER_UNIT, unit_named, units_of


@dataclass(frozen=True)
class MeasureView:
    """A value to be taken: its limit, what was read, and what repeats with one tap."""

    measure: Measure
    limit: str
    held: Entry[ReadingTaken] | None
    lost: Entry[ReadingTaken] | None
    last: str
    gauge: str
    gauges: list[tuple[str, str]]
    stale_gauges: bool
    units: tuple[str, ...]

    @property
    def taken(self) -> Entry[ReadingTaken] | None:
        return self.held or self.lost

    @property
    def stands(self) -> bool:
        """The reading needs not be taken again."""
        if self.held is None or not self.held.body.gauge_valid:
            return False
        return not self.measure.must_meet or self.held.body.verdict == "meets"


@dataclass(frozen=True)
class CardPage:
    """Everything the template asks for."""

    card: CardState
    state: StepState
    folder: Folder
    desk: Desk

    @cached_property
    def serial(self) -> str:
        return self.folder.of(VisitOpened)[-1].body.engine_serial

    @property
    def here(self) -> str:
        ref = self.card.ref
        return f"/visit/{ref.visit}/cards/{ref.card}/{ref.run}"

    @property
    def mine(self) -> bool:
        """The card is in the hand of the person who looks."""
        return self.card.taken is not None and self.card.taken.author == self.desk.person.login

    @property
    def is_lead(self) -> bool:
        return Role.LEAD in self.desk.person.roles

    @property
    def may_do(self) -> bool:
        return Role(self.state.step.signed_by) in self.desk.person.roles

    @property
    def may_take(self) -> bool:
        return bool(set(workers(self.card)) & self.desk.person.roles)

    @property
    def source(self) -> str:
        return source_words(self.state.step.source, self.documents)

    @property
    def documents(self) -> dict[str, str]:
        return self.card.issued.body.documents

    @property
    def title(self) -> str:
        return step_title(self.card, self.state)

    @property
    def resume(self) -> str:
        return resume_words(self.card)

    @property
    def put_down(self) -> str:
        return put_down_words(self.card, self.card.put_down) if self.card.put_down else ""

    @cached_property
    def first(self) -> str:
        """What comes before the step, in words."""
        found = out_of_order(self.card, self.state)
        return f"{found.what[:1].upper()}{found.what[1:]} {found.mend}" if found else ""

    @cached_property
    def hindrances(self) -> list[str]:
        """What the step lacks before it can be signed."""
        moves = [e.seq for e in self._tool_entries() if isinstance(e.body, ToolMoved)]
        found = sign_hindrances(self.card, self.state, max(moves, default=0))
        return [f"{h.what[:1].upper()}{h.what[1:]} {h.mend}" for h in found]

    @property
    def sign_text(self) -> str:
        return done_shown(self.card, self.state, self.serial)

    @property
    def check_text(self) -> str:
        return check_shown(self.card, self.state, self.serial)

    @property
    def take_text(self) -> str:
        return take_shown(self.card, self.serial, self.desk.person.name)

    @property
    def put_down_text(self) -> str:
        return put_down_shown(self.card, self.serial)

    @property
    def waive_text(self) -> str:
        return waive_shown(self.card, self.state, self.serial)

    @property
    def correct_text(self) -> str:
        return correct_shown(self.card, self.state, self.serial)

    @cached_property
    def check_refusal(self) -> str:
        """Why the person who looks cannot check; empty when they can."""
        by = self.desk.person
        if by.login in hands_on(self.desk, self.card, self.state):
            return f"You had a hand in this step: another {self.state.step.checked_by} checks it."
        if Role(self.state.step.checked_by) not in by.roles:
            return f"It waits for the check by another person who is {self.state.step.checked_by}."
        return ""

    @staticmethod
    def value(entry: Entry[ReadingTaken]) -> str:
        """A reading in both units, the entered one first."""
        return both_units(entry.body.entered, entry.body.unit)

    @staticmethod
    def gauge(entry: Entry[ReadingTaken]) -> str:
        """The gauge of a reading and whether it was in date."""
        body = entry.body
        if not body.gauge:
            return ""
        return f"with {body.gauge}, " + (
            f"in date until {body.gauge_due}" if body.gauge_valid else f"OUT OF DATE since {body.gauge_due}"
        )

    def dispose_text(self, told: str) -> str:
        return dispose_shown(self.card, told, self.serial)

    @cached_property
    def revisions(self) -> list[Entry[StepSigned]]:
        """Every signature of the step where it was corrected or done again, first to last."""
        if self.state.signed is None or self.state.signed.revision == 1:
            return []
        past = self.desk.records.history(self.state.signed.subject)
        return [e for e in past if isinstance(e.body, StepSigned)]  # type: ignore[misc]

    @cached_property
    def newer(self) -> str:
        """What the lead is told about a newer text; empty when there is none to decide."""
        text = newer_text(self.card, self.folder.kind)
        return newer_words(self.card, text) if text else ""

    @cached_property
    def others(self) -> list[tuple[str, str]]:
        """To whom the work can be handed over."""
        roles = set(workers(self.card))
        people = [e.body for e in self.desk.records.current(PersonKnown)]
        return [
            (p.login, p.name)
            for p in people
            if roles & set(p.roles) and not p.left_on and p.login != self.desk.person.login
        ]

    def _tool_entries(self) -> list[Entry[ToolMoved]]:
        return [e for e in self.folder.of(ToolMoved) if e.body.module == self.card.place]

    @cached_property
    def count(self) -> list[CountLine]:
        return count_lines(self.folder.entries, self.card.place)

    @property
    def count_wrong(self) -> list[str]:
        return differences(self.count)

    @property
    def count_text(self) -> str:
        return count_shown(self.card.ref.visit, self.card.place, self.count)

    @cached_property
    def measures(self) -> list[MeasureView]:
        """The values of the step in front."""
        held, lost = self.card.readings(self.state), self.card.lost(self.state)
        known = [e.body for e in self.desk.records.current(GaugeKnown)] if self.state.step.measure else []
        return [self._measure(m, held.get(m.id), lost.get(m.id), known) for m in self.state.step.measure]

    def _measure(
        self,
        measure: Measure,
        held: Entry[ReadingTaken] | None,
        lost: Entry[ReadingTaken] | None,
        known: list[GaugeKnown],
    ) -> MeasureView:
        today = self.folder.today
        fit = [g for g in known if measure.instrument.lower() in g.name.lower() and not g.withdrawn] or known
        fit = sorted(fit, key=lambda g: (not g.valid_on(today), g.id)) if measure.instrument else []
        before = self._before(measure, held or lost)
        return MeasureView(
            measure=measure,
            limit=limit_words(measure, self.documents),
            held=held,
            lost=lost,
            last=before.entered if before else "",
            gauge=self._gauge_before([g.id for g in fit]),
            gauges=[(g.id, f"{g.id}, {g.name}: {state_words(g, today)[0]}") for g in fit],
            stale_gauges=any(not g.valid_on(today) for g in fit),
            units=_units(measure.unit),
        )

    def _newest(self) -> list[ReadingTaken]:
        """The card's readings, the newest first."""
        every = [e for s in self.card.steps for e in s.taken.values()]
        return [e.body for e in sorted(every, key=lambda e: -e.seq)]

    def _before(self, measure: Measure, own: Entry[ReadingTaken] | None) -> ReadingTaken | None:
        """The value that one tap repeats: this one's own, else the last in the same unit."""
        if own is not None:
            return own.body
        return next((r for r in self._newest() if r.unit == measure.unit), None)

    def _gauge_before(self, fit: list[str]) -> str:
        used = next((r.gauge for r in self._newest() if r.gauge in fit), "")
        return used or (fit[0] if len(fit) == 1 else "")


def _units(unit: str) -> tuple[str, ...]:
    """The units in which a value may be given: its own first, those of everyday size behind."""
    dimension = unit_named(unit).dimension
    usual = [
        u
        for u in units_of(dimension)
        if u not in ("m", "ft", "Pa", "kN m", "m2", "cm2", INNER_UNIT[dimension])
    ]
    return (unit, *(u for u in usual if u != unit)) if usual else (unit,)
