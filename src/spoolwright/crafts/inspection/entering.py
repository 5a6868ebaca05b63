"""A finding from what was typed: one way for page, keyboard, table and command, so that all record the same.

A finding is a row of words by column. The quick line `7 l3 n 0.4 2.1 @30` says the same in the order blade,
zone, damage, depth, length, width; `@30` gives the place along the span, `f3` the distance from the fillet,
`c6` the clock position.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping

from spoolwright.crafts.inspection.lengths import Size
from spoolwright.crafts.inspection.model import FindingRecorded
from spoolwright.crafts.typefile.shop.inspection import NUMBERED, Damage, InspectedPart, InspectionZone
from spoolwright.crafts.visit.entry import Attachment
from spoolwright.errors import InputError

SIZES = ("depth", "length", "width", "position", "fillet_distance", "thickness_left")
COLUMNS = (
    "part", "serial", "blade", "zone", "clock", "damage", "unit", *SIZES, "uncertainty", "method", "gauge",
    "remark",
)  # fmt: skip
"""Columns of a table of findings. `unit` and `uncertainty` hold for every length of the row."""
METHODS = ("direct", "replica", "photograph", "borescope")
KEYS = {
    Damage.NICK: "n", Damage.DENT: "d", Damage.SCRATCH: "s", Damage.GOUGE: "g", Damage.TEAR: "t",
    Damage.TIP_CURL: "tc", Damage.BEND: "b", Damage.EROSION: "e", Damage.PITTING: "p", Damage.CORROSION: "c",
    Damage.BURN: "bu", Damage.CRACK: "k", Damage.COATING_LOSS: "cl", Damage.MISSING_METAL: "m",
    Damage.RUB: "r", Damage.FRETTING: "f", Damage.SPALLING: "sp", Damage.WEAR: "w",
}  # fmt: skip
"""What is typed for each kind of damage."""

_NUMBER = re.compile(r"[0-9]{1,6}(\.[0-9]{1,6})?")
_LONGEST, _SHORT = 400, 60


def part_named(parts: Iterable[InspectedPart], name: str) -> InspectedPart:
    """The inspected part of an id.

    Raises
    ------
    InputError
        There is none.
    """
    known = {p.id: p for p in parts}
    if name not in known:
        listed = ", ".join(known) or "none"
        raise InputError(f"'{name[:40]}' is no inspected part.", where="part", mend=f"One of: {listed}.")
    return known[name]


def finding_from(
    words: Mapping[str, str], part: InspectedPart, photographs: tuple[Attachment, ...] = ()
) -> FindingRecorded:
    """The finding that a row of words says.

    Raises
    ------
    InputError
        A word cannot be read, or does not fit the part; `where` names the column.
    """
    row = {k: v.strip() for k, v in words.items() if v and v.strip()}
    for name in row.keys() - set(COLUMNS):
        raise InputError(f"'{name[:40]}' is no column.", where=name, mend=f"One of: {', '.join(COLUMNS)}.")
    for name, text in row.items():
        if len(text) > (_LONGEST if name == "remark" else _SHORT) or not text.isprintable():
            raise InputError("too long, or not plain text.", where=name, mend="Shorten it.")
    zone = zone_named(part, row.get("zone", ""))
    finding = FindingRecorded(
        part=part.id,
        serial=row.get("serial", ""),
        blade=_blade(row.get("blade", ""), part, zone),
        zone=zone.id,
        clock=_clock(row.get("clock", "")),
        damage=damage_named(row.get("damage", "")),
        **{name: _size(row, name) for name in SIZES},
        method=_method(row.get("method", "direct")),
        gauge=row.get("gauge", ""),
        photographs=photographs,
        remark=row.get("remark", ""),
    )
    _refuse_place_elsewhere(finding, part, zone)
    return finding


def words_of(finding: FindingRecorded) -> dict[str, str]:
    """The row of words of a finding: read again, it gives the same finding (its photographs aside).

    Raises
    ------
    InputError
        Its lengths are in two units or have two uncertainties: one row cannot say that.
    """
    sizes = {name: size for name in SIZES if (size := getattr(finding, name)) is not None}
    if len({(s.unit, s.uncertainty) for s in sizes.values()}) > 1:
        raise InputError("its lengths have two units or uncertainties.", mend="Enter it in one unit.")
    first = next(iter(sizes.values()), None)
    said = {
        "part": finding.part,
        "serial": finding.serial,
        "blade": "" if finding.blade is None else str(finding.blade),
        "zone": finding.zone,
        "clock": "" if finding.clock is None else str(finding.clock),
        "damage": finding.damage.value,
        "unit": first.unit if first else "",
        **{name: sizes[name].value if name in sizes else "" for name in SIZES},
        "uncertainty": first.uncertainty if first else "",
        "method": finding.method,
        "gauge": finding.gauge,
        "remark": finding.remark,
    }
    return {column: said[column] for column in COLUMNS}


def quick_words(line: str, part: InspectedPart) -> dict[str, str]:
    """The row of words that a quick line stands for.

    Raises
    ------
    InputError
        The line has too few or too many words.
    """
    words: dict[str, str] = {}
    plain: list[str] = []
    for word in line.lower().split():
        if word.startswith("@"):
            _once(words, "position", word[1:])
        elif word[0] == "f" and _NUMBER.fullmatch(word[1:]):
            _once(words, "fillet_distance", word[1:])
        elif word[0] == "c" and word[1:].isdigit():
            _once(words, "clock", word[1:])
        elif word in ("mm", "in"):
            _once(words, "unit", word)
        else:
            plain.append(word)
    order = ["blade", "zone", "damage", "depth", "length", "width"]
    if part.count == 1 or (plain and not plain[0].isdigit()):
        order.remove("blade")
    least = order.index("damage") + 1
    if not least <= len(plain) <= len(order):
        what = f"{part.numbered} zone damage depth length" if "blade" in order else "zone damage depth length"
        raise InputError(f"'{line[:60]}' is no finding.", where="quick", mend=f"Write: {what}.")
    return words | dict(zip(order, plain, strict=False))


def zone_named(part: InspectedPart, name: str) -> InspectionZone:
    """The zone of an id or key."""
    for zone in part.zone:
        if name and name in (zone.id, zone.key):
            return zone
    listed = ", ".join(f"{z.key} {z.id}".strip() for z in part.zone)
    raise InputError(f"'{name[:40]}' is no zone of {part.name}.", where="zone", mend=f"One of: {listed}.")


def damage_named(name: str) -> Damage:
    """The kind of damage of a word or key."""
    for damage, key in KEYS.items():
        if name in (damage.value, key):
            return damage
    listed = ", ".join(f"{key} {damage.value}" for damage, key in KEYS.items())
    raise InputError(f"'{name[:40]}' is no kind of damage.", where="damage", mend=f"One of: {listed}.")


def _once(words: dict[str, str], name: str, text: str) -> None:
    if name in words:
        raise InputError(f"{name.replace('_', ' ')} stands twice.", where="quick", mend="Give it once.")
    words[name] = text


def _blade(text: str, part: InspectedPart, zone: InspectionZone) -> int | None:
    if not text:
        if part.count > 1 and zone.side in NUMBERED:
            raise InputError(f"the {part.numbered} is missing.", where="blade", mend=f"1 to {part.count}.")
        return None
    if part.count == 1:
        raise InputError(f"{part.name} has no numbers.", where="blade", mend="Leave it empty.")
    if not (text.isascii() and text.isdigit() and 1 <= int(text[:7]) <= part.count):
        mend = f"Numbers go from 1 to {part.count}."
        raise InputError(f"{part.numbered} '{text[:20]}' is not there.", where="blade", mend=mend)
    return int(text)


def _clock(text: str) -> int | None:
    if not text:
        return None
    if not (text.isascii() and text.isdigit() and 1 <= int(text[:3]) <= 12):
        raise InputError(f"'{text[:20]}' is no clock position.", where="clock", mend="1 to 12.")
    return int(text)


def _size(row: Mapping[str, str], name: str) -> Size | None:
    if name not in row:
        return None
    unit = row.get("unit", "")
    if unit not in ("mm", "in"):
        raise InputError(f"unit '{unit[:20]}' of the {_word(name)}.", where="unit", mend="mm or in.")
    for column in (name, "uncertainty"):
        if column in row and not _NUMBER.fullmatch(row[column]):
            what = f"{_word(column)} '{row[column][:20]}' is no length."
            raise InputError(what, where=column, mend="Digits and a point: 0.4.")
    return Size(value=row[name], unit="in" if unit == "in" else "mm", uncertainty=row.get("uncertainty", ""))


def _method(text: str) -> str:
    if text not in METHODS:
        raise InputError(f"method '{text[:20]}'.", where="method", mend=f"One of: {', '.join(METHODS)}.")
    return text


def _refuse_place_elsewhere(finding: FindingRecorded, part: InspectedPart, zone: InspectionZone) -> None:
    """A place along the span that lies outside the zone says that one of the two is wrong."""
    if finding.position is None or part.airfoil is None:
        return
    at = float(finding.position.mm) / part.airfoil.span_mm
    if not zone.span_from <= at <= zone.span_to:
        low, high = (f"{share * part.airfoil.span_mm:.1f}" for share in (zone.span_from, zone.span_to))
        what = f"{finding.position} along the span is not in '{zone.name}' ({low} to {high} mm)."
        raise InputError(what, where="position", mend="Correct the place or the zone.")


def _word(name: str) -> str:
    return name.replace("_", " ")
