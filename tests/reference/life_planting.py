"""Errors planted in the cards of invented lives: the plan of planting is the oracle.

Nothing here imports the project. A planting changes a card and says what anyone who adds it up by hand must
then see: line, kind of fault, measure. Lines are numbered from 1, the birth is line 0.
"""

from __future__ import annotations

import copy
import random
from collections.abc import Callable
from datetime import date, timedelta
from decimal import Decimal

from life_building import TABLES, Card, Row, life, table_on, used, written

Seen = set[tuple[int, str, str]]
"""Line, kind of fault, measure."""


def number(text: str) -> Decimal:
    """A figure as a number; minutes as sixtieths, good to far less than any step used here."""
    if ":" in text:
        hours, minutes = text.split(":")
        return Decimal(hours) + Decimal(minutes) / 60
    return Decimal(text)


def moved(text: str, by: Decimal) -> str:
    """A figure changed by an amount, written as it was."""
    value = number(text) + by
    return written(value, "clock") if ":" in text else str(value)


def shift(lines: list[Row], first: int, measure: str, by: Decimal, *, off_only_first: bool) -> None:
    """Change the part's counts from a line on; of the first line perhaps its end only."""
    for i, line in enumerate(lines[first:]):
        for end in ("on", "off"):
            if i or end == "off" or not off_only_first:
                line[f"part_{measure}_{end}"] = moved(line[f"part_{measure}_{end}"], by)


def pick(draw: random.Random, choices: list[int]) -> int:
    if not choices:
        raise LookupError("no line of this card can carry the error")
    return draw.choice(choices)


def amount(draw: random.Random) -> Decimal:
    """An error worth planting: half an hour or cycle at least, in steps that every style can write."""
    return Decimal(draw.randrange(5, 4000, 5)) / 10


# --- the plantings


def no_birth(card: Card, draw: random.Random) -> Seen:
    del card.rows[0]
    return {(0, "no birth record", "")}


def birth_paper_missing(card: Card, draw: random.Random) -> Seen:
    card.rows[0]["document"] = ""
    return {(0, "no source document", "")}


def paper_missing(card: Card, draw: random.Random) -> Seen:
    i = pick(draw, list(range(len(card.lines))))
    card.lines[i]["document"] = ""
    return {(i + 1, "no source document", "")}


def cell_empty(card: Card, draw: random.Random) -> Seen:
    i = pick(draw, list(range(len(card.lines))))
    cells = [
        "on", "off", "class", "table", "flown", "engine_hours_on", "engine_hours_off", "engine_starts_on",
        "engine_starts_off", "part_hours_on", "part_hours_off", "part_cycles_on", "part_cycles_off",
    ]  # fmt: skip
    card.lines[i][draw.choice(cells)] = ""
    return {(i + 1, "use not recorded", "")}


def use_elsewhere(card: Card, draw: random.Random) -> Seen:
    """The part was used between two lines and nobody wrote it down."""
    i = pick(draw, [j for j in range(1, len(card.lines)) if card.lines[j]["began"] == "installed"])
    measures = draw.choice([["hours"], ["cycles"], ["hours", "cycles"]])
    for m in measures:
        shift(card.lines, i, m, amount(draw), off_only_first=False)
    return {(i + 1, "jump", m) for m in measures}


