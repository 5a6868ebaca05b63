"""Stage 1 turbine discs of the fleet and of the store, for the limit that fell."""

from __future__ import annotations

from decimal import Decimal

from spoolwright.crafts.life import service as life
from spoolwright.crafts.visit.desk import Desk
from spoolwright.crafts.visit.entry import New
from spoolwright.crafts.visit.parts import PartFitted, part_subject
from spoolwright.rig.life_cards import card_of_part

DISC = "turbine_disc_1"
FLEET = (
    ("H4318", "5120.4", 5890, 0.62), ("H4325", "6004.0", 7020, 0.97), ("H4331", "6350.8", 7411, 1.24),
    ("H4347", "4803.2", 5502, 0.71), ("H4452", "6871.5", 7950, 1.21), ("H4460", "2210.9", 2533, 0.33),
)  # fmt: skip
"""Engines that fly: serial, hours, starts, and the share of its limit that the disc has used."""
STORE = (("H4302", "7011.3", 8120, 1.3), ("H4309", "3977.0", 4561, 0.52), ("H4311", "5566.6", 6402, 0.8))
"""Engines that were parted out; their discs lie in store."""


def discs_of_the_fleet(desk: Desk) -> None:
    """Cards of discs that are in no engine of the shop: some of them are over the limit since it fell."""
    shop, day = desk.types.of("corrie_940").shop, desk.now.date()
    for n, (engine, hours, starts, used) in enumerate((*FLEET, *STORE)):
        out = (engine, hours, starts, used) in STORE
        card = card_of_part(
            shop, DISC, engine, hours=Decimal(hours), starts=starts, on=day, seed=n, used=used
        )
        if out:
            card.lines[-1] = card.lines[-1].model_copy(update={"ended": "removed", "reason": "parted out"})
        life.import_cards(desk, [card])
        fitted = PartFitted(
            part=card.part, part_number=card.part_number, serial=card.serial, module=card.module, on=day,
            engine_serial="" if out else engine, state="in store" if out else "",
        )  # fmt: skip
        desk.record(New(part_subject(card.part_number, card.serial, "fit"), fitted))
