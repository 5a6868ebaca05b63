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
    for part in build.parts:
        found += _life(folder, part)
        found += _disposition(folder, part)
        found += [_directive(folder, t, part) for t in part.directives if t.state is State.OPEN]
    found += _missing(folder, build)
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


def _item(folder: Folder, part: PartInBuild, text: str) -> OpenItem:
    link = part_link(folder.visit, part.part_number, part.serial)
    return OpenItem("life", text, link, Role.RECORDS, part.module)


def _life(folder: Folder, part: PartInBuild) -> Iterator[OpenItem]:
    standing = part.standing
    if standing.verdict is Verdict.NO_PROOF:
        first, *more = standing.ledger.findings
        others = f" (and {len(more)} more)" if more else ""
        text = f"{part.title}: life not proven, so it has none left. {first}{others}"
        yield _item(folder, part, text)
    elif standing.verdict is Verdict.NO_LIMIT:
        yield _item(folder, part, f"{part.title}: no limit is transcribed for it; refer to engineering.")
    elif standing.verdict is Verdict.REACHED:
        over = [(a.limit.measure, -a.left) for a in standing.limits if a.left is not None and a.left <= 0]
        said = "; ".join(f"{shown(by)} {measure} over its limit" for measure, by in over)
        yield _item(folder, part, f"{part.title}: {said}.")


def _disposition(folder: Folder, part: PartInBuild) -> Iterator[OpenItem]:
    review = part.review
    if review is None:
        yield _item(folder, part, f"{part.title}: its disposition is not signed.")
    elif part.stale:
        text = f"{part.title}: its ledger or limit changed since {review.author} signed it; review it again."
        yield _item(folder, part, text)
    elif review.body.disposition != "may be fitted":
        yield _item(
            folder, part, f"{part.title}: signed as {review.body.disposition}, and still in the engine."
        )


def _missing(folder: Folder, build: Build) -> Iterator[OpenItem]:
    link = f"/visit/{folder.visit}/life#missing"
    if not build.parts:
        text = "No life-limited part of this engine is recorded by serial."
        yield OpenItem("life", text, link, Role.RECORDS)
        return
    for kind in build.missing:
        text = f"{kind.name}: none is recorded by serial in this engine."
        yield OpenItem("life", text, link, Role.RECORDS, kind.module)


def _directive(folder: Folder, told: Told, part: PartInBuild | None = None) -> OpenItem:
    d = told.directive
    on = f" on {part.title}" if part else ""
    text = f"{d.kind.capitalize()} {d.id}, {d.title}{on}: open, {told.next_due or 'no term'}."
    module = part.module if part else ""
    blocks = told.due and d.mandatory
    return OpenItem("life", text, directive_link(folder.visit, told), Role.RECORDS, module, blocks)
