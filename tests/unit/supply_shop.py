"""A shop with people, a visit, and stock with its papers, for tests of supply."""

from __future__ import annotations

from datetime import date, timedelta

from shop.memory import NOON, MemoryShop
from spoolwright.crafts.supply import kitting, stores
from spoolwright.crafts.supply.certificates import FIELDS
from spoolwright.crafts.supply.model import Certificate, CertificateChecked, FieldSeen, StockReceived
from spoolwright.crafts.visit.desk import Desk
from spoolwright.crafts.visit.people import Role

DAY = NOON.date()
PART, NUMBER = "impeller", "940-212-4"
SEAL, SEAL_NUMBER = "compressor_packing", "940-252-1"


def staffed() -> MemoryShop:
    """Inspector ida, builder bo, records rae, lead lou."""
    shop = MemoryShop()
    for login, role in (
        ("ida", Role.INSPECTOR),
        ("bo", Role.BUILDER),
        ("rae", Role.RECORDS),
        ("lou", Role.LEAD),
    ):
        shop.hire(login, login.title(), role)
    shop.open_visit()
    return shop


def paper(part_number: str = NUMBER, tag: str = "IM-1", quantity: int = 1, **more: object) -> Certificate:
    """A certificate that fits."""
    told = {
        "number": f"T-{tag}",
        "authority": "Invented Aviation Authority",
        "organisation": "Ravenholt Parts",
        "approval_number": "XA.145.0007",
        "part_number": part_number,
        "serial_or_lot": tag,
        "quantity": quantity,
        "status_word": "new",
        "dated": DAY - timedelta(days=30),
    }
    return Certificate.model_validate(told | more)


def arrived(part: str, number: str, tag: str, quantity: int = 1, **more: object) -> StockReceived:
    """A part as it came in, with a certificate that fits."""
    serialised = part != SEAL
    told = {
        "part": part,
        "type_id": "corrie_940",
        "part_number": number,
        "tag": tag,
        "serialised": serialised,
        "quantity": quantity,
        "made_on": None if serialised else DAY - timedelta(days=100),
        "received_on": DAY,
        "certificate": paper(number, tag, quantity),
    }
    return StockReceived.model_validate(told | more)


def accept(desk: Desk, number: str, tag: str) -> None:
    """The inspector finds every field in order."""
    stock = stores.stock_at(desk, number, tag)
    seen = tuple(FieldSeen(field=f, seen="agrees") for f in FIELDS)
    checked = CertificateChecked(arrival=stock.entry.revision, fields=seen, decision="accepted")
    stores.check_certificate(desk, stock, checked, stores.check_shown(stock, checked))


def quarantine(desk: Desk, number: str, tag: str, reason: str = "paper withdrawn") -> None:
    """The inspector sets it aside."""
    stock = stores.stock_at(desk, number, tag)
    checked = CertificateChecked(
        arrival=stock.entry.revision, fields=(), decision="quarantined", reason=reason
    )
    stores.check_certificate(desk, stock, checked, stores.check_shown(stock, checked))


def in_store(shop: MemoryShop, part: str, number: str, tag: str, quantity: int = 1, **more: object) -> None:
    """Received and accepted."""
    desk = shop.desk("ida")
    stores.receive_stock(desk, arrived(part, number, tag, quantity, **more))
    accept(desk, number, tag)


def need(shop: MemoryShop, part: str = PART, quantity: int = 1, visit: str = "W100") -> None:
    """A visit asks for a part."""
    kitting.need_part(shop.desk("bo"), shop.folder(visit, DAY), part, quantity, "cracked, card 72-30-12")


def kit(shop: MemoryShop, part: str, number: str, tag: str, quantity: int = 1, visit: str = "W100") -> None:
    """A builder takes it for a visit."""
    kitting.kit_part(shop.desk("bo"), shop.folder(visit, DAY), part, number, tag, quantity)


def a_day(days: int) -> date:
    """A day from today."""
    return DAY + timedelta(days=days)
