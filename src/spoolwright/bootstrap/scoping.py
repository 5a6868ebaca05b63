"""What a scope is computed from, read from the crafts' records: lives, findings, the forecast's margins."""

from __future__ import annotations

from collections import defaultdict

from spoolwright.crafts.inspection.model import DispositionAccepted, EngineeringAnswered, FindingRecorded
from spoolwright.crafts.life.build import Build, build_of
from spoolwright.crafts.scope.facts import Facts, MarginFacts, Missing, Need, PartFacts
from spoolwright.crafts.testcell.visit.model import RunForecast
from spoolwright.crafts.typefile.shop.inspection import InspectedPart
from spoolwright.crafts.visit.desk import Desk
from spoolwright.crafts.visit.entry import Attachments, Entry
from spoolwright.crafts.visit.folder import Folder

_SPAN_OF_90 = 2.0 * 1.6448536269514722
_ORDER: tuple[Need, ...] = ("", "repair", "replace")


def facts_of(desk: Desk, folder: Folder) -> Facts:
    """Everything that the records of a visit say about its scope, and what they do not."""
    build = build_of(folder, desk.records)
    found, unsettled = _findings(folder)
    parts, missing = {}, list(unsettled)
    link = f"/visit/{folder.visit}/life"
    for item in folder.kind.shop.scope_item:
        life, serials, told = _life(folder, build, item.part)
        need, because = found.get(item.part, ("", ()))
        parts[item.part] = PartFacts(item.part, serials, life, need, because, told)
        if told:
            missing.append(Missing(f"{item.title}: {told}", link, blocks=True))
    margins = margins_of(desk.attachments, folder)
    if margins is None:
        missing.append(
            Missing(
                "No forecast in this visit: attach a build sheet, forecast the run. Until then the chance "
                "to pass and the margins are left out.",
                f"/visit/{folder.visit}/testcell",
            )
        )
    return Facts(parts, margins, tuple(missing))


def _life(folder: Folder, build: Build, part: str) -> tuple[float | None, tuple[str, ...], str]:
    """Hours left of the parts of a kind, the least of them; their serials; what is not known."""
    kind = next((k for k in folder.kind.shop.part if k.id == part), None)
    if kind is None or not kind.life_limited:
        return None, (), ""
    mine = [p for p in build.parts if p.kind is kind]
    serials = tuple(p.serial for p in mine)
    if not mine:
        return None, (), "no serial is recorded in this engine."
    left = []
    for p in mine:
        if not p.standing.ledger.proven:
            left.append(0.0)  # a life that is not proven counts as none left
            continue
        due = [d for d in build.removal.due if d.standing is p.standing]
        if any(d.hours is None for d in due) or not due:
            return None, serials, "its life in hours is not known: state the operator's rate of use."
        left += [float(d.hours) for d in due if d.hours is not None]
    return max(min(left), 0.0), serials, ""


def _findings(folder: Folder) -> tuple[dict[str, tuple[Need, tuple[str, ...]]], list[Missing]]:
    """What the accepted dispositions ask for, by kind of part, and findings that wait for one."""
    inspected = {p.id: p for p in folder.kind.shop.inspected_part}
    decided = {e.body.finding: e.body.decided for e in folder.of(DispositionAccepted)}
    answers = {e.body.finding: e.body.answer for e in folder.of(EngineeringAnswered)}
    needs: dict[str, Need] = {}
    because: defaultdict[str, list[str]] = defaultdict(list)
    missing = []
    for entry in folder.of(FindingRecorded):
        part = inspected.get(entry.body.part)
        if entry.body.withdrawn or part is None or not part.part:
            continue
        decision: str = decided.get(entry.subject, "")
        if decision == "refer to engineering":
            decision = answers.get(entry.subject, "")
        if not decision:
            missing.append(_waits(folder, entry, part))
            continue
        need = _need(decision, part)
        if need:
            because[part.part].append(f"{entry.body.damage.value} on {_place(entry, part)}: {decision}")
        needs[part.part] = max(need, needs.get(part.part, ""), key=_ORDER.index)
    return {p: (n, tuple(because[p])) for p, n in needs.items()}, missing


def _need(decision: str, part: InspectedPart) -> Need:
    """A scrapped blade of a bladed stage asks for a repair of the stage; a scrapped part for another part."""
    if decision == "scrap":
        return "repair" if part.outline == "bladed stage" else "replace"
    return "repair" if decision == "blend" else ""


def _place(entry: Entry[FindingRecorded], part: InspectedPart) -> str:
    return f"{part.numbered} {entry.body.blade}" if entry.body.blade else f"zone {entry.body.zone}"


def _waits(folder: Folder, entry: Entry[FindingRecorded], part: InspectedPart) -> Missing:
    return Missing(
        f"{part.name}: {entry.body.damage.value} on {_place(entry, part)} has no disposition yet.",
        f"/visit/{folder.visit}/inspection",
    )


def margins_of(attachments: Attachments, folder: Folder) -> MarginFacts | None:
    """The margins of the newest forecast of a visit; None: there is none."""
    forecasts = folder.of(RunForecast)
    if not forecasts:
        return None
    from spoolwright.crafts.testcell.forecast.model import Forecast

    newest = max(forecasts, key=lambda e: e.seq)
    found = Forecast.model_validate_json(attachments.read(newest.body.result.sha256))
    known = {x.limit: x for x in found.limits}
    spreads = {n: (x.margin.high.value - x.margin.low.value) / _SPAN_OF_90 for n, x in known.items()}
    limits = tuple(n for n in known if spreads[n] > 0.0)
    changes = {}
    for option in found.options:
        by = {e.limit: e.change.mean.value for e in option.effects}
        changes[option.id] = tuple(by.get(n, 0.0) for n in limits)
    return MarginFacts(
        limits=tuple(known[n].name for n in limits),
        means=tuple(known[n].margin.mean.value - known[n].guard.value for n in limits),
        uncertainties=tuple(spreads[n] for n in limits),
        passing=found.passing_all,
        changes=changes,
        source=f"forecast of {newest.at:%d %b %Y}",
    )
