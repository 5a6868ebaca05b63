"""Owed work: the matrix, what was removed for access, evidence that is too old, closings that fall."""

from __future__ import annotations

import contextlib
import random
from dataclasses import replace
from datetime import date, timedelta
from itertools import count

import pytest
from carded_shop import CardedShop
from hypothesis import given, settings
from hypothesis import strategies as st

from shop.memory import NOON, MemoryShop, demonstration_type
from spoolwright.crafts.cards import service as cards
from spoolwright.crafts.cards.model import StepChecked, StepSigned
from spoolwright.crafts.cards.service import Read
from spoolwright.crafts.owed import service
from spoolwright.crafts.owed.model import OwedLook
from spoolwright.crafts.owed.open import open_items
from spoolwright.crafts.owed.rules import matches, owed_work
from spoolwright.crafts.testcell.visit.model import RunAttached, RunDisposed
from spoolwright.crafts.typefile.base import Source
from spoolwright.crafts.typefile.shop.model import ShopPart
from spoolwright.crafts.typefile.shop.owed import ClosedBy, OwedAfter, OwedRule
from spoolwright.crafts.visit.entry import Attachment, New
from spoolwright.crafts.visit.model import WorkEvent
from spoolwright.crafts.visit.people import NotEntitledError, Role
from spoolwright.errors import InputError

HERE = Source(document="OM-940", paragraph="9")
FILE = Attachment(sha256="0" * 64, name="a", media_type="x", size=1)


def rule(name: str, closed_by: ClosedBy, *after: OwedAfter) -> OwedRule:
    return OwedRule(id=name, kind="check", text=name, after=after, closed_by=closed_by, source=HERE)


MATRIX = (
    rule("flange", ClosedBy(step=("small/torque",)), OwedAfter(what=("removed",), item=("power_turbine",))),
    rule("looked", ClosedBy(look=True), OwedAfter(what=("exceedance",), item=("mgt_red_line",))),
    rule("run", ClosedBy(run=("repaired",)), OwedAfter(what=("reopened", "adjusted"))),
    rule("liner", ClosedBy(step=("small/liner",)), OwedAfter(what=("removed",), item=("liner",))),
)


class OwedShop:
    """An inspector's shop with the matrix above; every record is a minute later."""

    def __init__(self) -> None:
        self.shop = MemoryShop()
        self.shop.types.adopted = replace(demonstration_type(), shop=ShopPart(owed=MATRIX))
        self.shop.hire("ira", "Ira Voss", Role.INSPECTOR, Role.LEAD)
        self.shop.hire("ada", "Ada Lund", Role.BUILDER)
        self.visit = self.shop.open_visit()
        self._n = count(1)

    def write(self, body: object, subject: str = "", after: int = 0) -> str:
        n = next(self._n)
        subject = subject or f"visit/{self.visit}/x/{n}"
        desk = self.shop.desk("ira", NOON + timedelta(minutes=n))
        desk.record(New(subject, body, visit=self.visit, after=after, reason="r" if after else ""))  # type: ignore[arg-type]
        return subject

    def event(self, what: str, item: str) -> str:
        return self.write(WorkEvent(what=what, item=item))  # type: ignore[arg-type]

    def step(self, name: str = "liner", subject: str = "", after: int = 0, meets: bool = True) -> str:
        body = StepSigned(card="small", run=1, step=name, step_digest="d", all_meet=meets)
        return self.write(body, subject, after)

    def run(self, name: str, performed: date = date(2026, 5, 4), limits: str = "repaired") -> str:
        body = RunAttached(
            run=name, performed_on=performed, limit_set=limits, cell="c", recording=FILE, sheet=FILE
        )
        return self.write(body, f"visit/{self.visit}/testcell/run/{name}")

    def accept(self, *runs: str, decision: str = "accepted") -> str:
        return self.write(RunDisposed(assessment="a", runs=runs, decision=decision))  # type: ignore[arg-type]

    @property
    def folder(self):  # type: ignore[no-untyped-def]
        return self.shop.folder(self.visit)

    def owed(self, key: str):  # type: ignore[no-untyped-def]
        return service.owed_of(self.folder, key)

    def close(self, key: str, evidence: str, who: str = "ira") -> None:
        old = self.owed(key).closing
        service.close_owed(
            self.shop.desk(who), self.folder, key, evidence, "shown", after=old.revision if old else 0
        )


def test_what_was_removed_only_for_access_was_disturbed() -> None:
    s = OwedShop()
    s.event("removed_for_access", "power_turbine")
    (item,) = open_items(s.folder)
    assert item.text == "Owed check: flange (after: power turbine removed for access)"
    for shipped in demonstration_type().shop.owed:
        for item_id in {i for a in shipped.after for i in a.item}:
            if matches(shipped, WorkEvent(what="removed", item=item_id)):
                assert matches(shipped, WorkEvent(what="removed_for_access", item=item_id))


