"""What of the cards stands between an engine and its release."""

from __future__ import annotations

from collections.abc import Iterator

from spoolwright.crafts.cards.hand import newer_text, newer_words
from spoolwright.crafts.cards.rules import since_yesterday
from spoolwright.crafts.cards.standing import CardState, standing
from spoolwright.crafts.cards.tools import count_lines, differences
from spoolwright.crafts.cards.words import progress_words
from spoolwright.crafts.visit.folder import Folder, OpenItem
from spoolwright.crafts.visit.model import WorkEvent
from spoolwright.crafts.visit.people import Role


def open_items(folder: Folder) -> list[OpenItem]:
    """Steps and checks, readings without a disposition, cards not issued, tools and modules not back."""
    cards = standing(folder.entries, folder.visit)
    found: list[OpenItem] = []
    for card in cards.values():
        found += _of_card(folder, card)
    found += _not_issued(folder, cards)
    found += _tools(folder, cards)
    found += _modules(folder, cards)
    return found


def card_link(card: CardState, step: str = "") -> str:
    """Where a card, or a step of it, is worked on."""
    base = f"/visit/{card.ref.visit}/cards/{card.ref.card}/{card.ref.run}"
    return f"{base}?step={step}" if step else base


def _of_card(folder: Folder, card: CardState) -> Iterator[OpenItem]:
    module, upcoming, title = card.card.module, card.next, card.card.title
    if upcoming is not None:
        check = upcoming.waits_for_check
        role = Role(upcoming.step.checked_by if check else upcoming.step.signed_by)
        text = f"{title}: {progress_words(card, folder.today.isoformat())}"
        if since_yesterday(card, folder.today):
            text += "; no hand-over is recorded since then"
        yield OpenItem("cards", text, card_link(card, upcoming.step.id), role, module)
    for state in card.steps:
        for measure, reading in state.to_dispose():
            yield OpenItem(
                "cards",
                f"{title}, step {state.number}: {reading.body.told}; what is done about it is not recorded",
                card_link(card, state.step.id) + f"#{measure.id}",
                Role.LEAD,
                module,
            )
    newer = newer_text(card, folder.kind)
    if newer is not None:
        yield OpenItem(
            "cards",
            newer_words(card, newer),
            card_link(card) + "#revision",
            Role.LEAD,
            module,
        )


def _not_issued(folder: Folder, cards: dict[tuple[str, int], CardState]) -> Iterator[OpenItem]:
    """Cards that must follow another."""
    known = {c.id: c for c in folder.kind.shop.route_card}
    callers: dict[str, list[CardState]] = {}
    for card in cards.values():
        for called in card.card.calls_for:
            callers.setdefault(called, []).append(card)
    for called, by in callers.items():
        runs = [c for c in cards.values() if c.ref.card == called]
        wanting = [c for c in by if not any(_worked_since(run, c.issued.seq) for run in runs)]
        if wanting:
            title = known[called].title if called in known else called
            names = ", ".join(dict.fromkeys(c.card.title for c in wanting))
            yield OpenItem(
                "cards",
                f"{title}: not issued, called for by {names}",
                f"/visit/{folder.visit}/cards",
                Role.LEAD,
                known[called].module if called in known else "",
            )


def _worked_since(card: CardState, seq: int) -> bool:
    """A card that is still worked on, or was after a place in the chain."""
    return not card.complete or max((s.signed.seq for s in card.steps if s.signed), default=0) > seq


def _tools(folder: Folder, cards: dict[tuple[str, int], CardState]) -> Iterator[OpenItem]:
    places = {c.place: c for c in cards.values()}
    for place, card in places.items():
        for said in differences(count_lines(folder.entries, place)):
            yield OpenItem(
                "cards",
                f"Tools at {place.replace('_', ' ')}: {said}",
                f"/visit/{folder.visit}/cards/tools/{place}",
                Role(card.steps[-1].step.signed_by),
                card.card.module,
            )


def _modules(folder: Folder, cards: dict[tuple[str, int], CardState]) -> Iterator[OpenItem]:
    """Modules that are off the engine, and reopened ones that no card has been worked on since."""
    events = sorted(folder.of(WorkEvent), key=lambda e: e.seq)
    for module in folder.kind.type_file.module:
        moved = [e for e in events if e.body.item == module.id and e.body.what in _OFF | {"installed"}]
        if moved and moved[-1].body.what in _OFF:
            text = f"{module.name}: taken off, not signed as installed again"
            yield _at_cards(folder, text, Role.BUILDER, module.id)
        again = [
            e.seq for e in events if e.body.what == "reopened" and module.id in (e.body.item, e.body.module)
        ]
        mine = [c for c in cards.values() if c.card.module == module.id]
        if again and not any(_worked_since(c, again[-1]) for c in mine):
            yield _at_cards(folder, f"{module.name}: reopened, no card issued since", Role.LEAD, module.id)


_OFF = {"removed", "removed_for_access"}


def _at_cards(folder: Folder, text: str, role: Role, module: str) -> OpenItem:
    return OpenItem("cards", text, f"/visit/{folder.visit}/cards", role, module)
