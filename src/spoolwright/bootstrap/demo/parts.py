"""The demonstration's store, orders and outside repairs."""

from __future__ import annotations

from datetime import timedelta

from spoolwright.bootstrap.demo.story import Story
from spoolwright.bootstrap.shop import Shop
from spoolwright.crafts.supply import kit_sheet, kitting, repairing, stores
from spoolwright.crafts.supply.certificates import FIELDS
from spoolwright.crafts.supply.model import (
    Certificate,
    CertificateChecked,
    FieldSeen,
    PartOrdered,
    SentOut,
    StockReceived,
    VendorAuthorised,
    VendorKnown,
    Work,
)
from spoolwright.crafts.supply.needs import kit_lines, needs_of
from spoolwright.crafts.typefile.shop.parts import PartKind
from spoolwright.crafts.visit.desk import Desk

SUPPLIER = "Corrie Parts (invented)"
WELDER = "holt"
SHORT = "turbine_seal_ring"


def stocks_the_store(shop: Shop, desk: Desk, inspector: Desk) -> None:
    """Every part that is renewed when a module is opened, with accepted certificates; one kind is short."""
    kinds = [k for k in desk.types.of("corrie_940").shop.part if k.renewed_when_opened]
    for kind in kinds:
        if kind.serialised:
            for n in range(1, 4):
                _receives(desk, inspector, kind, f"N{n}-{kind.part_number[4:7]}", 1)
        else:
            sets = 4 if kind.id == SHORT else 12
            _receives(desk, inspector, kind, f"L-{kind.part_number[4:7]}", sets * kind.quantity)
    repairing.know_vendor(desk, VendorKnown(id=WELDER, name="Holt Welding and Coating (invented)"))
    approved = VendorAuthorised(
        vendor=WELDER, number="DEMO.145.0311", authority="Demonstration authority",
        works=(Work.WELDING, Work.COATING, Work.HEAT_TREATMENT),
        valid_from=desk.now.date() - timedelta(days=900), expires_on=desk.now.date() + timedelta(days=400),
    )  # fmt: skip
    repairing.record_authorisation(desk, approved)


def _receives(desk: Desk, inspector: Desk, kind: PartKind, tag: str, quantity: int) -> None:
    day = desk.now.date()
    paper = Certificate(
        number=f"CP-{kind.part_number}-{tag}", authority="Demonstration authority", organisation=SUPPLIER,
        approval_number="DEMO.21G.0007", part_number=kind.part_number, serial_or_lot=tag, quantity=quantity,
        status_word="new", data="drawing of the part number", dated=day - timedelta(days=10),
    )  # fmt: skip
    stock = StockReceived(
        part=kind.id, type_id="corrie_940", part_number=kind.part_number, tag=tag, serialised=kind.serialised,
        quantity=quantity, made_on=day - timedelta(days=20), received_on=day, place="shelf 3",
        certificate=paper,
    )  # fmt: skip
    stores.receive_stock(desk, stock)
    seen = tuple(FieldSeen(field=f, seen="agrees") for f in FIELDS)
    held = stores.stock_at(inspector, kind.part_number, tag)
    checked = CertificateChecked(arrival=held.entry.revision, fields=seen, decision="accepted")
    stores.check_certificate(inspector, held, checked, stores.check_shown(held, checked))


def kits_and_fits(story: Story, module: str, leave: tuple[str, ...] = (), fit: bool = True) -> None:
    """What a module's opening renews is asked for, kitted from store, signed for and fitted."""
    kitting.plan_build(story.desk("rex"), story.folder, story.at.date() + timedelta(days=2))
    kitting.need_renewed_parts(story.desk("rex"), story.folder, module)
    for need in needs_of(story.folder, story.shop.records):
        for stock in need.usable():
            if need.kind.id in leave or _still(story, need.kind.id) <= 0:
                break
            take = 1 if stock.body.serialised else _still(story, need.kind.id)
            kitting.kit_part(
                story.desk("rex", 1), story.folder, need.kind.id, stock.body.part_number, stock.body.tag, take
            )
    if not fit:
        return
    desk = story.desk("ada")
    sheet = kit_sheet.sheet_of(story.folder, module)
    kit_sheet.sign_kit(desk, story.folder, module, kit_sheet.kit_shown(story.folder, sheet))
    for line in kit_lines(story.folder, module):
        kit_sheet.fit_part(story.desk("ada", 1), story.folder, line)


def _still(story: Story, kind: str) -> int:
    need = next((n for n in needs_of(story.folder, story.shop.records) if n.kind.id == kind), None)
    return need.still if need else 0


def sends_the_liner_out(story: Story) -> None:
    """The cracked combustion liner goes to the welder."""
    kind = next(k for k in story.folder.kind.shop.part if k.id == "combustion_liner")
    sent = SentOut(
        part=kind.id, module=kind.module, part_number=kind.part_number, serial=f"CL-{story.serial[-3:]}",
        vendor=WELDER, authorisation="DEMO.145.0311", works=(Work.WELDING, Work.HEAT_TREATMENT),
        finding="crack 9 mm between cooling holes, limit 6 mm", data="OM-940 revision 9, 72-40, repair 4",
        order="PO-1187", sent_on=story.at.date(), expected_on=story.at.date() + timedelta(days=12),
    )  # fmt: skip
    repairing.send_out(story.desk("rex"), story.folder, sent)


def orders_a_seal(story: Story) -> None:
    """One kind of seal is not in store: ordered, promised after the build date."""
    kits_and_fits(story, "hot_section", fit=False)
    kind = next(k for k in story.folder.kind.shop.part if k.id == SHORT)
    order = PartOrdered(
        number="PO-1192", visit=story.visit, part=kind.id, part_number=kind.part_number,
        quantity=kind.quantity, supplier=SUPPLIER, ordered_on=story.at.date(),
        promised_on=story.at.date() + timedelta(days=9),
    )  # fmt: skip
    stores.record_order(story.desk("rex"), order)