def test_what_the_matrix_does_not_know_is_referred_to_engineering() -> None:
    s = OwedShop()
    s.event("dropped", "fuel control / left side")
    s.event("installed", "igniter")
    s.event("dropped", "fuel control / left side")
    (owed,) = owed_work(s.folder)
    assert "says nothing about it; refer to engineering" in owed.text
    assert owed.role == Role.LEAD and len(owed.because) == 2
    look = OwedLook(
        key=owed.key,
        found="Engineering order 12 done: tight.",
        satisfactory=True,
        document="ER 12",
    )
    service.record_look(s.shop.desk("ira"), s.folder, look, "x", "k1")
    s.close(owed.key, f"visit/{s.visit}/owed/{owed.key}/look/k1")
    assert open_items(s.folder) == []


def test_acknowledging_an_exceedance_clears_nothing() -> None:
    s = OwedShop()
    s.event("exceedance", "mgt_red_line")
    assert len(open_items(s.folder)) == 1
    bad = OwedLook(
        key="looked", found="Burn marks on two vanes of stage 1.", satisfactory=False, document="OM 9"
    )
    service.record_look(s.shop.desk("ira"), s.folder, bad, "x", "k1")
    assert service.evidence_for(s.shop.desk("ira"), s.folder, s.owed("looked")) == []
    with pytest.raises(InputError):
        s.close("looked", f"visit/{s.visit}/owed/looked/look/k1")
    with pytest.raises(NotEntitledError):
        service.record_look(s.shop.desk("ada"), s.folder, bad, "x", "k2")
    good = OwedLook(
        key="looked", found="Nozzle changed; blades without marks.", satisfactory=True, document="OM 9"
    )
    service.record_look(s.shop.desk("ira"), s.folder, good, "x", "k3")
    assert len(open_items(s.folder)) == 1, "a look closes nothing by itself"
    with pytest.raises(NotEntitledError):
        s.close("looked", f"visit/{s.visit}/owed/looked/look/k3", who="ada")
    s.close("looked", f"visit/{s.visit}/owed/looked/look/k3")
    assert open_items(s.folder) == []


def test_evidence_from_before_the_event_closes_nothing_and_a_later_event_owes_again() -> None:
    s = OwedShop()
    early = s.step()
    s.event("removed", "liner")
    with pytest.raises(InputError, match="does not close"):
        s.close("liner", early)
    s.step(subject=early, after=1)  # a correction makes old evidence no younger
    with pytest.raises(InputError, match="does not close"):
        s.close("liner", early)
    late = s.step()
    s.close("liner", late)
    assert s.owed("liner").closed
    s.event("removed_for_access", "liner")
    assert s.owed("liner").looked_at_again == "something happened again since the evidence was recorded"
    with pytest.raises(InputError):
        s.close("liner", late)
    s.close("liner", s.step())
    assert s.owed("liner").closed
    assert s.owed("liner").closing.revision == 2


def test_corrected_evidence_is_looked_at_again() -> None:
    s = OwedShop()
    s.event("removed", "liner")
    step = s.step()
    s.close("liner", step)
    s.step(subject=step, after=1, meets=False)
    assert "corrected" in s.owed("liner").looked_at_again
    with pytest.raises(InputError):
        s.close("liner", step)


def test_a_step_that_asks_for_a_check_proves_nothing_before_it() -> None:
    signed = StepSigned(card="small", run=1, step="torque", step_digest="d", checked_by="inspector")
    assert signed.proves() == frozenset()
    check = StepChecked(card="small", run=1, step="torque", of_seq=1, agrees=True)
    assert check.proves() == {"step:small/torque"}
    assert check.model_copy(update={"agrees": False}).proves() == frozenset()


def test_an_accepted_run_is_evidence_only_if_it_was_run_afterwards_to_the_right_limits() -> None:
    s = OwedShop()
    s.run("old")
    s.event("reopened", "hot_section")
    for evidence in (
        s.accept("old"),  # accepted after, run before
        s.accept("none"),  # a run nobody attached
    ):
        with pytest.raises(InputError):
            s.close("run", evidence)
    s.run("other", limits="as_received")
    s.run("earlier", performed=date(2026, 5, 3))  # attached after, run the day before
    s.run("new")
    for evidence in (
        s.accept("other"), s.accept("earlier"), s.accept("old", "new"), s.accept("new", decision="rejected"),
    ):  # fmt: skip
        with pytest.raises(InputError):
            s.close("run", evidence)
    s.close("run", s.accept("new"))
    assert s.owed("run").closed


