"""Findings at and around every boundary of the demonstration type's damage limits, without the project.

The answer of each is known from how it was built.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from fractions import Fraction
from itertools import pairwise
from typing import Any

from inspection_oracle import PER, Blend, Row, shipped, units

AS_IS, BLEND, OUTSIDE, MEASURE = (
    "meets limits as is",
    "blend within limits",
    "outside limits",
    "measure first",
)
PARTS, LIMITS = shipped()
SIZE_OF = {
    "depth_max": "depth", "length_max": "length", "width_max": "width",
    "fillet_distance_min": "fillet_distance", "remaining_thickness_min": "thickness_left",
}  # fmt: skip
NUMBERED = {
    "leading edge", "trailing edge", "tip", "pressure side", "suction side", "fillet", "platform", "root",
    "slot",
}  # fmt: skip


@dataclass
class Case:
    """Findings on one stage; the expected answer of each where it is known from the building."""

    part: str
    rows: list[Row]
    blends: list[Blend] = field(default_factory=list)
    expected: list[str] | None = None
    why: str = ""


def printed(length: Fraction) -> str:
    """A length with up to six decimals; refuses what does not fit."""
    scaled = length * 10**6
    assert scaled.denominator == 1 and scaled >= 0, length
    return f"{scaled.numerator // 10**6}.{scaled.numerator % 10**6:06d}".rstrip("0").rstrip(".")


def middle_of(part: dict[str, Any], zone: dict[str, Any]) -> Fraction | None:
    """The middle of a zone along the span [mm], where the part has an airfoil."""
    if "airfoil" not in part:
        return None
    low, high = Fraction(str(zone.get("span_from", 0.0))), Fraction(str(zone.get("span_to", 1.0)))
    at = (low + high) / 2 * Fraction(str(part["airfoil"]["span_mm"]))
    return Fraction(round(at * 1000), 1000)


def base_row(part: dict[str, Any], line: dict[str, Any], zone: str, damage: str, blade: int) -> Row:
    """A finding that every bound of the line admits easily; `unit` is the line's."""
    unit = line.get("unit", "mm")
    known = next(z for z in part["zone"] if z["id"] == zone)
    row = {"part": part["id"], "serial": "S1", "zone": zone, "damage": damage, "unit": unit}
    if part.get("count", 1) > 1 and known["side"] in NUMBERED:
        row["blade"] = str(blade)
    tiny = Fraction(1, 10**4) if unit == "mm" else Fraction(1, 10**6)
    row |= {"depth": printed(tiny), "length": printed(tiny), "width": printed(tiny)}
    row |= {"fillet_distance": "20", "thickness_left": "5"} if unit == "mm" else {
        "fillet_distance": "1", "thickness_left": "1",
    }  # fmt: skip
    at = middle_of(part, known)
    if at is not None:
        row["position"] = printed(
            Fraction(round(at / (1 if unit == "mm" else Fraction("25.4")) * 1000), 1000)
        )
    return row


def zones_of(part: dict[str, Any], line: dict[str, Any]) -> list[str]:
    return list(line.get("zone", [z["id"] for z in part["zone"]]))


def rivals(line: dict[str, Any], zone: str, damage: str) -> list[dict[str, Any]]:
    """Other lines that speak about the same."""
    return [
        x
        for x in LIMITS
        if x["id"] != line["id"] and x["part"] == line["part"] and damage in x["damage"]
        and ("zone" not in x or zone in x["zone"])
    ]  # fmt: skip


def alone(line: dict[str, Any]) -> Iterator[tuple[str, str]]:
    """Zone and damage for which a line is the only one that speaks: what it refuses is outside."""
    part = PARTS[line["part"]]
    for zone in zones_of(part, line):
        for damage in line["damage"]:
            if not rivals(line, zone, damage):
                yield zone, damage


def steps(bound: str) -> list[Fraction]:
    """Readings around a printed bound: on it, a last digit and a millionth to either side."""
    at = Fraction(bound)
    last = Fraction(1, 10 ** len(bound.partition(".")[2]))
    near = [
        at,
        at - last,
        at + last,
        at - last / 10,
        at + last / 10,
        at - Fraction(1, 10**6),
        at + Fraction(1, 10**6),
    ]
    return [x for x in near if x >= 0 and (x * 10**6).denominator == 1]


def built() -> Iterator[Case]:
    """Cases whose answer follows from how they are built: the line that speaks is the only one."""
    for line in LIMITS:
        part = PARTS[line["part"]]
        word = {"as is": AS_IS, "blend": BLEND, "nothing": OUTSIDE}[line["allows"]]
        for zone, damage in alone(line):
            row = base_row(part, line, zone, damage, 3)
            yield Case(line["part"], [row], expected=[word], why=f"{line['id']}: well within")
            if line["allows"] == "nothing":
                continue
            yield from _sizes(line, row, word)
            yield from _missing(line, row)
            yield from _counts(line, row, word)
            yield from _spacing(line, row, word)
            if line["allows"] == "blend":
                yield from _after(line, row)
                yield from _cumulative(line, row)
                yield from _spacing_of_blends(line, row)
                yield from _chord(line, row)


