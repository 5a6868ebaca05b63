"""Lives of the demonstration's parts: births, ledgers that add up, directives, rate, reviews."""

from __future__ import annotations

from datetime import date, timedelta
from fractions import Fraction

from spoolwright.bootstrap.demo.story import Story
from spoolwright.crafts.life import service as life
from spoolwright.crafts.life.build import all_told, build_of
from spoolwright.crafts.life.calc import cycles_used
from spoolwright.crafts.life.directives import State
from spoolwright.crafts.life.exchange import rates_of
from spoolwright.crafts.life.figure import shown
from spoolwright.crafts.life.model import DirectiveDone, PartBorn, PartUsed, RateStated, Reading
from spoolwright.crafts.life.rules import exchange_of
from spoolwright.crafts.receiving.service import record_parts
from spoolwright.crafts.typefile.shop.parts import PartKind
from spoolwright.crafts.visit.parts import PartFitted

CLASS = "firefighting"
ZERO = Reading(hours="0", cycles="0", starts="0")


def parts_by_serial(story: Story) -> list[tuple[PartKind, str]]:
    """The life-limited parts of an engine with their serials."""
    kinds = [k for k in story.folder.kind.shop.part if k.life_limited]
    return [
        (k, f"{k.part_number[4:7]}-{story.serial[-3:]}-{n:02d}")
        for k in kinds
        for n in range(1, k.quantity + 1)
    ]


def enter_lives(story: Story, *, gap: str = "") -> None:
    """Parts by serial with their ledgers; `gap` names a kind whose first line was lost."""
    desk = story.desk("rex", 20)
    visit = story.folder
    born = story.at.date() - timedelta(days=4 * 365)
    parts = parts_by_serial(story)
    fitted = [
        PartFitted(
            part=k.id, part_number=k.part_number, serial=serial, module=k.module, engine_serial=story.serial,
            on=born, position=str(n) if k.quantity > 1 else "",
        )
        for n, (k, serial) in enumerate(parts, 1)
    ]  # fmt: skip
    record_parts(desk, visit, fitted)
    for kind, serial in parts:
        birth = PartBorn(
            part_number=kind.part_number, serial=serial, made_on=born - timedelta(days=90),
            document=f"birth certificate {serial}",
        )  # fmt: skip
        life.record_birth(desk, birth, visit=story.visit)
        line = _line(story, kind, serial, born)
        if kind.id == gap:
            line = line.model_copy(update={"part_on": Reading(hours="312.4", cycles="270", starts="180")})
        life.record_use(desk, line, visit=story.visit)
    rate = RateStated(
        hours_per_month="38", flown_per_month={"full": "31", "partial": "64"}, operating_class=CLASS,
        stated_by="H. Quill, Holm Utility Helicopters", document="letter of this month",
    )  # fmt: skip
    life.state_rate(desk, story.folder, rate)


def _line(story: Story, kind: PartKind, serial: str, born: date) -> PartUsed:
    """Use in this engine since birth; the stated totals are what the line adds up to."""
    hours = Fraction(str(story.counts.hours_since_new or 0))
    starts = int(story.counts.starts_since_new or 0)
    flown = {"full": str(starts - starts // 20), "partial": str(2 * starts), "ground": str(starts // 20)}
    exchange = exchange_of(story.folder.kind.shop)
    table = exchange.in_force(kind.part_number, born)
    assert table is not None
    rates = rates_of(table, CLASS)
    assert rates is not None
    cycles = cycles_used({k: Fraction(v) for k, v in flown.items()}, rates)
    return PartUsed(
        part_number=kind.part_number, serial=serial, line=1, ended="still fitted", engine_serial=story.serial,
        on=born, off=story.at.date(), engine_on=Reading(hours="0", starts="0"),
        engine_off=Reading(hours=_plain(hours), starts=str(starts)), part_on=ZERO,
        part_off=Reading(hours=_plain(hours), cycles=_plain(cycles), starts=str(starts)),
        operating_class=CLASS, table=table.version, flown=flown, document=f"life card {serial}",
    )  # fmt: skip


def review_lives(story: Story, leave: tuple[str, ...] = ()) -> None:
    """Directives are answered and every proven part is signed; parts named in `leave` stay open."""
    build = build_of(story.folder, story.shop.records)
    for told, part in all_told(build):
        if told.state is State.OPEN and told.directive.id not in leave:
            number, serial = (part.part_number, part.serial) if part else ("", "")
            subject = life.directive_subject(
                told.directive.id, engine=story.serial, part_number=number, serial=serial
            )
            done = DirectiveDone(
                directive=told.directive.id, revision=told.directive.revision, state="complied",
                how="Inspected as asked; no indication.", on=story.at.date(), by="Fellgate Engine Works",
                document=f"card {told.directive.id}, work order {story.visit}",
                at=Reading(hours=_plain(Fraction(str(story.counts.hours_since_new or 0)))),
            )  # fmt: skip
            life.record_directive(story.desk("rex", 3), story.folder, subject, done)
    for item in build_of(story.folder, story.shop.records).parts:
        if item.standing.may_be_fitted and not item.disposed and (item.kind and item.kind.id) not in leave:
            life.review_ledger(
                story.desk("rex", 1), story.folder, item.part_number, item.serial, "may be fitted"
            )


def _plain(value: Fraction) -> str:
    """A figure as a card has it: no more decimals than it needs."""
    return shown(value).replace(",", "")