def life_lost(card: Card, draw: random.Random) -> Seen:
    """Counts of a later card begin lower than the earlier one ended."""
    m = draw.choice(["hours", "cycles"])
    i = pick(draw, [j for j in range(1, len(card.lines)) if number(card.lines[j][f"part_{m}_on"]) > 5])
    by = min(amount(draw), number(card.lines[i][f"part_{m}_on"]) // 1 - 1)
    shift(card.lines, i, m, -by, off_only_first=False)
    return {(i + 1, "runs backwards", m)}


def wrong_sum(card: Card, draw: random.Random) -> Seen:
    """A line was added up wrongly and the error carried on."""
    i, m = pick(draw, list(range(len(card.lines)))), draw.choice(["hours", "cycles"])
    shift(card.lines, i, m, amount(draw), off_only_first=True)
    return {(i + 1, "does not add up", m)}


def wrong_sum_once(card: Card, draw: random.Random) -> Seen:
    """The end of a line was copied wrongly; the next line has it right again."""
    i, m = pick(draw, list(range(len(card.lines) - 1))), draw.choice(["hours", "cycles"])
    line = card.lines[i]
    gained = number(line[f"part_{m}_off"]) - number(line[f"part_{m}_on"])
    too_low = draw.random() < 0.5 and gained > 2
    by = -min(amount(draw), gained // 1 - 1) if too_low else amount(draw)
    line[f"part_{m}_off"] = moved(line[f"part_{m}_off"], by)
    return {(i + 1, "does not add up", m), (i + 2, "jump" if too_low else "runs backwards", m)}


def falls_within(card: Card, draw: random.Random) -> Seen:
    """The part's counts at both ends of its last line stand in each other's place."""
    i, m = len(card.lines) - 1, draw.choice(["hours", "cycles"])
    line = card.lines[i]
    on, off = line[f"part_{m}_on"], line[f"part_{m}_off"]
    line[f"part_{m}_on"], line[f"part_{m}_off"] = off, on
    return {(i + 1, "runs backwards", m), (i + 1, "jump", m)}


def free_of_tables(first: date, last: date) -> bool:
    """Whether no table came into force between two days (the first left out)."""
    return not any(first < date.fromisoformat(t[1]) <= last for t in TABLES)


def earlier_start(card: Card, draw: random.Random, same: bool) -> int:
    """Move a line's first day into the line before; which line it was."""
    fit = []
    for j in range(1, len(card.lines)):
        before, line = card.lines[j - 1], card.lines[j]
        inside = date.fromisoformat(before["off"]) - timedelta(9)
        if (before["engine"] == line["engine"]) == same and free_of_tables(
            inside, date.fromisoformat(line["on"])
        ):
            fit.append(j)
    i = pick(draw, fit)
    back = timedelta(draw.randrange(1, 10))
    card.lines[i]["on"] = str(date.fromisoformat(card.lines[i - 1]["off"]) - back)
    return i


def two_engines(card: Card, draw: random.Random) -> Seen:
    return {(earlier_start(card, draw, same=False) + 1, "in two engines at once", "")}


def begins_too_early(card: Card, draw: random.Random) -> Seen:
    return {(earlier_start(card, draw, same=True) + 1, "dates out of order", "")}


def days_swapped(card: Card, draw: random.Random) -> Seen:
    changes = {t[1] for t in TABLES}
    fit = [j for j, x in enumerate(card.lines) if x["off"] not in changes]
    i = pick(draw, fit)
    line = card.lines[i]
    line["on"], line["off"] = line["off"], line["on"]
    return {(i + 1, "dates out of order", "")}


def before_birth(card: Card, draw: random.Random) -> Seen:
    made, line = date.fromisoformat(card.rows[0]["on"]), card.lines[0]
    day = made - timedelta(draw.randrange(1, 60))
    if not free_of_tables(day, date.fromisoformat(line["on"])):
        raise LookupError("a table came into force in between")
    line["on"] = str(day)
    return {(1, "dates out of order", "")}


def other_table(card: Card, draw: random.Random, carried: bool) -> Seen:
    """Another table of the part; the cycles counted by it (carried on), or by the right one."""
    i = pick(draw, list(range(len(card.lines))))
    line = card.lines[i]
    version, _, rates = draw.choice([t for t in TABLES if t[0] != line["table"]])
    right = table_on(date.fromisoformat(line["on"]))[1][line["class"]]
    by = used(line["flown"], rates[line["class"]]) - used(line["flown"], right)
    line["table"] = version
    seen = {(i + 1, "wrong exchange table", "cycles")}
    if carried:
        shift(card.lines, i, "cycles", by, off_only_first=True)
    elif by:
        seen.add((i + 1, "does not add up", "cycles"))
    return seen


def wrong_table(card: Card, draw: random.Random) -> Seen:
    return other_table(card, draw, carried=True)


def wrong_table_named(card: Card, draw: random.Random) -> Seen:
    return other_table(card, draw, carried=False)


def no_such_table(card: Card, draw: random.Random) -> Seen:
    i = pick(draw, list(range(len(card.lines))))
    card.lines[i]["table"] = "T9"
    return {(i + 1, "wrong exchange table", "cycles")}


def no_such_class(card: Card, draw: random.Random) -> Seen:
    i = pick(draw, list(range(len(card.lines))))
    card.lines[i]["class"] = "c"
    return {(i + 1, "wrong exchange table", "cycles")}


def engine_falls(card: Card, draw: random.Random) -> Seen:
    """The engine's hours at both ends of a line stand in each other's place."""
    fit = [
        j for j, x in enumerate(card.lines)
        if x["began"] == "installed" and x["ended"] != "continued"
        and number(x["engine_hours_on"]) < number(x["engine_hours_off"])
    ]  # fmt: skip
    i = pick(draw, fit)
    line = card.lines[i]
    line["engine_hours_on"], line["engine_hours_off"] = line["engine_hours_off"], line["engine_hours_on"]
    return {(i + 1, "runs backwards", "engine hours")}


def starts_differ(card: Card, draw: random.Random) -> Seen:
    """More full cycles were counted than the engine started; the sum carried on."""
    i = pick(draw, list(range(len(card.lines))))
    line, more = card.lines[i], draw.randrange(1, 30)
    rates = table_on(date.fromisoformat(line["on"]))[1][line["class"]]
    before = used(line["flown"], rates)
    counts = dict(p.split("=") for p in line["flown"].split("; "))
    counts["full"] = str(int(counts["full"]) + more)
    line["flown"] = "; ".join(f"{k}={n}" for k, n in counts.items())
    shift(card.lines, i, "cycles", used(line["flown"], rates) - before, off_only_first=True)
    return {(i + 1, "contradicts another entry", "starts")}


def line_gone(card: Card, draw: random.Random) -> Seen:
    """A whole line is missing; perhaps the lines were numbered anew."""
    lines = card.lines
    fit = [
        j for j in range(1, len(lines) - 1)
        if lines[j]["began"] == "installed" and lines[j]["ended"] == "removed"
    ]  # fmt: skip
    i = pick(draw, fit)
    card.rows.remove(lines[i])
    seen: Seen = {(i + 2, "jump", "hours"), (i + 2, "jump", "cycles"), (i + 2, "use not recorded", "")}
    if draw.random() < 0.5:
        for n, line in enumerate(card.lines):
            line["line"] = str(n + 1)
        seen = {(i + 1, "jump", "hours"), (i + 1, "jump", "cycles")}
    return seen


def never_removed(card: Card, draw: random.Random) -> Seen:
    lines = card.lines
    i = pick(draw, [j for j in range(len(lines) - 1) if lines[j]["ended"] == "removed"])
    lines[i]["ended"] = "still fitted"
    same = lines[i]["engine"] == lines[i + 1]["engine"]
    seen: Seen = {(i + 2, "contradicts another entry" if same else "in two engines at once", "")}
    for j in range(i + 2, len(lines)):  # by that card it sits there to this day, whatever follows
        if lines[j]["engine"] != lines[i]["engine"]:
            seen.add((j + 1, "in two engines at once", ""))
    return seen


def removal_not_told(card: Card, draw: random.Random) -> Seen:
    lines = card.lines
    i = pick(draw, [j for j in range(len(lines) - 1) if lines[j]["ended"] == "removed"])
    lines[i]["ended"] = "continued"
    return {(i + 2, "contradicts another entry", "")}


def other_engine_goes_on(card: Card, draw: random.Random) -> Seen:
    lines = card.lines
    fit = [j for j, x in enumerate(lines) if x["began"] == "continued" and x["ended"] != "continued"]
    i = pick(draw, fit)
    lines[i]["engine"] = "E99"
    return {(i + 1, "contradicts another entry", "")}


def start_copied_wrongly(card: Card, draw: random.Random) -> Seen:
    """The part's count at the start of a line is off; its end is right."""
    m = draw.choice(["hours", "cycles"])
    lines = card.lines
    i = pick(draw, list(range(1, len(lines))))
    gained = number(lines[i][f"part_{m}_off"]) - number(lines[i][f"part_{m}_on"])
    by = min(amount(draw), gained // 1 - 1)
    if by <= 0:
        raise LookupError("the line is too short")
    lines[i][f"part_{m}_on"] = moved(lines[i][f"part_{m}_on"], by)
    return {(i + 1, "jump", m), (i + 1, "does not add up", m)}


PLANTINGS: dict[str, Callable[[Card, random.Random], Seen]] = {
    f.__name__: f
    for f in (
        no_birth, birth_paper_missing, paper_missing, cell_empty, use_elsewhere, life_lost, wrong_sum,
        wrong_sum_once, falls_within, two_engines, begins_too_early, days_swapped, before_birth, wrong_table,
        wrong_table_named, no_such_table, no_such_class, engine_falls, starts_differ, line_gone,
        never_removed, removal_not_told, other_engine_goes_on, start_copied_wrongly,
    )
}  # fmt: skip
TOGETHER = (
    "paper_missing",
    "use_elsewhere",
    "wrong_sum",
    "starts_differ",
    "no_such_table",
    "birth_paper_missing",
)
"""Errors that hide none of the others, on whichever lines they stand."""


def planted(kind: str, seed: int) -> tuple[Card, Seen]:
    """A card with one error of a kind, and what must be seen. Lives that cannot carry it are drawn again."""
    draw = random.Random(f"{kind} {seed}")
    while True:
        card = life(draw)
        try:
            return card, PLANTINGS[kind](card, draw)
        except LookupError:
            continue


def several(seed: int) -> tuple[Card, Seen]:
    """A card with two to four errors."""
    draw = random.Random(f"several {seed}")
    while True:
        card, seen = life(draw), set()
        sound = copy.deepcopy(card)
        try:
            for kind in draw.sample(TOGETHER, draw.randrange(2, 5)):
                seen |= PLANTINGS[kind](card, draw)
        except LookupError:
            continue
        if card != sound and len({(line, m) for line, _, m in seen}) == len(seen):
            return card, seen
