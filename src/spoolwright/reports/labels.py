"""Names as a reader knows them: outcomes, quantities, ratings, blocks, channels, sources."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence

from spoolwright.crafts.testcell.model import Assessment, RunRef, Verdict

OUTCOME = {
    "meets": "meets",
    "does_not_meet": "does not meet",
    "cannot_tell": "cannot tell",
}
QUANTITY = {
    "power": "Power",
    "gas_generator_speed": "Gas generator speed Ng",
    "measured_gas_temperature": "Measured gas temperature MGT",
    "fuel_flow": "Fuel flow",
    "specific_fuel_consumption": "Specific fuel consumption",
}
SHORT_QUANTITY = {
    "power": "Power",
    "gas_generator_speed": "Ng",
    "measured_gas_temperature": "MGT",
    "fuel_flow": "Fuel flow",
    "specific_fuel_consumption": "Fuel consumption",
}
RATED = {
    "power_at_rated_mgt": "Power at rated MGT",
    "mgt_at_rated_power": "MGT at rated power",
    "ng_at_rated_power": "Ng at rated power",
    "sfc_at_rated_power": "Fuel consumption at rated power",
}
BOUND = {"max": "at most", "min": "at least"}


def words(name: str) -> str:
    """An id as words."""
    return name.replace("_", " ")


def cell_name(name: str) -> str:
    """A test cell's id as words, with the word 'cell' once."""
    text = words(name)
    return text if "cell" in text.casefold() else f"cell {text}"


def rating_names(a: Assessment) -> dict[str, str]:
    """Ratings by the name that ends their rated value's title, or the schedule's; else the id as words."""
    items = {s.item: s.name for s in a.schedule}
    found: dict[str, str] = {}
    for r in a.rated:
        how = a.derivations.get(r.nominal.how)
        _, _, name = how.title.partition(f"{RATED.get(r.quantity, '')}, ") if how else ("", "", "")
        found.setdefault(r.rating, name or words(r.rating))
    for p in a.points:
        if p.rating:
            found.setdefault(p.rating, items.get(p.schedule_item or "", words(p.rating)))
    return found


def block_names(a: Assessment) -> dict[int, str]:
    """What to call points that are never mixed: by the adjustment between, or the limit set of other work."""
    blocks = sorted({p.block for p in a.points} | {v.block for v in a.verdicts if v.block is not None})
    if len(blocks) < 2:
        return {}
    if len({r.limit_set for r in a.runs}) > 1 and not any(r.adjustments for r in a.runs):
        return _limit_sets(a)
    many = len(blocks) > 2
    names = {b: f"after adjustment {b}" if many else "after the adjustment" for b in blocks[1:]}
    return {blocks[0]: "before the adjustment", **names}


def _limit_sets(a: Assessment) -> dict[int, str]:
    """Blocks by the limit set of their runs."""
    sets = {r.run: r.limit_set for r in a.runs}
    placed = [(p.block, p.run) for p in a.points]
    placed += [(v.block, v.run) for v in a.verdicts if v.block is not None and v.run]
    return {b: f"limits “{sets[run]}”" for b, run in sorted(placed) if run in sets}


def short_names(names: Sequence[str]) -> list[str]:
    """Names cut at their commas as far as they still differ from each other."""
    parts = [_comma_parts(n) for n in names]
    kept = [1] * len(parts)
    while True:
        shown = [", ".join(p[:k]) for p, k in zip(parts, kept, strict=True)]
        doubled = [i for i, s in enumerate(shown) if shown.count(s) > 1 and kept[i] < len(parts[i])]
        if not doubled:
            return shown
        for i in doubled:
            kept[i] += 1


def _comma_parts(name: str) -> list[str]:
    """Split at commas that stand outside brackets."""
    return re.split(r",\s+(?![^()]*\))", re.sub(r"\s*\((?:mean|average) of [^()]*\)", "", name))


def sources_text(sources: Iterable[str]) -> str:
    """Sources that differ in their last word only, told once: 'DOC, revision 5, paragraph 6.1, 6.2'."""
    shared: dict[str, list[str]] = {}
    for source in dict.fromkeys(sources):
        stem, _, last = source.rpartition(" ")
        shared.setdefault(stem, []).append(last)
    return "; ".join(f"{stem} {', '.join(lasts)}".strip() for stem, lasts in shared.items())


def verdict_note(a: Assessment, v: Verdict) -> str:
    """What tells a verdict from others of its name: its run, its block, whether it was shown anew."""
    parts = [f"run {v.run}"] if v.run and len(a.runs) > 1 else []
    if v.block is not None and (block := block_names(a).get(v.block)):
        parts.append(block)
    if v.id in a.disposition.superseded:
        parts.append("shown anew since")
    return ", ".join(parts)


def state_words(v: Verdict) -> tuple[str, str]:
    """Words for a state channel that is off or on."""
    return ("no chip", "chip") if "chip" in v.name.casefold() else ("off", "on")


def adjustment_text(runs: Iterable[RunRef]) -> list[str]:
    """Every adjustment made in the cell."""
    return [f"run {r.run}, {text}" for r in runs for text in r.adjustments]
