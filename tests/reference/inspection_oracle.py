"""What damage limits say about findings, worked out a second time, for checking the project's own answer.

Nothing of the project is imported. Limits are read from the type's TOML as they stand there; lengths are
whole numbers of tenths of a nanometre (an inch is 254,000,000 of them), so that no comparison rounds. A line
counts the findings that it speaks about and whose own sizes it admits; one that allows a blend only those
that no line lets stay, and the blends that are there already. The blend is the arc of chord L and depth t
with radius (L²/4 + t²)/(2t), from which L² >= 4(2Rt - t²) follows for a least radius R.
"""

from __future__ import annotations

import tomllib
from dataclasses import dataclass, field
from fractions import Fraction
from itertools import pairwise
from pathlib import Path
from typing import Any

PER = {"mm": 10_000_000, "in": 254_000_000}
EDGES = ("leading edge", "trailing edge")
Row = dict[str, str]


def units(text: str, unit: str) -> int:
    """A printed length in tenths of a nanometre."""
    whole, _, rest = text.partition(".")
    digits = int(whole + rest)
    scaled = digits * PER[unit]
    assert scaled % 10 ** len(rest) == 0, text
    return scaled // 10 ** len(rest)


@dataclass(frozen=True)
class Blend:
    """A blend that is there already: blade, zone, depth, place, length; place may be unknown."""

    blade: int
    zone: str
    depth: int
    at: int | None
    length: int