def built_pairs() -> Iterator[Case]:
    """Where damage may stay up to a size and be blended beyond it: around the first line's bounds."""
    for stays in (x for x in LIMITS if x["allows"] == "as is"):
        part = PARTS[stays["part"]]
        for zone in zones_of(part, stays):
            for damage in stays["damage"]:
                others = rivals(stays, zone, damage)
                if len(others) != 1 or others[0]["allows"] != "blend":
                    continue
                row = base_row(part, stays, zone, damage, 3)
                yield Case(part["id"], [row], expected=[AS_IS], why=f"{stays['id']}: well within")
                for bound in ("depth_max", "length_max"):
                    for value in steps(stays[bound]) if bound in stays else []:
                        told = {**row, SIZE_OF[bound]: printed(value)}
                        stay = value <= Fraction(stays[bound])
                        if stay or _pair_blends(others[0], told, stays.get("unit", "mm")):
                            word = AS_IS if stay else BLEND
                            yield Case(part["id"], [told], expected=[word], why=f"{stays['id']}: {bound}")


def _pair_blends(line: dict[str, Any], row: Row, unit: str) -> bool:
    """Whether the second line surely takes it: same unit, far within its own bounds."""
    if line.get("unit", "mm") != unit:
        return False
    depth, length = Fraction(row["depth"]), Fraction(row["length"])
    within = "depth_max" not in line or depth < Fraction(line["depth_max"])
    shorter = "length_max" not in line or length < Fraction(line["length_max"])
    return within and shorter and _blend_fits(line, row, depth)


def _sizes(line: dict[str, Any], row: Row, word: str) -> Iterator[Case]:
    """Each measured bound, from both sides, in both units."""
    for bound, name in SIZE_OF.items():
        if bound not in line or (bound == "length_max" and line["allows"] == "blend"):
            continue
        printed_bound, unit = line[bound], line.get("unit", "mm")
        for value in steps(printed_bound):
            if bound == "remaining_thickness_min" and line["allows"] == "blend":
                value += Fraction(line.get("allowance", "0"))
                limit = Fraction(printed_bound) + Fraction(line.get("allowance", "0"))
            else:
                limit = Fraction(printed_bound)
            inside = value >= limit if bound.endswith("_min") else value <= limit
            if bound == "depth_max" and line["allows"] == "blend" and value > limit:
                inside = False
            elif bound == "depth_max" and line["allows"] == "blend" and not _blend_fits(line, row, value):
                continue
            told = {**row, name: printed(value), "unit": unit}
            why = f"{line['id']}: {name} {printed(value)} {unit} against {printed_bound}"
            yield Case(line["part"], [told], expected=[word if inside else OUTSIDE], why=why)
            yield from _other_unit(line, row, name, value, limit, word, bound)


def _other_unit(
    line: dict[str, Any], row: Row, name: str, value: Fraction, limit: Fraction, word: str, bound: str
) -> Iterator[Case]:
    """The same reading entered in the other unit, rounded to its sixth decimal; every size with it."""
    if line["allows"] == "blend" and bound == "depth_max":
        return
    unit = line.get("unit", "mm")
    other = "in" if unit == "mm" else "mm"
    factor = Fraction(PER[unit], PER[other])
    told = dict(row)
    for size in ("depth", "length", "width", "position", "fillet_distance", "thickness_left"):
        if size in told:
            near = round(Fraction(told[size]) * factor * 10**5)
            told[size] = printed(Fraction(max(near, 1), 10**5))
    rounded = Fraction(round(value * factor * 10**6), 10**6)
    told |= {name: printed(rounded), "unit": other}
    inside = rounded / factor >= limit if bound.endswith("_min") else rounded / factor <= limit
    why = f"{line['id']}: {name} {printed(rounded)} {other} against {limit} {unit}"
    yield Case(line["part"], [told], expected=[word if inside else OUTSIDE], why=why)


def _missing(line: dict[str, Any], row: Row) -> Iterator[Case]:
    """A bound that was not measured: first it is measured."""
    for bound, name in SIZE_OF.items():
        if bound in line and not (bound == "length_max" and line["allows"] == "blend"):
            told = {k: v for k, v in row.items() if k != name}
            yield Case(line["part"], [told], expected=[MEASURE], why=f"{line['id']}: no {name}")


