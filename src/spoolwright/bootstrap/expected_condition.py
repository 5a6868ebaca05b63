"""What a visit's inspection found and built, as a build sheet that the forecast reads."""

from __future__ import annotations

import json
from collections.abc import Iterable

from spoolwright.crafts.inspection.condition import ExpectedCondition, Measured, expected_condition
from spoolwright.crafts.inspection.service import stage_of
from spoolwright.crafts.inspection.standing import serial_known, stages_begun
from spoolwright.crafts.testcell.visit.model import RunForecast
from spoolwright.crafts.visit.desk import Desk
from spoolwright.crafts.visit.entry import Attachment, Entry
from spoolwright.crafts.visit.folder import Folder
from spoolwright.crafts.visit.model import VisitOpened
from spoolwright.errors import InputError

NAME = "expected-condition.toml"
_DEFAULT = "overhauled"


def condition_of(desk: Desk, folder: Folder) -> ExpectedCondition | None:
    """The expected condition of a visit; None where the type does not say how to read it."""
    kind = folder.kind.shop.condition
    if kind is None:
        return None
    parts = {p.id: p for p in folder.kind.shop.inspected_part}
    begun = dict(stages_begun(folder))
    stages = {}
    for row in kind.blends:
        serial = begun.get(row.part, serial_known(folder, parts[row.part]))
        stages[row.part] = stage_of(desk, folder, row.part, serial)
    return expected_condition(folder, stages)


def limit_set_of(folder: Folder) -> str:
    """The limit set that the visit is meant to meet."""
    known = [s.id for s in folder.kind.type_file.limit_set]
    word = folder.of(VisitOpened)[-1].body.word
    return word if word in known else _DEFAULT if _DEFAULT in known else known[0]


def build_sheet_text(
    desk: Desk, folder: Folder, condition: ExpectedCondition, limit_set: str, cell: str
) -> str:
    """The build sheet as TOML text.

    Raises
    ------
    InputError
        Nothing is measured, or the limit set or cell is not in the type.
    """
    kind = folder.kind.shop.condition
    if kind is None or not condition.measured:
        raise InputError("nothing is measured that a forecast could take.", mend="Enter a dimension first.")
    for name, given, known in (("limit_set", limit_set, folder.kind.type_file.limit_set),
                               ("cell", cell, folder.kind.type_file.cell)):  # fmt: skip
        if given not in [x.id for x in known]:
            raise InputError(f"'{given[:40]}' is not in the type.", where=name, mend="Choose from the list.")
    opened = folder.of(VisitOpened)[-1].body
    stages = ", ".join(f"{n} = {v}" for n, v in kind.stages.model_dump().items())
    head = [
        "# From the records of the inspection.",
        "format = 1",
        f"limit_set = {_text(limit_set)}",
        f"cell = {_text(cell)}",
        f"prepared_on = {folder.today.isoformat()}",
        f"prepared_by = {_text(desk.person.name)}",
        f"engine = {{ serial = {_text(opened.engine_serial)}, visit = {_text(folder.visit)} }}",
        f"stages = {{ {stages} }}",
        f"remark = [{', '.join(_text('Not taken: ' + m.text) for m in condition.missing)}]",
    ]
    return "\n".join([*head, *(line for m in condition.measured for line in _table(m)), ""])


def _table(m: Measured) -> Iterable[str]:
    yield f"\n[[{m.table}]]"
    for key, value in m.keys.items():
        yield f"{key} = {_text(value) if isinstance(value, str) else value}"
    for key, (amount, unit) in m.amounts.items():
        yield f"{key} = {{ value = {float(amount)!r}, unit = {_text(unit)} }}"


def _text(text: str) -> str:
    return json.dumps(text, ensure_ascii=False)


def kept_sheet(
    desk: Desk, folder: Folder, condition: ExpectedCondition, limit_set: str, cell: str
) -> Attachment:
    """The build sheet as an attachment."""
    text = build_sheet_text(desk, folder, condition, limit_set, cell)
    return desk.attachments.keep(text.encode(), NAME, "text/plain")


def forecasts_of(folder: Folder) -> list[Entry[RunForecast]]:
    """Forecasts that were made from the expected condition, the newest last."""
    mine = [e for e in folder.of(RunForecast) if e.body.sheet.name == NAME]
    return sorted(mine, key=lambda e: e.seq)
