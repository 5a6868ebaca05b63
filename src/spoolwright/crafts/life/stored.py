"""A ledger's totals as a stored calculation: plain inputs in, the same plain result out each time."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import asdict
from datetime import date
from typing import Any

from spoolwright.crafts.life.chain_checks import Present
from spoolwright.crafts.life.figure import shown
from spoolwright.crafts.life.model import PartBorn, PartUsed
from spoolwright.crafts.life.rules import Standing, judge_life
from spoolwright.crafts.typefile.shop.lives import CycleKind, ExchangeTable, LifeLimit
from spoolwright.crafts.typefile.shop.model import ShopPart
from spoolwright.crafts.visit.entry import Calculation

NAME, VERSION = "life.ledger", "1"


def ledger_calculation(standing: Standing, shop: ShopPart, on: date) -> Calculation:
    """The calculation that a review stores."""
    inputs = ledger_inputs(standing, shop, on)
    return Calculation(name=NAME, version=VERSION, inputs=inputs, result=_result(standing))


def ledger_inputs(standing: Standing, shop: ShopPart, on: date) -> dict[str, Any]:
    """Everything the totals and the verdict rest on, as plain values."""
    ledger, number = standing.ledger, standing.part_number
    return {
        "part_number": number,
        "serial": standing.serial,
        "on": str(on),
        "now": asdict(standing.now) if standing.now else None,
        "born": ledger.born.model_dump(mode="json") if ledger.born else None,
        "lines": [x.line.model_dump(mode="json") for x in ledger.lines],
        "limits": [a.limit.model_dump(mode="json") for a in standing.limits],
        "kinds": [k.model_dump(mode="json") for k in shop.cycle_kind],
        "tables": [t.model_dump(mode="json") for t in shop.exchange_table if number in t.part_numbers],
    }


def recompute_ledger(inputs: dict[str, Any], _attachment: Callable[[str], bytes]) -> dict[str, Any]:
    """The result again, from the inputs alone."""
    shop = ShopPart(
        life_limit=tuple(LifeLimit.model_validate(x) for x in inputs["limits"]),
        cycle_kind=tuple(CycleKind.model_validate(x) for x in inputs["kinds"]),
        exchange_table=tuple(ExchangeTable.model_validate(x) for x in inputs["tables"]),
    )
    born = PartBorn.model_validate(inputs["born"]) if inputs["born"] else None
    lines = [PartUsed.model_validate(x) for x in inputs["lines"]]
    now = Present(**inputs["now"]) if inputs["now"] else None
    on = date.fromisoformat(inputs["on"])
    return _result(judge_life(inputs["part_number"], inputs["serial"], born, lines, shop, on, now))


def _result(standing: Standing) -> dict[str, Any]:
    ledger = standing.ledger
    return {
        "verdict": str(standing.verdict),
        "proven": ledger.proven,
        "totals": {m: shown(t) for m, t in ledger.totals.items()},
        "stated": ledger.stated,
        "lines": [
            {s.measure: s.how for s in x.sums} | {"total": {m: shown(t) for m, t in x.totals.items()}}
            for x in ledger.lines
        ],
        "findings": [
            {"fault": str(f.fault), "line": f.line, "measure": f.measure, "text": f.text}
            for f in ledger.findings
        ],
        "limits": [
            {
                "measure": a.limit.measure,
                "limit": a.limit.limit,
                "revision": a.limit.revision,
                "left": None if a.left is None else shown(a.left),
            }
            for a in standing.limits
        ],
    }