def _length(line: dict[str, Any], total: Fraction) -> Fraction:
    """Square of the least length of a blend of a depth, by ratio and radius, in the line's unit."""
    ratio = Fraction(line.get("length_to_depth_min", "0"))
    radius = Fraction(line.get("radius_min", "0"))
    return max((ratio * total) ** 2, 4 * (2 * radius * total - total**2), Fraction(0))


def _blend_fits(line: dict[str, Any], row: Row, depth: Fraction, earlier: Fraction = Fraction(0)) -> bool:
    """Whether a blend of a finding of this depth keeps all bounds of its size; chord and spacing aside."""
    total = depth + Fraction(line.get("allowance", "0")) + earlier
    if "depth_after_max" in line and total > Fraction(line["depth_after_max"]):
        return False
    return "length_max" not in line or _length(line, total) <= Fraction(line["length_max"]) ** 2


def _after(line: dict[str, Any], row: Row) -> Iterator[Case]:
    """Depth after the blend, and the length that ratio and radius ask for, around their bounds."""
    below = Fraction(line.get("allowance", "0"))
    depths = {v - below for v in steps(line["depth_after_max"])} if "depth_after_max" in line else set()
    if "length_max" in line and "length_to_depth_min" in line:
        edge = Fraction(line["length_max"]) / Fraction(line["length_to_depth_min"]) - below
        depths |= {Fraction(round(edge * 10**6) + n, 10**6) for n in (-2, -1, 0, 1, 2)}
    for depth in sorted(d for d in depths if d > 0 and (d * 10**6).denominator == 1):
        if "depth_max" in line and depth > Fraction(line["depth_max"]):
            continue
        fits = _blend_fits(line, row, depth)
        told = {**row, "depth": printed(depth)}
        why = f"{line['id']}: blend of {printed(depth)} deep"
        yield Case(line["part"], [told], expected=[BLEND if fits else OUTSIDE], why=why)
    for value in steps(line["length_max"]) if "length_max" in line else []:
        told = {**row, "length": printed(value)}
        inside = value <= Fraction(line["length_max"])
        yield Case(
            line["part"], [told], expected=[BLEND if inside else OUTSIDE], why=f"{line['id']}: long damage"
        )


def _cumulative(line: dict[str, Any], row: Row) -> Iterator[Case]:
    """A finding in an earlier blend: depths add up; beside it they do not."""
    if "depth_after_max" not in line or "blade" not in row or "remaining_chord_min" in line:
        return
    unit, most = line.get("unit", "mm"), Fraction(line["depth_after_max"])
    depth, below = Fraction(row["depth"]), Fraction(line.get("allowance", "0"))
    for n in (-1, 0, 1):
        old = most - depth - below + Fraction(n, 10**6)
        blend = Blend(int(row["blade"]), row["zone"], units(printed(old), unit), None, units("1", unit))
        fits = n <= 0 and _blend_fits(line, row, depth, old)
        why = f"{line['id']}: in a blend of {printed(old)}"
        yield Case(line["part"], [row], [blend], [BLEND if fits else OUTSIDE], why)


def _counts(line: dict[str, Any], row: Row, word: str) -> Iterator[Case]:
    """As many as are allowed, one fewer, one more: on one blade, on the stage, side by side."""
    part = PARTS[line["part"]]
    if "per_blade_max" in line and "spacing_min" not in line:
        for n in (line["per_blade_max"] - 1, line["per_blade_max"], line["per_blade_max"] + 1):
            rows = [{**row, "remark": f"mark {k}"} for k in range(n)]
            inside = n <= line["per_blade_max"]
            yield _all(line, rows, word if inside else OUTSIDE, f"{n} on one")
    if "blade" not in row:
        return
    count, apart = part["count"], 2 if line.get("adjacent") is False else 1
    if "blades_max" in line:
        for n in (line["blades_max"] - 1, line["blades_max"], line["blades_max"] + 1):
            if 0 < n <= count // apart:
                rows = [{**row, "blade": str(1 + apart * k)} for k in range(n)]
                yield _all(line, rows, word if n <= line["blades_max"] else OUTSIDE, f"{n} blades")
    if line.get("adjacent") is False:
        for a, b, inside in ((3, 4, False), (1, count, False), (3, 5, True), (2, count, True)):
            rows = [{**row, "blade": str(a)}, {**row, "blade": str(b)}]
            yield _all(line, rows, word if inside else OUTSIDE, f"blades {a} and {b}")


def _spacing(line: dict[str, Any], row: Row, word: str) -> Iterator[Case]:
    """Two on one blade, the free length between them around the bound; where damage stays."""
    if "spacing_min" not in line or line["allows"] != "as is":
        return
    unit, least = line.get("unit", "mm"), Fraction(line["spacing_min"])
    length = Fraction(row["length"])
    # two parts of equal length: the free length is the distance of their middles less one length
    start = Fraction(row["position"]) if "position" in row else Fraction(1)
    for n in (-1, 0, 1):
        second = start + least + length + Fraction(n, 10**6)
        if "position" in row and not _in_zone(line, row, second, unit):
            return
        rows = [{**row, "position": printed(start)}, {**row, "position": printed(second)}]
        if line.get("per_blade_max", 2) >= 2:
            yield _all(line, rows, word if n >= 0 else OUTSIDE, f"{n} millionths from the spacing")


