"""A shop in memory with people, gauges and a small card, and the moves of its people."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, datetime, timedelta
from itertools import count

from shop.memory import NOON, MemoryShop, demonstration_type
from spoolwright.crafts.cards import hand, service, tools
from spoolwright.crafts.cards.gauges import record_gauge
from spoolwright.crafts.cards.model import CardRef, GaugeKnown, ToolMoved
from spoolwright.crafts.cards.rules import card_of
from spoolwright.crafts.cards.service import Read
from spoolwright.crafts.cards.standing import CardState
from spoolwright.crafts.typefile.base import Source
from spoolwright.crafts.typefile.shop.model import ShopPart
from spoolwright.crafts.typefile.shop.routes import CardStep, Measure, RouteCard, StepEvent
from spoolwright.crafts.visit.desk import Desk, TypeInShop
from spoolwright.crafts.visit.people import Role

HERE = Source(document="OM-940", paragraph="72-40, 5")


def small_card(revision: str = "1", torque_text: str = "Torque the nut.") -> RouteCard:
    """Four steps: clearance (only chance), torque (must meet, checked), a free reading, closing."""
    clearance = Measure(id="gap", name="Gap", unit="mm", min=0.3, max=0.5, instrument="feeler", source=HERE)
    torque = Measure(
        id="nut", name="Nut", unit="N m", min=20, max=24, instrument="wrench", must_meet=True, source=HERE
    )
    unlimited = Measure(id="loss", name="Coating loss", unit="um", instrument="")
    steps = (
        CardStep(id="clearance", text="Take the gap.", source=HERE, only_chance=True, measure=(clearance,)),
        CardStep(
            id="torque",
            text=torque_text,
            source=HERE,
            independent_check=True,
            measure=(torque,),
            event=(StepEvent(what="removed_for_access", item="power_turbine"),),
        ),
        CardStep(id="look", text="Look at the coating.", source=HERE, measure=(unlimited,)),
        CardStep(id="close", text="Close.", source=HERE, closure=True),
    )
    return RouteCard(
        id="small",
        revision=revision,
        title="Small card",
        stage="build",
        module="hot_section",
        source=HERE,
        step=steps,
    )


def type_with(*cards: RouteCard) -> TypeInShop:
    """The demonstration type with these cards alone."""
    return replace(demonstration_type(), shop=ShopPart(route_card=cards))


class CardedShop:
    """Ada and Ben build, Ira and Ivo inspect, Lena leads, Ned may do both; every move is a minute later."""

    def __init__(self, *cards: RouteCard) -> None:
        self.shop = MemoryShop()
        self.shop.types.adopted = type_with(*(cards or (small_card(),)))
        for login, name, *roles in (
            ("ada", "Ada Lund", Role.BUILDER),
            ("ben", "Ben Holt", Role.BUILDER),
            ("ira", "Ira Voss", Role.INSPECTOR),
            ("ivo", "Ivo Carr", Role.INSPECTOR),
            ("lena", "Lena Moss", Role.LEAD),
            ("ned", "Ned Oak", Role.BUILDER, Role.INSPECTOR),
        ):
            self.shop.hire(login, name, *roles)  # type: ignore[arg-type]
        self.visit = self.shop.open_visit()
        self._minutes = count(1)
        lead = self.desk("lena")
        record_gauge(lead, GaugeKnown(id="G1", name="feeler", due_on=date(2026, 12, 1)), 0)
        record_gauge(lead, GaugeKnown(id="OLD", name="feeler", due_on=date(2026, 5, 3)), 0)
        record_gauge(lead, GaugeKnown(id="W1", name="wrench", due_on=date(2026, 5, 4)), 0)
        self.ref = hand.issue_card(lead, self.visit, (cards or (small_card(),))[0].id, "scope 3")

    def desk(self, login: str) -> Desk:
        return self.shop.desk(login, NOON + timedelta(minutes=next(self._minutes)))

    def at(self, login: str, moment: datetime) -> Desk:
        return self.shop.desk(login, moment)

    @property
    def card(self) -> CardState:
        return card_of(self.desk("lena"), self.ref)

    def read(
        self, login: str, step: str, measure: str, value: str, unit: str, gauge: str, **more: str
    ) -> None:
        old = self.card.step(step).taken.get(measure)  # type: ignore[union-attr]
        service.take_reading(
            self.desk(login),
            self.ref,
            step,
            measure,
            Read(value, unit, gauge, more.get("decision", "")),
            after=old.revision if old else 0,
            reason=more.get("reason", ""),
        )

    def sign(self, login: str, step: str) -> None:
        desk = self.desk(login)
        service.sign_step(desk, self.ref, step, service.sign_text(desk, self.ref, step))

    def check(self, login: str, step: str, agrees: bool = True, remark: str = "") -> None:
        desk = self.desk(login)
        shown = service.check_text(desk, self.ref, step)
        service.check_step(desk, self.ref, step, shown, agrees=agrees, remark=remark)

    def first_step(self, login: str = "ada") -> None:
        """Take the card in hand and sign step 1."""
        hand.take_card(self.desk(login), self.ref)
        self.read(login, "clearance", "gap", "0.35", "mm", "G1")
        self.sign(login, "clearance")

    def second_step(self, login: str = "ada", checker: str = "ira") -> None:
        self.read(login, "torque", "nut", "22", "N m", "W1")
        self.sign(login, "torque")
        self.check(checker, "torque")

    def move(self, login: str, item: str, direction: str, number: int = 1) -> None:
        desk = self.desk(login)
        key = f"k{next(self._minutes)}"
        moved = ToolMoved(module="hot_section", item=item, direction=direction, count=number)  # type: ignore[arg-type]
        tools.move_tool(desk, self.visit, moved, key)

    def count(self, login: str, step: str = "close") -> None:
        desk = self.desk(login)
        lines, _ = tools.sheet(desk, self.visit, "hot_section")
        tools.count_tools(desk, self.ref, step, tools.count_shown(self.visit, "hot_section", lines))


def again(ref: CardRef, run: int) -> CardRef:
    return CardRef(ref.visit, ref.card, run)
