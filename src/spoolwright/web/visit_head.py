"""The head of every page of a visit: which engine, whose, where it stands, when it is promised."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from spoolwright.crafts.visit.folder import Folder
from spoolwright.crafts.visit.model import Stage, StageSet, VisitOpened


@dataclass(frozen=True)
class VisitHead:
    """What stands above a visit's pages."""

    number: str
    serial: str
    type_name: str
    demonstration: bool
    customer: str
    stage: Stage
    waits_for: str
    promised_on: date | None
    days_left: int | None

    @property
    def promise(self) -> str:
        """The days left, in words."""
        return promise_words(self.days_left)


def promise_words(days_left: int | None) -> str:
    """Days to a promised date, in words."""
    if days_left is None:
        return "no date promised"
    if days_left == 0:
        return "promised for today"
    days = f"{abs(days_left)} day{'' if abs(days_left) == 1 else 's'}"
    return f"{days} left" if days_left > 0 else f"{days} late"


def head_of(folder: Folder) -> VisitHead:
    """The head of a visit."""
    opened = folder.of(VisitOpened)[-1].body
    stages = folder.of(StageSet)
    stage = stages[-1].body if stages else StageSet(stage=Stage.RECEIVING)
    kind = folder.kind.type_file.type
    return VisitHead(
        number=opened.number,
        serial=opened.engine_serial,
        type_name=kind.name,
        demonstration=kind.demonstration,
        customer=opened.customer,
        stage=stage.stage,
        waits_for=stage.waits_for,
        promised_on=opened.promised_on,
        days_left=(opened.promised_on - folder.today).days if opened.promised_on else None,
    )
