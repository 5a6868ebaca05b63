"""Own figures as they are folded from a shop's records."""

from __future__ import annotations

from datetime import date, timedelta

import pytest

from shop.fixtures import NOON, FilledShop
from spoolwright.bootstrap.own_figures import OwnFigures
from spoolwright.crafts.inspection.lengths import Size
from spoolwright.crafts.inspection.model import (
    DispositionAccepted,
    FindingRecorded,
    Judgement,
    Proposed,
    StageInspected,
)
from spoolwright.crafts.life.model import PartUsed, Reading
from spoolwright.crafts.supply.model import PartOrdered
from spoolwright.crafts.typefile.shop.inspection import Damage
from spoolwright.crafts.visit.entry import Body, Calculation, New
from spoolwright.crafts.visit.parts import PartFitted, PartNeeded
from spoolwright.crafts.visit.people import Role

IMPELLER = "940-212-4"


@pytest.fixture
def own(shop: FilledShop) -> OwnFigures:
    shop.hire("ines", "Ines Falk", Role.INSPECTOR)
    shop.open_visit()
    return OwnFigures(shop.shop)


def write(shop: FilledShop, subject: str, body: Body, days_ago: int = 0) -> None:
    when = NOON - timedelta(days=days_ago)
    shop.records.add([New(subject, body, visit="W100")], by="ines", at=when)


def inspect(shop: FilledShop, serial: str, hours: str, decided: str = "") -> None:
    """An impeller by serial with its hours; with a finding and its disposition."""
    place = f"visit/W100/inspection/impeller/{serial}"
    fitted = PartFitted(
        part="impeller", part_number=IMPELLER, serial=serial, module="compressor", on=NOON.date()
    )
    write(shop, f"part/{IMPELLER}/{serial}/fit", fitted)
    used = PartUsed(part_number=IMPELLER, serial=serial, line=1, part_off=Reading(hours=hours))
    write(shop, f"part/{IMPELLER}/{serial}/use/0001", used)
    if decided:
        nick = FindingRecorded(
            part="impeller", serial=serial, blade=1, zone="leading_edge", damage=Damage.NICK,
            depth=Size(value="0.4", unit="mm"),
        )  # fmt: skip
        write(shop, f"{place}/finding/1", nick)
        body = DispositionAccepted(
            finding=f"{place}/finding/1", finding_revision=1, own_view="scrap", decided=decided,
            judgement=Judgement(proposed=Proposed.OUTSIDE, words="outside limits"),
            calculation=Calculation(name="x", version="1", inputs={}, result={}),
        )  # fmt: skip
        write(shop, f"{place}/finding/1/disposition", body)
    write(shop, f"{place}/inspected", StageInspected(part="impeller", serial=serial, findings=bool(decided)))


def test_findings_scrap_and_lives(shop: FilledShop, own: OwnFigures) -> None:
    for serial, hours, decided in (
        ("A", "1200", "scrap"), ("B", "2100", "scrap"), ("C", "1800", "serviceable"), ("D", "900", ""),
    ):  # fmt: skip
        inspect(shop, serial, hours, decided)
    told = own.figures(NOON)
    assert [(r.name, r.share.found, r.share.of) for r in told.found] == [("impeller", 3, 4)]
    assert [(r.share.found, r.share.of) for r in told.scrapped] == [(2, 3)]
    (lives,) = told.lives
    assert sorted((x.hours, x.ended) for x in lives.lives) == [
        (900.0, "suspended"), (1200.0, "failed"), (1800.0, "suspended"), (2100.0, "failed"),
    ]  # fmt: skip
    # product limit by hand: 1 - 1/3 at 1,200 h, then 1 - 1/1 at 2,100 h
    assert lives.curve is not None
    assert lives.curve.survival == pytest.approx([2.0 / 3.0, 0.0])


def test_figures_follow_new_records(shop: FilledShop, own: OwnFigures) -> None:
    assert own.figures(NOON).found == ()
    inspect(shop, "A", "1200")
    assert own.figures(NOON).found[0].share.of == 1
    inspect(shop, "B", "1300", "blend")
    assert own.figures(NOON).found[0].share.found == 1


def test_a_serial_without_hours_is_told_not_guessed(shop: FilledShop, own: OwnFigures) -> None:
    write(shop, "visit/W100/inspection/impeller/-/inspected", StageInspected(part="impeller", findings=0))
    told = own.figures(NOON)
    assert told.lives == () and told.no_serial == 1


def test_demand_needs_a_month_and_a_delivery(shop: FilledShop, own: OwnFigures) -> None:
    need = PartNeeded(part="impeller", quantity=2, why="finding")
    write(shop, "visit/W100/supply/need/1", need, days_ago=100)
    assert own.figures(NOON).demand == ()
    day = date(2026, 4, 1)
    order = PartOrdered(
        number="O1", part="impeller", part_number=IMPELLER, quantity=1, supplier="S", ordered_on=day,
        arrived_on=day + timedelta(days=25),
    )  # fmt: skip
    write(shop, f"order/{IMPELLER}/O1", order)
    (demand,) = own.figures(NOON).demand
    assert demand.in_lead_time == pytest.approx(2 / 100 * 25)
    assert demand.stock == 2  # Poisson of 0.5: 0.910 up to one, 0.986 up to two