@dataclass
class Oracle:
    """A stage and what is on it, as rows of words."""

    part: dict[str, Any]
    limits: list[dict[str, Any]]
    rows: list[Row]
    blends: list[Blend] = field(default_factory=list)
    _own: dict[tuple[int, str], list[bool | None]] = field(default_factory=dict)
    _stays: dict[int, bool] = field(default_factory=dict)

    def answers(self) -> list[str]:
        """The answer to each row."""
        return [self._answer(i) for i in range(len(self.rows))]

    def _answer(self, i: int) -> str:
        lines = self._lines(i)
        if not lines:
            return "refer to engineering"
        if any(x["allows"] == "nothing" for x in lines):
            return "outside limits"
        for allows, word in (("as is", "meets limits as is"), ("blend", "blend within limits")):
            told = [self._own_of(i, x) + self._company(i, x) for x in lines if x["allows"] == allows]
            if any(all(t) for t in told):
                return word
            if any(False not in t for t in told):
                return "measure first"
        return "outside limits"

    def _lines(self, i: int) -> list[dict[str, Any]]:
        row = self.rows[i]
        return [
            x
            for x in self.limits
            if x["part"] == self.part["id"] and row["damage"] in x["damage"]
            and ("zone" not in x or row["zone"] in x["zone"])
        ]  # fmt: skip

    def _size(self, i: int, name: str) -> int | None:
        row = self.rows[i]
        return units(row[name], row["unit"]) if row.get(name) else None

    def _bound(self, line: dict[str, Any], name: str) -> int | None:
        return units(line[name], line.get("unit", "mm")) if name in line else None

    def _touched(self, i: int) -> list[Blend]:
        row, at = self.rows[i], self._size(i, "position")
        out = []
        for b in self.blends:
            if str(b.blade) == (row.get("blade") or "0") and b.zone == row["zone"]:
                length = self._size(i, "length") or 0
                if at is None or b.at is None or 2 * abs(at - b.at) <= b.length + length:
                    out.append(b)
        return out

    def _cut(self, i: int, line: dict[str, Any]) -> int | None:
        depth = self._size(i, "depth")
        if depth is None:
            return None
        below = units(line.get("allowance", "0"), line.get("unit", "mm"))
        total = depth + below + max((b.depth for b in self._touched(i)), default=0)
        return total if total > 0 else None

    def _long(self, i: int, line: dict[str, Any]) -> Fraction | None:
        """Length of the blend; exact where ratio or damage governs, from above where the radius does."""
        total = self._cut(i, line)
        if total is None:
            return None
        least = [Fraction(0)]
        if "length_to_depth_min" in line:
            least.append(Fraction(line["length_to_depth_min"]) * total)
        if (radius := self._bound(line, "radius_min")) is not None and 2 * radius > total:
            least.append(_root(4 * (2 * radius * total - total * total)))
        if (length := self._size(i, "length")) is not None:
            least.append(Fraction(length))
        return max(least) or Fraction(2 * total)

    def _own_of(self, i: int, line: dict[str, Any]) -> list[bool | None]:
        key = (i, line["id"])
        if key not in self._own:
            self._own[key] = self._compared(i, line)
        return self._own[key]

    def _compared(self, i: int, line: dict[str, Any]) -> list[bool | None]:
        blend = line["allows"] == "blend"
        most = [("depth", "depth_max"), ("width", "width_max")] + [("length", "length_max")] * (not blend)
        out = [_le(self._size(i, a), self._bound(line, b)) for a, b in most if b in line]
        if "fillet_distance_min" in line:
            out.append(_le(self._bound(line, "fillet_distance_min"), self._size(i, "fillet_distance")))
        if "remaining_thickness_min" in line:
            left = self._size(i, "thickness_left")
            if blend and left is not None:
                left -= units(line.get("allowance", "0"), line.get("unit", "mm"))
            out.append(_le(self._bound(line, "remaining_thickness_min"), left))
        if blend and "depth_after_max" in line:
            out.append(_le(self._cut(i, line), self._bound(line, "depth_after_max")))
        if blend and "length_max" in line:
            out.append(_le(self._long(i, line), self._bound(line, "length_max")))
        return out

    def _forbidden(self, i: int) -> bool:
        return any(x["allows"] == "nothing" for x in self._lines(i))

    def _staying(self, i: int) -> bool:
        if i not in self._stays:
            lines = [] if self._forbidden(i) else [x for x in self._lines(i) if x["allows"] == "as is"]
            self._stays[i] = any(all(self._own_of(i, x) + self._company(i, x)) for x in lines)
        return self._stays[i]

    def _members(self, i: int, line: dict[str, Any]) -> list[int]:
        """What the line counts, the finding that is judged always among them."""
        out = [i]
        for k in range(len(self.rows)):
            if k == i or all(x["id"] != line["id"] for x in self._lines(k)):
                continue
            if self._forbidden(k) or False in self._own_of(k, line):
                continue
            if line["allows"] == "blend" and self._staying(k):
                continue
            out.append(k)
        return sorted(out)

    def _company(self, i: int, line: dict[str, Any]) -> list[bool | None]:
        members = self._members(i, line)
        old = []
        if line["allows"] == "blend":
            taken = {id(b) for k in members for b in self._touched(k)}
            old = [
                b
                for b in self.blends
                if id(b) not in taken and ("zone" not in line or b.zone in line["zone"])
            ]
        mine = self.rows[i].get("blade") or ""
        here = [k for k in members if (self.rows[k].get("blade") or "") == mine]
        old_here = [b for b in old if str(b.blade) == (mine or "0")]
        blades = {int(self.rows[k]["blade"]) for k in members if self.rows[k].get("blade")}
        blades |= {b.blade for b in old if b.blade}
        out: list[bool | None] = []
        if "per_blade_max" in line:
            out.append(len(here) + len(old_here) <= line["per_blade_max"])
        if "blades_max" in line:
            out.append(len(blades) <= line["blades_max"])
        if line.get("adjacent") is False and mine:
            count, n = self.part.get("count", 1), int(mine)
            beside = {n - 1 or count, n + 1 if n < count else 1} - {n}
            out.append(not beside & blades)
        if "spacing_min" in line:
            out += self._spacing(i, line, here, old_here)
        if "remaining_chord_min" in line:
            out.append(self._chord_left(i, line))
        return out

    def _side(self, zone: str) -> str:
        return next(z["side"] for z in self.part["zone"] if z["id"] == zone)

    def _reach(self, i: int, line: dict[str, Any]) -> tuple[int | None, Fraction | None]:
        length = self._size(i, "length")
        long = Fraction(length) if length is not None else None
        return self._size(i, "position"), self._long(i, line) if line["allows"] == "blend" else long

    def _spacing(self, i: int, line: dict[str, Any], here: list[int], old: list[Blend]) -> list[bool | None]:
        side, least = self._side(self.rows[i]["zone"]), self._bound(line, "spacing_min")
        reaches = [self._reach(k, line) for k in here if k != i and self._side(self.rows[k]["zone"]) == side]
        reaches += [
            (b.at, Fraction(b.length)) for b in old if self._side(b.zone) == side and b.at is not None
        ]
        gaps = [_free(self._reach(i, line), r) for r in reaches]
        if not gaps:
            return []
        assert least is not None
        if any(g is not None and g < least for g in gaps):
            return [False]
        return [None if None in gaps else True]

    def _chord_left(self, i: int, line: dict[str, Any]) -> bool | None:
        cut, opposite = self._cut(i, line), self._other_edge(i, line)
        least = self._bound(line, "remaining_chord_min")
        if cut is None or opposite is None or "airfoil" not in self.part or least is None:
            return None
        at, zone = (
            self._size(i, "position"),
            next(z for z in self.part["zone"] if z["id"] == self.rows[i]["zone"]),
        )
        sections = [
            (_written(s["at"]), _written(s["chord_mm"]) * PER["mm"]) for s in self.part["airfoil"]["section"]
        ]
        if at is not None:
            share = Fraction(at) / (_written(self.part["airfoil"]["span_mm"]) * PER["mm"])
            chord = _between(sections, share)
            return None if chord is None else chord - cut - opposite >= least
        low, high = _written(zone.get("span_from", 0.0)), _written(zone.get("span_to", 1.0))
        places = [low, high, *(s for s, _ in sections if low < s < high)]
        smallest = min(c for p in places if (c := _between(sections, p)) is not None)
        return True if smallest - cut - opposite >= least else None

    def _other_edge(self, i: int, line: dict[str, Any]) -> Fraction | int | None:
        side = self._side(self.rows[i]["zone"])
        if side not in EDGES:
            return 0
        other, mine = EDGES[1 - EDGES.index(side)], self.rows[i].get("blade") or ""
        cuts: list[int | None] = [0]
        reach = self._reach(i, line)
        for b in self.blends:
            if str(b.blade) == (mine or "0") and self._side(b.zone) == other:
                free = _free(reach, (b.at, Fraction(b.length)))
                cuts.append(b.depth if not free else 0)
        for k in range(len(self.rows)):
            if (
                k == i
                or (self.rows[k].get("blade") or "") != mine
                or self._side(self.rows[k]["zone"]) != other
            ):
                continue
            if self._staying(k):
                continue
            cut = self._cut(k, line)
            free = None if cut is None else _free(reach, (self._size(k, "position"), self._long(k, line)))
            cuts.append(cut if not free else 0)
        return None if None in cuts else max(c for c in cuts if c is not None)