def test_a_checked_card_step_closes_what_its_own_card_disturbed() -> None:
    c = CardedShop()
    c.shop.types.adopted = replace(
        c.shop.types.of(""), shop=c.shop.types.of("").shop.model_copy(update={"owed": MATRIX})
    )
    c.shop.records.add(
        [New(f"visit/{c.visit}/event/z", WorkEvent(what="removed", item="power_turbine"), visit=c.visit)],
        by="ada",
        at=NOON,
    )
    c.first_step()
    c.read("ada", "torque", "nut", "22", "N m", "W1")
    desk = c.desk("ira")

    def found() -> list[str]:
        folder = c.shop.folder(c.visit)
        owed = service.owed_of(folder, "flange")
        return [x.entry.subject for x in service.evidence_for(desk, folder, owed)]

    cards.sign_step(c.desk("ada"), c.ref, "torque", "x")
    assert found() == []
    c.check("ira", "torque")
    # The step's own event stands behind its signature: the step cannot prove what it disturbed itself.
    assert found() == []
    assert not service.owed_of(c.shop.folder(c.visit), "flange").closed
    with pytest.raises(InputError):
        cards.correct_step(
            c.desk("ada"),
            c.ref,
            "torque",
            "x",
            reads={"nut": Read("1,0", "N m", "W1")},
            reason="abc",
            after=1,
        )


class Life:
    """A visit's records at random, with this test's own clock of what happened and what was done when."""

    KINDS = (
        ("liner", "removed", "liner"),
        ("liner", "removed_for_access", "liner"),
        ("looked", "exceedance", "mgt_red_line"),
        ("run", "adjusted", "governor"),
    )

    def __init__(self, chance: random.Random) -> None:
        self.s, self.chance, self.now = OwedShop(), chance, 0
        self.happened: dict[str, int] = {}
        self.born: dict[str, int] = {}
        self.events: list[tuple[str, str, str, int]] = []
        self.runs: list[str] = []
        self.closings = 0

    def event(self) -> None:
        key, what, item = self.chance.choice(self.KINDS)
        self.events.append((self.s.event(what, item), key, what, 1))
        self.happened[key] = self.now

    def correct_event(self) -> None:
        if self.events:
            subject, key, what, revision = self.events.pop()
            item = next(i for _, w, i in self.KINDS if w == what)
            self.s.write(WorkEvent(what=what, item=item, detail="corrected"), subject, after=revision)  # type: ignore[arg-type]
            self.events.append((subject, key, what, revision + 1))
            self.happened[key] = self.now

    def step(self) -> None:
        self.born[self.s.step()] = self.now

    def correct(self) -> None:
        steps = [b for b in self.born if "/x/" in b]
        if steps:
            entry = self.s.shop.records.history(self.chance.choice(steps))[-1]
            self.s.write(entry.body, entry.subject, after=entry.revision)

    def look(self) -> None:
        if "looked" in self.happened:
            look = OwedLook(key="looked", found="Looked at every blade.", satisfactory=True, document="OM 9")
            service.record_look(self.s.shop.desk("ira"), self.s.folder, look, "x", f"k{self.now}")
            self.born[f"visit/{self.s.visit}/owed/looked/look/k{self.now}"] = self.now

    def run(self) -> None:
        self.runs.append(f"r{self.now}")
        self.s.run(self.runs[-1])
        self.born[self.runs[-1]] = self.now

    def accept(self) -> None:
        if self.runs:
            name = self.chance.choice(self.runs)
            self.born[self.s.accept(name)] = self.born[name]

    def close(self) -> None:
        """Try every record as evidence of everything that is owed; what is taken must be younger."""
        for key in self.happened:
            for named in [b for b in self.born if b.startswith("visit/")]:
                with contextlib.suppress(InputError):
                    self.s.close(key, named)
                    self.closings += 1
                    assert self.born[named] > self.happened[key]


OPS = ("event", "step", "correct", "look", "run", "accept", "close", "close", "correct_event")


@settings(max_examples=300)
@given(st.lists(st.sampled_from(OPS), min_size=3, max_size=18), st.integers(0, 10**6).map(random.Random))
def test_nothing_stays_closed_by_evidence_older_than_the_event(ops: list[str], chance: random.Random) -> None:
    life = Life(chance)
    for op in ops:
        life.now += 1
        getattr(life, op)()
        for owed in owed_work(life.s.folder):
            if owed.closed:
                assert life.born[owed.closing.body.evidence] > life.happened[owed.key]


def test_the_lives_of_the_property_do_close_something() -> None:
    closed = 0
    for seed in range(200):
        life = Life(random.Random(seed))
        for op in life.chance.choices(OPS, k=18):
            life.now += 1
            getattr(life, op)()
        closed += life.closings
    assert closed >= 30
