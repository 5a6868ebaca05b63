"""Where the cards of a visit stand, folded from their newest records."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable
from dataclasses import dataclass, field
from functools import cached_property

from spoolwright.crafts.cards.model import (
    ENGINE,
    CardIssued,
    CardRef,
    ChanceWaived,
    OnCard,
    ReadingDisposed,
    ReadingTaken,
    RevisionKept,
    StepChecked,
    StepSigned,
    ToolsCounted,
    WorkPutDown,
    WorkTaken,
)
from spoolwright.crafts.typefile.shop.routes import CardStep, Measure, RouteCard
from spoolwright.crafts.visit.entry import Body, Entry, canonical


def digest_of(record: CardStep | RouteCard) -> str:
    """The hash of a card's or a step's text."""
    return hashlib.sha256(canonical(record.model_dump(mode="json"))).hexdigest()


@dataclass
class StepState:
    """One step and what was recorded on it."""

    number: int
    step: CardStep
    signed: Entry[StepSigned] | None = None
    check: Entry[StepChecked] | None = None
    waived: Entry[ChanceWaived] | None = None
    counted: Entry[ToolsCounted] | None = None
    taken: dict[str, Entry[ReadingTaken]] = field(default_factory=dict)
    disposed: dict[str, Entry[ReadingDisposed]] = field(default_factory=dict)

    @cached_property
    def digest(self) -> str:
        """The hash of the step's text, which its signature names."""
        return digest_of(self.step)

    @property
    def stale(self) -> bool:
        """Signed to another text than the card has now."""
        return self.signed is not None and self.signed.body.step_digest != self.digest

    @property
    def is_signed(self) -> bool:
        return self.signed is not None and not self.stale

    @property
    def valid_check(self) -> Entry[StepChecked] | None:
        """The check of the newest signature; a correction leaves none."""
        if self.check and self.signed and self.check.body.of_seq == self.signed.seq:
            return self.check
        return None

    @property
    def waits_for_check(self) -> bool:
        return self.is_signed and self.step.independent_check and self.valid_check is None

    @property
    def refused(self) -> bool:
        """The checker did not agree; the step is to be put right and signed again."""
        check = self.valid_check
        return self.is_signed and check is not None and not check.body.agrees

    @property
    def done(self) -> bool:
        if self.waived:
            return True
        return self.is_signed and not self.waits_for_check and not self.refused

    def to_dispose(self) -> list[tuple[Measure, Entry[ReadingTaken]]]:
        """Signed readings that meet no limit and about which nothing was decided."""
        if not self.is_signed:
            return []
        pairs = [(m, self.taken[m.id]) for m in self.step.measure if m.id in self.taken]
        return [
            (m, e)
            for m, e in pairs
            if e.body.verdict != "meets"
            and not (m.id in self.disposed and self.disposed[m.id].body.of_seq == e.seq)
        ]


@dataclass
class CardState:
    """A card of a visit and where it stands."""

    ref: CardRef
    issued: Entry[CardIssued]
    steps: list[StepState]
    kept: Entry[RevisionKept] | None = None
    hands: list[Entry[WorkTaken] | Entry[WorkPutDown]] = field(default_factory=list)

    @property
    def card(self) -> RouteCard:
        return self.issued.body.card

    @property
    def place(self) -> str:
        """Where its tools are counted."""
        return self.card.module or ENGINE

    @property
    def taken(self) -> Entry[WorkTaken] | None:
        """The record under which the card is in somebody's hand now."""
        last = self.hands[-1] if self.hands else None
        return last if last is not None and isinstance(last.body, WorkTaken) else None

    @property
    def put_down(self) -> Entry[WorkPutDown] | None:
        """The interruption or hand-over that nobody has taken up yet."""
        last = self.hands[-1] if self.hands else None
        return last if last is not None and isinstance(last.body, WorkPutDown) else None

    @property
    def again_from(self) -> int:
        """What was recorded on an unsigned step up to this place in the chain is to be done again."""
        downs = [h.seq for h in self.hands if isinstance(h.body, WorkPutDown)]
        reissued = self.issued.seq if self.issued.revision > 1 else 0
        return max([*downs, reissued, 0])

    @property
    def next(self) -> StepState | None:
        """The first step that is not done."""
        return next((s for s in self.steps if not s.done), None)

    @property
    def in_work(self) -> StepState | None:
        """The first step that is neither signed nor waived: what a person with the card in hand works on."""
        return next((s for s in self.steps if not s.waived and (not s.is_signed or s.refused)), None)

    @property
    def last_signed(self) -> StepState | None:
        """The last signed step; work resumes behind it."""
        signed = [s for s in self.steps if s.is_signed]
        return signed[-1] if signed else None

    @property
    def complete(self) -> bool:
        return self.next is None

    def step(self, step: str) -> StepState | None:
        return next((s for s in self.steps if s.step.id == step), None)

    def readings(self, state: StepState) -> dict[str, Entry[ReadingTaken]]:
        """The readings that hold: of a signed step all, of an unsigned one those since the interruption."""
        if state.is_signed:
            return state.taken
        return {m: e for m, e in state.taken.items() if e.seq > self.again_from}

    def lost(self, state: StepState) -> dict[str, Entry[ReadingTaken]]:
        """Readings of an unsigned step from before an interruption: kept, but to be taken again."""
        held = self.readings(state)
        return {m: e for m, e in state.taken.items() if m not in held}

    def counted(self, state: StepState) -> Entry[ToolsCounted] | None:
        """The count of tools that holds for a closure."""
        count = state.counted
        return count if count and (state.is_signed or count.seq > self.again_from) else None


def standing(entries: Iterable[Entry[Body]], visit: str) -> dict[tuple[str, int], CardState]:
    """Every card of a visit by its id and run, in the order of issue."""
    cards: dict[tuple[str, int], CardState] = {}
    mine = list(entries)
    for entry in mine:
        if isinstance(entry.body, CardIssued):
            body = entry.body
            steps = [StepState(n, s) for n, s in enumerate(body.card.step, 1)]
            ref = CardRef(visit, body.card.id, body.run)
            cards[body.card.id, body.run] = CardState(ref, entry, steps)  # type: ignore[arg-type]
    for entry in sorted(mine, key=lambda e: e.seq):
        if isinstance(entry.body, OnCard) and (entry.body.card, entry.body.run) in cards:
            _put(cards[entry.body.card, entry.body.run], entry)
    return cards


def _put(card: CardState, entry: Entry[Body]) -> None:
    body = entry.body
    if isinstance(body, WorkTaken | WorkPutDown):
        card.hands.append(entry)  # type: ignore[arg-type]
    elif isinstance(body, RevisionKept):
        card.kept = entry  # type: ignore[assignment]
    else:
        _put_on_step(card, entry)


def _put_on_step(card: CardState, entry: Entry[Body]) -> None:
    body = entry.body
    state = card.step(getattr(body, "step", ""))
    if state is None:
        return
    if isinstance(body, StepSigned):
        state.signed = entry  # type: ignore[assignment]
    elif isinstance(body, StepChecked):
        state.check = entry  # type: ignore[assignment]
    elif isinstance(body, ChanceWaived):
        state.waived = entry  # type: ignore[assignment]
    elif isinstance(body, ToolsCounted):
        state.counted = entry  # type: ignore[assignment]
    elif isinstance(body, ReadingTaken):
        state.taken[body.measure] = entry  # type: ignore[assignment]
    elif isinstance(body, ReadingDisposed):
        state.disposed[body.measure] = entry  # type: ignore[assignment]