def _spacing_of_blends(line: dict[str, Any], row: Row) -> Iterator[Case]:
    """Two findings so long that each is its blend's length, the free length around the bound."""
    if "spacing_min" not in line or "length_max" not in line or line.get("per_blade_max", 2) < 2:
        return
    least, long = Fraction(line["spacing_min"]), Fraction(line["length_max"]) * Fraction(7, 10)
    if _length(line, Fraction(row["depth"]) + Fraction(line.get("allowance", "0"))) > long**2:
        return
    start = Fraction(row["position"]) if "position" in row else Fraction(1)
    for n in (-1, 0, 1):
        second = start + least + long + Fraction(n, 10**6)
        rows = [{**row, "length": printed(long), "position": printed(p)} for p in (start, second)]
        if "position" in row:  # the second may lie in the next zone of the same edge
            zone = _zone_at(line, row, second)
            if zone is None:
                return
            rows[1]["zone"] = zone
        yield _all(line, rows, BLEND if n >= 0 else OUTSIDE, f"blends {n} millionths from the spacing")
        old = Blend(int(row.get("blade", 0)), row["zone"], 1, units(rows[0]["position"], row["unit"]),
                    units(printed(long), row["unit"]))  # fmt: skip
        if "blade" in row and rows[1]["zone"] == row["zone"]:
            yield Case(
                line["part"], rows[1:], [old], [BLEND if n >= 0 else OUTSIDE], f"{line['id']}: from a blend"
            )


def _zone_at(line: dict[str, Any], row: Row, at: Fraction) -> str | None:
    """The zone of the same side, covered by the line, in which a place lies."""
    part = PARTS[line["part"]]
    side = next(z["side"] for z in part["zone"] if z["id"] == row["zone"])
    for zone in part["zone"]:
        told = {**row, "zone": zone["id"]}
        if (
            zone["side"] == side
            and zone["id"] in zones_of(part, line)
            and _in_zone(line, told, at, row["unit"])
        ):
            return str(zone["id"])
    return None


def _chord(line: dict[str, Any], row: Row) -> Iterator[Case]:
    """A blend in the other edge at the same place takes chord too: around the bound, and farther along."""
    part = PARTS[line["part"]]
    zone = next(z for z in part["zone"] if z["id"] == row["zone"])
    if "remaining_chord_min" not in line or zone["side"] not in ("leading edge", "trailing edge"):
        return
    other = next(
        z["id"] for z in part["zone"]
        if z["side"] in ("leading edge", "trailing edge") and z["side"] != zone["side"]
        and z.get("span_from") == zone.get("span_from")
    )  # fmt: skip
    at = Fraction(row["position"])
    share = at / Fraction(str(part["airfoil"]["span_mm"]))
    chords = [(Fraction(str(x["at"])), Fraction(str(x["chord_mm"]))) for x in part["airfoil"]["section"]]
    chord = next(
        c0 + (c1 - c0) * (share - a) / (b - a) for (a, c0), (b, c1) in pairwise(chords) if a <= share <= b
    )
    cut = Fraction(row["depth"]) + Fraction(line.get("allowance", "0"))
    spare = chord - cut - Fraction(line["remaining_chord_min"])
    for n in (-2, 2):
        old = Fraction(round(spare * 10**6) + n, 10**6)
        for place, length, inside in ((at, "2", n < 0), (at + 9, "2", True), (None, "2", n < 0)):
            where = None if place is None else units(printed(place), "mm")
            blend = Blend(int(row["blade"]), other, units(printed(old), "mm"), where, units(length, "mm"))
            why = f"{line['id']}: {printed(old)} off the other edge"
            yield Case(line["part"], [row], [blend], [BLEND if inside else OUTSIDE], why)


def _in_zone(line: dict[str, Any], row: Row, at: Fraction, unit: str) -> bool:
    part = PARTS[line["part"]]
    zone = next(z for z in part["zone"] if z["id"] == row["zone"])
    share = at * Fraction(PER[unit], PER["mm"]) / Fraction(str(part["airfoil"]["span_mm"]))
    return Fraction(str(zone.get("span_from", 0.0))) <= share <= Fraction(str(zone.get("span_to", 1.0)))


def _all(line: dict[str, Any], rows: list[Row], word: str, why: str) -> Case:
    return Case(line["part"], rows, expected=[word] * len(rows), why=f"{line['id']}: {why}")
