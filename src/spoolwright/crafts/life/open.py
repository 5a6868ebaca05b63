"""What of the lives stands between an engine and its release."""

from __future__ import annotations

from collections.abc import Iterator
from urllib.parse import urlencode

from spoolwright.crafts.life.build import Build, PartInBuild, build_of
from spoolwright.crafts.life.directives import State, Told
from spoolwright.crafts.life.figure import shown
from spoolwright.crafts.life.rules import Verdict
from spoolwright.crafts.visit.entry import Records
from spoolwright.crafts.visit.folder import Folder, OpenItem
from spoolwright.crafts.visit.people import Role


def open_items(folder: Folder, records: Records) -> list[OpenItem]:
    """Parts without proof of life, at their limit or not disposed of; directives due."""
    build = build_of(folder, records)
    found: list[OpenItem] = []
    found += _awaiting(folder, [p for p in build.parts if p.awaits_signature])
    for part in build.parts:
        found += [] if part.awaits_signature else _part(folder, part)
        found += [_directive(folder, t, part) for t in part.directives if t.state is State.OPEN]
    found += _missing(folder, build)
    found += _between_cards(folder, build)
    found += [_directive(folder, t) for t in build.directives if t.state is State.OPEN]
    return found


def part_link(visit: str, part_number: str, serial: str) -> str:
    """Where a part's ledger is worked on."""
    return f"/visit/{visit}/life/part?{urlencode({'pn': part_number, 'sn': serial})}"


def directive_link(visit: str, told: Told) -> str:
    """Where it is recorded what was done about a directive."""
    asked = {"id": told.directive.id}
    if told.item.is_part:
        asked |= {"pn": told.item.part_number, "sn": told.item.serial}
    return f"/visit/{visit}/life/directive?{urlencode(asked)}"


def _awaiting(folder: Folder, parts: list[PartInBuild]) -> Iterator[OpenItem]:
    """Parts that only wait for the signature: those of a module together, where there are several."""
    for module in dict.fromkeys(p.module for p in parts):
        own = [p for p in parts if p.module == module]
        if len(own) == 1:
            yield from _part(folder, own[0])
            continue
        text = (
            f"{len(own)} life-limited parts, proven and within their limits, wait for a signed disposition."
        )
        yield OpenItem("life", text, f"/visit/{folder.visit}/life/sign", Role.RECORDS, module)


def _part(folder: Folder, part: PartInBuild) -> Iterator[OpenItem]:
    """What is open about a part's life, and about its disposition: together where nothing is signed."""
    life, disposition = _life(part), _disposition(part)
    if life or disposition:
        link = part_link(folder.visit, part.part_number, part.serial)
        text = f"{part.title}: {' '.join(filter(None, (life, disposition)))}"
        yield OpenItem("life", text, link, Role.RECORDS, part.module)


def _life(part: PartInBuild) -> str:
    standing = part.standing
    if standing.verdict is Verdict.NO_PROOF:
        first, *more = standing.ledger.findings
        others = f" ({len(more)} more)" if more else ""
        return f"life not proven, so it has none left; {first}{others}"
    if standing.verdict is Verdict.NO_LIMIT:
        return "no limit is transcribed for it; refer to engineering."
    if standing.verdict is Verdict.REACHED:
        over = [(a.limit.measure, -a.left) for a in standing.limits if a.left is not None and a.left <= 0]
        return "; ".join(f"{shown(by)} {measure} over its limit" for measure, by in over) + "."
    return ""


def _disposition(part: PartInBuild) -> str:
    review = part.review
    if review is None:
        return "Its disposition is not signed."
    if part.stale:
        return f"Its ledger or limit changed since {review.author} signed it; review it again."
    if review.body.disposition != "may be fitted":
        return f"Signed as {review.body.disposition}, and still in the engine."
    return ""


def _missing(folder: Folder, build: Build) -> Iterator[OpenItem]:
    link = f"/visit/{folder.visit}/life#missing"
    if not build.parts:
        text = "No life-limited part of this engine is recorded by serial."
        yield OpenItem("life", text, link, Role.RECORDS)
        return
    for kind in build.missing:
        text = f"{kind.name}: none is recorded by serial in this engine."
        yield OpenItem("life", text, link, Role.RECORDS, kind.module)


def _between_cards(folder: Folder, build: Build) -> Iterator[OpenItem]:
    """Cards that contradict each other, and cards of parts that left without their last line."""
    for d in build.disagreements:
        link = part_link(folder.visit, d.later.part_number, d.later.serial)
        yield OpenItem("life", f"{d.text[:1].upper()}{d.text[1:]}", link, Role.RECORDS)
    for part in build.left:
        text = (
            f"Part {part.part_number}, serial {part.serial}, was taken off: its card does not say so yet, "
            "and its life status goes with it."
        )
        link = part_link(folder.visit, part.part_number, part.serial)
        yield OpenItem("life", text, link, Role.RECORDS, part.module, blocks_release=False)


def _directive(folder: Folder, told: Told, part: PartInBuild | None = None) -> OpenItem:
    d = told.directive
    on = f" on {part.title}" if part else ""
    text = f"{d.kind.capitalize()} {d.id}, {d.title}{on}: open, {told.next_due or 'no term'}."
    module = part.module if part else ""
    blocks = told.due and d.mandatory
    return OpenItem("life", text, directive_link(folder.visit, told), Role.RECORDS, module, blocks)
