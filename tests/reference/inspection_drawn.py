"""Random stages of findings near the bounds of the demonstration type's limits, without the project."""

from __future__ import annotations

import random
from collections.abc import Iterator
from fractions import Fraction
from typing import Any

from inspection_cases import LIMITS, NUMBERED, PARTS, SIZE_OF, Case, base_row, printed, steps, zones_of
from inspection_oracle import Blend, Row, units


def drawn(rng: random.Random) -> Iterator[Case]:
    """Random stages: findings near bounds of whichever lines speak, some unmeasured, some blended before."""
    while True:
        part = PARTS[rng.choice(list(PARTS))]
        lines = [x for x in LIMITS if x["part"] == part["id"]]
        blades = rng.sample(
            range(1, part.get("count", 1) + 1), k=min(part.get("count", 1), rng.randint(1, 6))
        )
        rows = [_near(rng, part, rng.choice(lines), rng.choice(blades)) for _ in range(rng.randint(1, 10))]
        blends = [b for b in (_old(rng, part, blades) for _ in range(rng.choice((0, 0, 1, 3)))) if b]
        seen: set[str] = set()
        for n, row in enumerate(rows):
            if repr(sorted(row.items())) in seen:
                row["remark"] = f"mark {n}"
            seen.add(repr(sorted(row.items())))
        yield Case(part["id"], rows, blends)


def _near(rng: random.Random, part: dict[str, Any], line: dict[str, Any], blade: int) -> Row:
    """A finding whose sizes lie on or near bounds of a line."""
    zone, damage = rng.choice(zones_of(part, line)), rng.choice(line["damage"])
    row = base_row(part, line, zone, damage, blade)
    for bound, name in (*SIZE_OF.items(), ("depth_after_max", "depth")):
        if bound in line and rng.random() < 0.6:
            below = Fraction(line.get("allowance", "0")) if bound == "depth_after_max" else Fraction(0)
            value = rng.choice(steps(line[bound])) - below
            share = rng.choice((Fraction(1), Fraction(1), Fraction(1, 2), Fraction(7, 5)))
            row[name] = printed(Fraction(round(max(value, Fraction(0)) * share * 10**6), 10**6))
    for name in ("depth", "length", "width", "fillet_distance", "thickness_left", "position"):
        if name in row and rng.random() < 0.08:
            del row[name]
    if "position" in row and "airfoil" in part:
        known = next(z for z in part["zone"] if z["id"] == zone)
        low, high = known.get("span_from", 0.0), known.get("span_to", 1.0)
        share = rng.uniform(low + 0.002 * (high - low), high - 0.002 * (high - low))
        at = share * part["airfoil"]["span_mm"] / (25.4 if row["unit"] == "in" else 1.0)
        row["position"] = f"{at:.4f}"
    elif "airfoil" not in part and rng.random() < 0.5:
        row["position"] = f"{rng.uniform(0, 40):.2f}"
    return row


def _old(rng: random.Random, part: dict[str, Any], blades: list[int]) -> Blend | None:
    """A blend of an earlier visit."""
    if part.get("count", 1) == 1:
        return None
    zones = [z for z in part["zone"] if z["side"] in NUMBERED]
    zone = rng.choice(zones)
    span = part["airfoil"]["span_mm"] if "airfoil" in part else 40.0
    at = rng.uniform(zone.get("span_from", 0.0), zone.get("span_to", 1.0)) * span
    place = None if rng.random() < 0.2 else units(f"{at:.3f}", "mm")
    depth, length = units(f"{rng.uniform(0.05, 1.2):.2f}", "mm"), units(f"{rng.uniform(1, 10):.2f}", "mm")
    return Blend(rng.choice([*blades, rng.randint(1, part["count"])]), zone["id"], depth, place, length)