def _le(small: Any, large: Any) -> bool | None:
    return None if small is None or large is None else bool(small <= large)


def _free(
    one: tuple[int | None, Fraction | None], other: tuple[int | None, Fraction | None]
) -> Fraction | None:
    if None in one or None in other:
        return None
    (a, la), (b, lb) = one, other
    assert a is not None and b is not None and la is not None and lb is not None
    return max(abs(a - b) - (la + lb) / 2, Fraction(0))


def _root(square: int) -> Fraction:
    """The root from above to a nanometre, exact where it is a whole number of nanometres."""
    low, high = 0, square // 10 + 10  # in nanometres
    while low < high:
        middle = (low + high) // 2
        low, high = (low, middle) if (middle * 10) ** 2 >= square else (middle + 1, high)
    return Fraction(low * 10)


def _written(value: float) -> Fraction:
    return Fraction(str(value))


def _between(sections: list[tuple[Fraction, Fraction]], share: Fraction) -> Fraction | None:
    for (a, first), (b, second) in pairwise(sections):
        if a <= share <= b:
            return first + (second - first) * (share - a) / (b - a)
    return None


def shipped() -> tuple[dict[str, dict[str, Any]], list[dict[str, Any]]]:
    """Inspected parts by id and damage limits, as the demonstration type's file has them."""
    here = Path(__file__).resolve().parents[2] / "src/spoolwright/data/corrie_940.shop/inspection.toml"
    raw = tomllib.loads(here.read_text(encoding="utf-8"))
    return {p["id"]: p for p in raw["inspected_part"]}, raw["damage_limit"]
