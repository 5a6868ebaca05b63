"""The people of Fellgate Engine Works. All invented."""

from __future__ import annotations

from datetime import datetime, timedelta

from spoolwright.bootstrap.shop import Shop
from spoolwright.crafts.cards.gauges import record_gauge
from spoolwright.crafts.cards.model import GaugeKnown
from spoolwright.crafts.testcell.visit.model import TestTables
from spoolwright.crafts.visit.entry import New
from spoolwright.crafts.visit.model import ShopKnown
from spoolwright.crafts.visit.people import AuthorisationGiven, PersonKnown, Role

PASSWORD = "fellgate demonstration"
"""Of every person in the demonstration; a real shop sets its own."""

STAFF = {
    "lena": ("L. Ostrander", Role.LEAD, ""),
    "ines": ("I. Falk", Role.INSPECTOR, "vision test of this year"),
    "otto": ("O. Brandt", Role.INSPECTOR, "vision test of this year"),
    "nils": ("N. Tarn", Role.NDI_2, "vision test of this year, training record 14"),
    "ada": ("A. Lundell", Role.BUILDER, ""),
    "bo": ("B. Varga", Role.BUILDER, ""),
    "tom": ("T. Reuss", Role.TEST_OPERATOR, ""),
    "cora": ("C. Mehl", Role.CERTIFYING, "certifying staff list, line 3"),
    "rex": ("R. Amsel", Role.RECORDS, ""),
    "vic": ("V. Nordby", Role.VIEWER, ""),
}

GAUGES = (
    ("FG-017", "Feeler gauge", "feeler gauge", 200),
    ("DG-031", "Dial gauge", "dial gauge", 120),
    ("TW-008", "Torque wrench 20 to 200 N m", "torque wrench", 90),
    ("TW-012", "Torque wrench 2 to 25 N m", "torque wrench", -6),
    ("BG-004", "Bore gauge", "bore gauge", 240),
    ("SR-002", "Steel rule", "steel rule", 400),
    ("FB-001", "Flow bench", "flow bench", 60),
    ("PM-001", "Profile microscope", "profile microscope", 150),
    ("PR-005", "Protractor", "protractor", 300),
    ("MC-021", "Micrometer 0 to 25 mm", "micrometer", 180),
)
"""Number, name, kind as the cards call it, days until its calibration ends; one has run out."""


def hire(shop: Shop, now: datetime) -> None:
    """Everybody, with an authorisation, the shop itself and its gauges."""
    began = now - timedelta(days=700)
    for n, (login, (name, role, rests_on)) in enumerate(STAFF.items(), 1):
        shop.people.add(PersonKnown(login=login, name=name, roles=(role,)), at=began)
        days = 40 if role is Role.NDI_2 else 300 + 20 * n
        given = AuthorisationGiven(
            login=login, number=f"FEW-{n:03d}", role=role, rests_on=rests_on,
            expires_on=now.date() + timedelta(days=days),
        )  # fmt: skip
        shop.people.authorise(given, at=began)
        shop.people.set_password(login, PASSWORD)
    desk = shop.desk("lena", began)
    body = ShopKnown(
        name="Fellgate Engine Works", address="4 Mill Race, Fellgate", authority="Demonstration authority",
        approval_number="DEMO.145.0940", page_address="http://127.0.0.1:8000", demonstration=True,
    )  # fmt: skip
    desk.record(New("shop", body))
    for number, name, _, days in GAUGES:
        gauge = GaugeKnown(
            id=number, name=name, due_on=now.date() + timedelta(days=days), certificate=f"CAL-{number}"
        )
        record_gauge(desk, gauge, 0)


def adopt_tables(shop: Shop, now: datetime) -> None:
    """The lead adopts the test cell's tables: baseline of earlier runs, checks, hours and money."""
    from importlib.resources import files

    desk = shop.desk("lena", now)
    kept = {
        name: desk.attachments.keep((files("spoolwright") / "data" / file).read_bytes(), file, kind)
        for name, file, kind in (
            ("baseline", "corrie_940.baseline.json", "application/json"),
            ("checks", "corrie_940.checks.toml", "application/toml"),
            ("costs", "corrie_940.reopening.toml", "application/toml"),
        )
    }
    desk.record(New("type/corrie_940/testcell", TestTables(**kept)))


def gauge_for(instrument: str) -> str:
    """A gauge of a kind whose calibration holds."""
    return next((n for n, _, kind, days in GAUGES if kind == instrument and days > 0), "")
