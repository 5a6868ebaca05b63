"""Cards of Corrie 940 parts for tests: each with its arithmetic worked out by hand beside it."""

from __future__ import annotations

from datetime import date
from typing import Any

from spoolwright.crafts.life.model import PartBorn, PartUsed, Reading
from spoolwright.crafts.visit.desk import Desk
from spoolwright.crafts.visit.entry import New
from spoolwright.crafts.visit.parts import PartFitted, part_subject

DISC = "940-310-2"


def born(part_number: str = DISC, serial: str = "D1", **changed: Any) -> PartBorn:
    """A new part with its birth certificate."""
    said: dict[str, Any] = {"made_on": date(2011, 2, 1), "document": "birth certificate"}
    return PartBorn(part_number=part_number, serial=serial, **(said | changed))


def used(part_number: str = DISC, serial: str = "D1", **changed: Any) -> PartUsed:
    """1,200 h in H4402 by table H-1, class utility: 900 full, 2,000 partial at 0.25, 100 ground at 0.3.

    Cycles: 900 + 500 + 30 = 1,430. Starts: 1,000.
    """
    said: dict[str, Any] = {
        "line": 1,
        "engine_serial": "H4402",
        "on": date(2012, 5, 2),
        "off": date(2016, 8, 30),
        "engine_on": Reading(hours="310.5", starts="402"),
        "engine_off": Reading(hours="1510.5", starts="1402"),
        "part_on": Reading(hours="0", cycles="0"),
        "part_off": Reading(hours="1200.0", cycles="1430"),
        "operating_class": "utility",
        "table": "H-1",
        "flown": {"full": "900", "partial": "2000", "ground": "100"},
        "document": "card D1, line 1",
    }
    return PartUsed(part_number=part_number, serial=serial, **(said | changed))


def used_up_to(cycles: int, part_number: str = DISC, serial: str = "D1", table: str = "H-1") -> PartUsed:
    """One line of full cycles only: as many starts as cycles, an hour each."""
    return used(
        part_number,
        serial,
        table=table,
        engine_on=Reading(hours="0", starts="0"),
        engine_off=Reading(hours=str(cycles), starts=str(cycles)),
        part_off=Reading(hours=str(cycles), cycles=str(cycles)),
        flown={"full": str(cycles)},
    )


def fit(desk: Desk, visit: str, engine: str, part: str, part_number: str, serial: str, module: str) -> None:
    """Record that a part is in an engine."""
    body = PartFitted(
        part=part,
        part_number=part_number,
        serial=serial,
        module=module,
        engine_serial=engine,
        on=desk.now.date(),
    )
    desk.record(New(part_subject(part_number, serial, "fit"), body, visit=visit))
