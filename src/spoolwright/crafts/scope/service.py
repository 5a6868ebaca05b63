"""Use cases: what the scope must give, the alternatives, the one that the lead signs."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

from spoolwright.crafts.scope.case import Case, case_of, life_after, terms_of
from spoolwright.crafts.scope.compare import NAME, compute, inputs_of
from spoolwright.crafts.scope.facts import Facts, Missing
from spoolwright.crafts.scope.model import Alternative, ScopeAsked, ScopeChosen, ScopeLine
from spoolwright.crafts.scope.words import chosen_shown, gives_up, lower_first
from spoolwright.crafts.visit.desk import Desk, signed
from spoolwright.crafts.visit.entry import Body, Calculation, Entry, Meaning, New
from spoolwright.crafts.visit.folder import Folder, newest
from spoolwright.crafts.visit.model import VisitOpened
from spoolwright.crafts.visit.parts import PartNeeded
from spoolwright.crafts.visit.people import Role
from spoolwright.errors import InputError

Run = Callable[[dict[str, Any]], dict[str, Any]]


@dataclass(frozen=True)
class Proposal:
    """The alternatives of a visit with the calculation behind them."""

    case: Case
    alternatives: tuple[Alternative, ...]
    calculation: Calculation
    missing: tuple[Missing, ...]


def asked_of(folder: Folder) -> Entry[ScopeAsked] | None:
    """What the scope must give."""
    return newest(folder.of(ScopeAsked), f"visit/{folder.visit}/scope/asked")


def chosen_of(folder: Folder) -> Entry[ScopeChosen] | None:
    """The scope that was signed last."""
    return newest(folder.of(ScopeChosen), f"visit/{folder.visit}/scope/chosen")


def ask(desk: Desk, folder: Folder, asked: ScopeAsked, after: int, reason: str = "") -> Entry[Body]:
    """Say what the scope must give.

    Raises
    ------
    NotEntitledError
        The person is not the lead.
    InputError
        A module is none of the type's, or the first day lies before the engine came.
    """
    desk.entitled(Role.LEAD)
    opened = folder.of(VisitOpened)[-1].body
    if asked.begin_on < opened.received_on:
        raise InputError(
            f"the work would begin before the engine came on {opened.received_on}.",
            mend="Correct the day.",
            where="begin_on",
        )
    known = {m.id for m in folder.kind.type_file.module}
    for name in asked.must_open:
        if name not in known:
            raise InputError(f"the type has no module '{name[:40]}'.", mend="Choose one of its modules.")
    why = reason or ("asked anew" if after else "")
    (entry,) = desk.record(New(f"visit/{folder.visit}/scope/asked", asked, folder.visit, after, why))
    return entry


def propose(folder: Folder, asked: ScopeAsked, facts: Facts, run: Run = compute) -> Proposal:
    """The alternatives, cheapest first; none while something that blocks is missing."""
    case = case_of(folder.kind.shop, asked, facts)
    inputs = inputs_of(case)
    if any(m.blocks for m in case.missing):
        return Proposal(case, (), _calculation(inputs, {}), case.missing)
    result = run(inputs)
    plain = [_told(case, a) for a in result["alternatives"]]
    currency = terms_of(folder.kind.shop).currency
    told = tuple(a.model_copy(update={"gives_up": gives_up(a, plain, currency)}) for a in plain)
    return Proposal(case, told, _calculation(inputs, result), case.missing)


def _calculation(inputs: dict[str, Any], result: dict[str, Any]) -> Calculation:
    return Calculation(name=NAME[0], version=NAME[1], inputs=inputs, result=result)


def _told(case: Case, raw: dict[str, Any]) -> Alternative:
    lines = []
    for offered, n in zip(case.offered, raw["chosen"][1:], strict=True):
        option = offered.options[n]
        lines.append(
            ScopeLine(
                part=offered.item.part,
                title=offered.item.title,
                option=option.id,
                work=option.title,
                kind=option.kind,
                money=option.money,
                hours=option.hours,
                wait_days=option.wait_days,
                life_h=life_after(option, offered.facts),
                because=offered.facts.because,
            )
        )
    numbers = {k: raw[k] for k in ("money", "hours", "days_50", "days_80", "life_h", "passing", "margin")}
    return Alternative(lines=tuple(lines), opened=tuple(case.modules[m] for m in raw["opened"]), **numbers)


def promised_on(asked: ScopeAsked, one: Alternative) -> date:
    """Four of five such visits are done by then."""
    return asked.begin_on + timedelta(days=math.ceil(one.days_80))


def shown_of(folder: Folder, asked: ScopeAsked, proposal: Proposal, number: int) -> str:
    """What is signed with an alternative.

    Raises
    ------
    InputError
        There is no such alternative.
    """
    one = _numbered(proposal.alternatives, number)
    modules = {m.id: m.name for m in folder.kind.type_file.module}
    terms = terms_of(folder.kind.shop)
    serial = folder.of(VisitOpened)[-1].body.engine_serial
    still = [m.text for m in proposal.missing]
    return chosen_shown(one, serial, modules, promised_on(asked, one), terms.currency, still)


def _numbered(alternatives: Sequence[Alternative], number: int) -> Alternative:
    if not 1 <= number <= len(alternatives):
        raise InputError(
            f"there is no alternative {number}.", mend="Choose one that is listed.", where="number"
        )
    return alternatives[number - 1]


def choose(
    desk: Desk,
    folder: Folder,
    asked: ScopeAsked,
    proposal: Proposal,
    number: int,
    shown: str,
    *,
    after: int,
    remark: str = "",
) -> list[Entry[Body]]:
    """Sign an alternative: the scope, its quote, and the parts that it needs, written together.

    Raises
    ------
    NotEntitledError
        The person is not the lead.
    InputError
        There is no such alternative, or what was shown is not what it says now.
    """
    one, terms = _numbered(proposal.alternatives, number), terms_of(folder.kind.shop)
    if shown != shown_of(folder, asked, proposal, number):
        raise InputError("the scope is not the one that was shown any more.", mend="Look at it again.")
    body = ScopeChosen(
        chosen=one,
        others=tuple(a for a in proposal.alternatives if a is not one),
        currency=terms.currency,
        begin_on=asked.begin_on,
        promised_on=promised_on(asked, one),
        valid_until=folder.today + timedelta(days=terms.valid_days),
        exclusions=terms.exclusions,
        open=tuple(m.text for m in proposal.missing),
        cards=_cards(folder, one),
        remark=remark,
        calculation=proposal.calculation,
    )
    new = New(
        f"visit/{folder.visit}/scope/chosen",
        body,
        folder.visit,
        after,
        "another scope chosen" if after else "",
    )
    return desk.record(signed(new, desk, Meaning.ACCEPTED, shown, Role.LEAD), *_needs(folder, one))


def _cards(folder: Folder, one: Alternative) -> tuple[str, ...]:
    """The route cards of what is opened and done, each once, in the order of the type's cards."""
    shop = folder.kind.shop
    wanted = {c for o in shop.scope_opening if o.module in one.opened for c in o.cards}
    chosen = {(x.part, x.option) for x in one.lines}
    for item in shop.scope_item:
        wanted |= {c for o in item.option if (item.part, o.id) in chosen for c in o.cards}
    return tuple(c.id for c in shop.route_card if c.id in wanted)


def _needs(folder: Folder, one: Alternative) -> list[New]:
    """Parts that the scope asks for; what an earlier scope asked for and this one does not is withdrawn."""
    shop = folder.kind.shop
    kinds = {k.id: k for k in shop.part}
    options = {(i.part, o.id): o for i in shop.scope_item for o in i.option}
    wanted = {x.part: x for x in one.lines if options[x.part, x.option].needs and x.part in kinds}
    place = f"visit/{folder.visit}/supply/need/scope-"
    before = {e.subject: e for e in folder.of(PartNeeded) if e.subject.startswith(place)}
    news = []
    for part, line in wanted.items():
        kind, old = kinds[part], before.pop(place + part, None)
        body = PartNeeded(
            part=part,
            quantity=kind.quantity,
            module=kind.module,
            why=f"work scope: {lower_first(line.work)}",
            asked_by="scope",
        )
        if old is None or old.body != body:
            after = old.revision if old else 0
            news.append(New(place + part, body, folder.visit, after, "another scope" if old else ""))
    for subject, old in before.items():
        if not old.body.withdrawn:
            gone = old.body.model_copy(update={"withdrawn": True})
            news.append(New(subject, gone, folder.visit, old.revision, "not in the scope chosen now"))
    return news
