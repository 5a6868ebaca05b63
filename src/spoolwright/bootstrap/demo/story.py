"""What people do to an engine, in the order of the job: each step through the use cases the pages call."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Literal

from spoolwright.bootstrap.demo.people import gauge_for
from spoolwright.bootstrap.shop import Shop
from spoolwright.crafts.cards import service as cards
from spoolwright.crafts.cards.hand import issue_card, put_down, take_card, take_text
from spoolwright.crafts.cards.model import CardRef
from spoolwright.crafts.cards.rules import card_of
from spoolwright.crafts.cards.standing import CardState, StepState
from spoolwright.crafts.cards.tools import count_shown, count_tools, sheet
from spoolwright.crafts.owed.model import OwedLook
from spoolwright.crafts.owed.rules import owed_work
from spoolwright.crafts.owed.service import close_owed, close_shown, evidence_for, look_shown, record_look
from spoolwright.crafts.receiving import service as receiving
from spoolwright.crafts.receiving.checklist import checklist
from spoolwright.crafts.receiving.known import answer_to, doubts_of
from spoolwright.crafts.receiving.model import (
    Container,
    DocumentReceived,
    DoubtAnswered,
    EngineReceived,
    ModuleReceived,
    Preservation,
    ReceivingDecided,
)
from spoolwright.crafts.typefile.shop.routes import Measure
from spoolwright.crafts.visit.desk import Desk
from spoolwright.crafts.visit.entry import New
from spoolwright.crafts.visit.folder import Folder
from spoolwright.crafts.visit.model import Stage, StageSet, VisitOpened
from spoolwright.crafts.visit.parts import Counts
from spoolwright.crafts.visit.people import Role

Word = Literal["", "overhauled", "repaired", "inspected", "tested", "modified"]

WHO = {
    Role.LEAD: "lena", Role.INSPECTOR: "ines", Role.NDI_2: "nils", Role.BUILDER: "ada",
    Role.TEST_OPERATOR: "tom", Role.CERTIFYING: "cora", Role.RECORDS: "rex",
}  # fmt: skip

SECOND = {Role.INSPECTOR: "otto", Role.BUILDER: "bo"}
"""Who checks what the first of a role did."""


@dataclass
class Story:
    """One engine's visit, told in working hours; `at` moves on with each thing that is done."""

    shop: Shop
    visit: str
    serial: str
    at: datetime
    now: datetime
    counts: Counts = field(default_factory=Counts)

    def desk(self, login: str, minutes: int = 7) -> Desk:
        """A person at work, some minutes later."""
        self.at += timedelta(minutes=minutes)
        if self.at.hour >= 17:
            self.at = self.at.replace(hour=7, minute=0) + timedelta(days=1)
        return self.shop.desk(login, self.at)

    def comes_to(self, days_ago: float) -> None:
        """Nothing is recorded until some days before now."""
        self.at = max(self.at, self.now - timedelta(days=days_ago))

    def sleep(self, days: int) -> None:
        """Nothing happens for some days."""
        self.at += timedelta(days=days)

    @property
    def folder(self) -> Folder:
        """The visit's folder as it stands."""
        return self.shop.folder(self.visit, self.at.date())

    # ------------------------------------------------------------------------------------------ receiving

    def arrives(self, reason: str, promised_days: int, word: Word = "repaired") -> None:
        """The visit is opened."""
        opened = VisitOpened(
            number=self.visit, engine_serial=self.serial, type_id="corrie_940",
            customer="Holm Utility Helicopters", reason_for_removal=reason, received_on=self.at.date(),
            promised_on=self.at.date() + timedelta(days=promised_days), word=word,
        )  # fmt: skip
        receiving.open_visit(self.desk("ines"), opened, self.counts)

    def is_received(self, container: Container = Container.PRESSURE_HELD) -> None:
        """How the engine came, its modules and papers; then accepted into work."""
        engine = EngineReceived(
            container=container, container_number="HC-" + self.serial[-3:], pressure_relieved=True,
            preservation=Preservation.VALID,
        )  # fmt: skip
        receiving.record_engine(self.desk("ines"), self.folder, engine)
        for n, module in enumerate(self.folder.kind.type_file.module, 1):
            body = ModuleReceived(module=module.id, serial=f"{n}-{self.serial[-4:]}", counts=self.counts)
            receiving.record_module(self.desk("ines"), self.folder, body)
        papers = [
            (DocumentReceived(document=x.document.id, module=x.module, state="present"), receiving.FIRST)
            for x in checklist(self.folder)
        ]
        receiving.record_documents(self.desk("rex"), self.folder, papers)

    def is_accepted(self) -> None:
        """Doubts are answered and the engine is accepted into work."""
        for doubt in doubts_of(self.folder, self.shop.records):
            if answer_to(self.folder, doubt) is None:
                answer = DoubtAnswered(doubt=doubt.text, answer="Looked at with the customer: it is right.")
                receiving.answer_doubt(self.desk("ines"), self.folder, doubt.key, answer)
        decided = ReceivingDecided(decision="accepted")
        shown = receiving.decision_shown(self.folder, decided)
        receiving.decide_receiving(self.desk("ines"), self.folder, decided, shown)

    def stands_at(self, stage: Stage, waits_for: str = "") -> None:
        """The lead moves the visit on."""
        subject = f"visit/{self.visit}/stage"
        after = len(self.shop.records.history(subject))
        body = StageSet(stage=stage, waits_for=waits_for)
        self.desk("lena").record(New(subject, body, self.visit, after, "moved on" if after else ""))

    # -------------------------------------------------------------------------------------------- route cards

    def issues(self, card: str, because: str) -> CardRef:
        """The lead issues a card."""
        return issue_card(self.desk("lena"), self.visit, card, because)

    def works(self, ref: CardRef, steps: int | None = None, builder: str = "ada") -> None:
        """People do the steps of a card, each by who may, checked by another where the card says so."""
        state = card_of(self.desk("lena"), ref)
        for number, step in enumerate(state.steps, 1):
            if steps is not None and number > steps:
                return
            if not step.done:
                self._does(ref, step.step.id, builder)
        self._asks_engineering(ref)

    def _asks_engineering(self, ref: CardRef) -> None:
        """Readings without a limit: the lead records engineering's answer."""
        for step in card_of(self.desk("lena", 0), ref).steps:
            for measure, _ in step.to_dispose():
                desk = self.desk("lena")
                shown = cards.dispose_text(desk, ref, step.step.id, measure.id)
                answer = "Engineering: may stay as it is until the next opening."
                cards.dispose_reading(
                    desk, ref, step.step.id, measure.id, shown, answer, "EQ-0271 (invented)"
                )

    def interrupts(self, ref: CardRef, builder: str, in_hand: str, why: str) -> None:
        """Work is put down."""
        put_down(self.desk(builder), ref, in_hand=in_hand, why=why)

    def _does(self, ref: CardRef, step: str, builder: str) -> None:
        card = card_of(self.desk("lena", 0), ref)
        state = card.step(step)
        assert state is not None
        doer = builder if Role(state.step.signed_by) is Role.BUILDER else WHO[Role(state.step.signed_by)]
        self.takes(ref, doer)
        for measure in state.step.measure:
            read = cards.Read(_within(measure), measure.unit, gauge_for(measure.instrument))
            cards.take_reading(self.desk(doer), ref, step, measure.id, read)
        if state.step.closure:
            self._counts(card, ref, state, doer)
        desk = self.desk(doer)
        cards.sign_step(desk, ref, step, cards.sign_text(desk, ref, step))
        if state.step.independent_check:
            checker = WHO[Role(state.step.checked_by)]
            desk = self.desk(SECOND[Role(state.step.checked_by)] if checker == doer else checker)
            cards.check_step(desk, ref, step, cards.check_text(desk, ref, step), agrees=True)

    def takes(self, ref: CardRef, doer: str) -> None:
        """A person takes the card in hand."""
        taken = card_of(self.desk("lena", 0), ref).taken
        if taken is not None and taken.author == doer:
            return
        if taken is not None:
            put_down(
                self.desk(taken.author), ref, in_hand="nothing, the step is finished", why="handed over",
                to_login=doer, begun=False,
            )  # fmt: skip
        desk = self.desk(doer)
        take_card(desk, ref, take_text(desk, ref))

    def _counts(self, card: CardState, ref: CardRef, state: StepState, doer: str) -> None:
        desk = self.desk(doer)
        lines, _ = sheet(desk, self.visit, card.place)
        count_tools(desk, ref, state.step.id, count_shown(self.visit, card.place, lines))

    # ------------------------------------------------------------------------------------------- owed work

    def settles_what_is_owed(self, leave: Callable[[str], bool] = lambda key: False) -> None:
        """People look at what is owed and close it with its evidence, as far as there is any."""
        for owed in owed_work(self.folder):
            if owed.closed or leave(owed.key):
                continue
            who = WHO[owed.role]
            if owed.closed_by.look and not evidence_for(self.desk(who, 0), self.folder, owed):
                look = OwedLook(
                    key=owed.key, found="Looked at all over; nothing but normal running marks.",
                    satisfactory=True, document="OM-940 revision 9, 72-00",
                )  # fmt: skip
                desk = self.desk(who)
                record_look(desk, self.folder, look, look_shown(self.folder, owed, self.serial), "1")
            found = evidence_for(self.desk(who, 0), self.folder, owed)
            if found:
                shown = close_shown(self.folder, owed, found[0], self.serial)
                after = owed.closing.revision if owed.closing else 0
                close_owed(self.desk(who), self.folder, owed.key, found[0].entry.subject, shown, after=after)


def _within(measure: Measure) -> str:
    """A reading well inside its limit, to a plausible number of decimals."""
    low, high = measure.min, measure.max
    if low is not None and high is not None:
        value = low + 0.45 * (high - low)
        places = 3 if high - low < 0.1 else 2 if high - low < 5 else 1
    elif high is not None:
        value, places = 0.5 * high, 3
    elif low is not None:
        value, places = 1.2 * low, 1
    else:
        value, places = 12.0, 1
    return f"{value:.{places}f}"
