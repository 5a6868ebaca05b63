"""Whether the records show what the word 'overhauled' asks (14 CFR 43.2(a))."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from spoolwright.crafts.cards.standing import CardState
from spoolwright.crafts.cards.standing import standing as card_standing
from spoolwright.crafts.owed.rules import owed_work
from spoolwright.crafts.release.model import OverhaulFacts
from spoolwright.crafts.testcell.visit.standing import standing as test_standing
from spoolwright.crafts.visit.folder import Folder


def overhaul_facts(folder: Folder) -> OverhaulFacts:
    """What is missing for each word of the rule, a sentence each."""
    cards = _newest(folder)
    rules = {r.module: r for r in folder.kind.shop.overhaul}
    missing: dict[str, list[str]] = {k: [] for k in ("disassembled", "cleaned", "inspected", "reassembled")}
    for module in folder.kind.type_file.module:
        rule = rules.get(module.id)
        for word, told in missing.items():
            if rule is None:
                told.append(f"{module.name}: no line of the shop's documents says how it is {word}.")
            else:
                told.extend(f"{module.name}: {x}" for x in _undone(getattr(rule, word), cards))
    return OverhaulFacts(
        disassembled=tuple(missing["disassembled"]),
        cleaned=tuple(missing["cleaned"]),
        inspected=tuple(missing["inspected"]),
        reassembled=tuple(missing["reassembled"]),
        repaired=tuple(f"still owed: {o.text}." for o in owed_work(folder) if not o.closed),
        tested=tuple(_untested(folder, cards)),
    )


def _newest(folder: Folder) -> dict[str, CardState]:
    """Each card of the visit in its newest run."""
    out: dict[str, CardState] = {}
    for (card, run), state in card_standing(folder.entries, folder.visit).items():
        if card not in out or run > out[card].ref.run:
            out[card] = state
    return out


def _undone(names: tuple[str, ...], cards: Mapping[str, CardState]) -> Iterator[str]:
    for name in names:
        card, _, step = name.partition("/")
        state = cards.get(card)
        if state is None:
            yield f"card {card} was not issued."
        elif not step and not state.complete:
            yield f"card '{state.card.title}' is not complete."
        elif step:
            found = state.step(step)
            if found is None or not found.done:
                yield f"step {step} of card '{state.card.title}' is not done."


def _untested(folder: Folder, cards: Mapping[str, CardState]) -> Iterator[str]:
    rule, test = folder.kind.shop.overhaul_test, test_standing(folder)
    if rule is None:
        yield "no line of the shop's documents says under which limits an overhauled engine is tested."
        return
    if test.accepted is None:
        yield "no test run is accepted."
        return
    runs = [e for e in test.runs if e.body.run in test.accepted.body.runs]
    wrong = sorted({e.body.limit_set for e in runs} - set(rule.limit_set))
    if wrong:
        yield f"the accepted run was judged by the limits '{', '.join(wrong)}', not those after overhaul."
    built = [s.signed.seq for c in cards.values() if c.card.stage == "build" for s in c.steps if s.signed]
    if runs and built and max(built) > max(e.seq for e in runs):
        yield "a build step was signed after the accepted run was attached."
