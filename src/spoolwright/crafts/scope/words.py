"""Alternatives in words: what each gives up against the others, and what the lead signs."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

from spoolwright.crafts.scope.model import Alternative

_SAME_SHARE = 0.005


def gives_up(one: Alternative, among: Sequence[Alternative], currency: str) -> str:
    """One sentence: against the best of each aim, what this one does not have."""
    lost = []
    cheapest, soonest = min(a.money for a in among), min(a.days_80 for a in among)
    if one.money - cheapest > _SAME_SHARE * cheapest:
        lost.append(f"{money(one.money - cheapest, currency)} against the cheapest")
    if one.days_80 - soonest >= 1.0:
        days = f"{one.days_80 - soonest:.0f}"
        lost.append(f"{days} day{'' if days == '1' else 's'} against the soonest")
    sure = [a.passing for a in among if a.passing is not None]
    if one.passing is not None and max(sure) - one.passing >= 0.005:
        lost.append(f"{100.0 * (max(sure) - one.passing):.0f} points of the chance to pass the first test")
    lives = [a.life_h for a in among if a.life_h is not None]
    if one.life_h is not None and max(lives) - one.life_h >= 1.0:
        lost.append(f"{max(lives) - one.life_h:,.0f} h of remaining life".replace(",", " "))
    if not lost:
        return "Gives up nothing against the others."
    return f"Gives up {lost[0] if len(lost) == 1 else ', '.join(lost[:-1]) + ' and ' + lost[-1]}."


def money(amount: float, currency: str) -> str:
    """An amount with thin spaces between thousands."""
    return f"{amount:,.0f}".replace(",", " ") + f" {currency}"


def lower_first(words: str) -> str:
    """Words inside a sentence: a class or a number keeps its capitals."""
    return words[:1].lower() + words[1:]


def work_words(one: Alternative) -> str:
    """What is done, parts that stay left out."""
    done = [f"{x.title}: {lower_first(x.work)}" for x in one.lines if x.kind != "keep"]
    return "; ".join(done) or "no part is worked on"


def chosen_shown(
    one: Alternative,
    serial: str,
    modules: dict[str, str],
    promised: date,
    currency: str,
    still: Sequence[str],
) -> str:
    """The sentences that are signed."""
    opened = ", ".join(modules.get(m, m) for m in one.opened) or "no module"
    life = "no part has a limit" if one.life_h is None else f"least remaining life {one.life_h:.0f} h"
    sure = "" if one.passing is None else f", chance to pass the first test {100.0 * one.passing:.0f} %"
    unknown = f" Not known yet: {' '.join(still)}" if still else ""
    return (
        f"Work scope of engine {serial}: open {opened}. {work_words(one)}. "
        f"{money(one.money, currency)}, {one.hours:.0f} bench hours, {one.days_50:.0f} days (half of such "
        f"visits), {one.days_80:.0f} days (four of five), {life}{sure}. "
        f"Promised on {promised:%d %b %Y}.{unknown}"
    )
