"""Dimensions as measured: fits, clearances, runouts, areas, against the limits for new and for service."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from fractions import Fraction
from typing import Any

from spoolwright.crafts.inspection.lengths import INCH
from spoolwright.crafts.inspection.model import DimensionSettled, DimensionTaken
from spoolwright.crafts.typefile.shop.inspection import Dimension
from spoolwright.crafts.visit.desk import Desk, signed
from spoolwright.crafts.visit.entry import Body, Calculation, Entry, Meaning, New
from spoolwright.crafts.visit.folder import Folder
from spoolwright.crafts.visit.parts import segment
from spoolwright.crafts.visit.people import Role
from spoolwright.crafts.visit.service import refuse_viewer
from spoolwright.errors import InputError

DIMENSION = ("inspection.dimension", "1")
NEW, SERVICE, OUTSIDE, NO_LIMIT = (
    "meets the limits for new parts",
    "meets the limits for service",
    "outside limits",
    "no limit: refer to engineering",
)
_LIMITS = ("new_min", "new_max", "service_min", "service_max")


def judge_dimension(inputs: dict[str, Any], _read: Callable[[str], bytes] | None = None) -> dict[str, Any]:
    """A measured dimension against its limits: verdict, probability that the truth conforms, words.

    `inputs` holds value, unit, uncertainty, limit_unit and the printed limits. A limit that is left out does
    not bound; where none is given for service, those for new parts hold.
    """
    value = _converted(inputs["value"], inputs["unit"], inputs["limit_unit"])
    u = _converted(inputs["uncertainty"] or "0", inputs["unit"], inputs["limit_unit"])
    limits = {name: Fraction(inputs[name]) if inputs[name] else None for name in _LIMITS}
    new = (limits["new_min"], limits["new_max"])
    service = (limits["service_min"], limits["service_max"])
    if service == (None, None):
        service = new
    verdict = NO_LIMIT
    if service != (None, None):
        verdict = SERVICE if _within(value, service) else OUTSIDE
        if new != (None, None) and verdict == SERVICE and _within(value, new):
            verdict = NEW
    chance = _chance(float(value), float(u), service) if u > 0 and verdict != NO_LIMIT else None
    return {"verdict": verdict, "probability": chance}


def take_dimension(
    desk: Desk, folder: Folder, taken: dict[str, str], *, after: int, reason: str = ""
) -> Entry[DimensionTaken]:
    """Record a dimension: words `dimension, place, value, unit, uncertainty, gauge`."""
    refuse_viewer(desk)
    known = dimension_named(folder, taken.get("dimension", ""))
    unit = taken.get("unit") or known.unit
    if unit != known.unit and {unit, known.unit} != {"mm", "in"}:
        raise InputError(f"{known.name} is in {known.unit}, not {unit[:20]}.", where="unit", mend=known.unit)
    value, uncertainty = taken.get("value", ""), taken.get("uncertainty", "")
    for column, text in (("value", value), ("uncertainty", uncertainty or "0")):
        if not _is_number(text):
            raise InputError(f"'{text[:30]}' is no number.", where=column, mend="Digits and a point: 0.31.")
    inputs: dict[str, Any] = {
        "value": value,
        "unit": unit,
        "uncertainty": uncertainty,
        "limit_unit": known.unit,
        **{name: getattr(known, name) for name in _LIMITS},
    }
    result = judge_dimension(inputs)
    body = DimensionTaken(
        dimension=known.id,
        place=taken.get("place", ""),
        value=value,
        unit=unit,
        uncertainty=uncertainty,
        gauge=taken.get("gauge", ""),
        told=dimension_words(known, result),
        calculation=Calculation(name=DIMENSION[0], version=DIMENSION[1], inputs=inputs, result=result),
    )
    subject = f"visit/{folder.visit}/inspection/dimension/{known.id}"
    subject += f"/{segment(body.place)}" if body.place else ""
    new = New(
        subject, body, visit=folder.visit, after=after, reason=reason or ("taken again" if after else "")
    )
    (entry,) = desk.record(new)
    return entry  # type: ignore[return-value]


def settle_shown(folder: Folder, taken: DimensionTaken, how: str, document: str) -> str:
    """What the lead signs who closes a dimension that meets no limit."""
    known = dimension_named(folder, taken.dimension)
    at = f", {taken.place}" if taken.place else ""
    return (
        f"Visit {folder.visit}. {known.name}{at}: {taken.value} {taken.unit}. {taken.told} "
        f"It is closed: {how} ({document})."
    )


def settle_dimension(
    desk: Desk, folder: Folder, taken: Entry[DimensionTaken], how: str, document: str, shown: str
) -> Entry[Body]:
    """The lead closes a dimension that meets no limit, with the document that says how."""
    body = DimensionSettled.model_validate(
        {
            "dimension": taken.subject,
            "dimension_revision": taken.revision,
            "how": how,
            "document": document,
        }
    )
    subject = f"{taken.subject}/settled"
    after = len(desk.records.history(subject))
    new = New(subject, body, visit=folder.visit, after=after, reason="settled again" if after else "")
    return desk.record(signed(new, desk, Meaning.ACCEPTED, shown, Role.LEAD))[0]


def settled_by(folder: Folder, taken: Entry[DimensionTaken]) -> Entry[DimensionSettled] | None:
    """What closed a dimension as it is recorded now."""
    held = [e for e in folder.of(DimensionSettled) if e.body.dimension == taken.subject]
    return held[0] if held and held[0].body.dimension_revision == taken.revision else None


def dimension_named(folder: Folder, name: str) -> Dimension:
    """A dimension by its id."""
    found = next((d for d in folder.kind.shop.dimension if d.id == name), None)
    if found is None:
        raise InputError(f"'{name[:40]}' is no dimension.", where="dimension", mend="Look at the list.")
    return found


def dimension_words(known: Dimension, result: dict[str, Any]) -> str:
    """The verdict as a sentence with its limits and paragraph."""
    chance = result["probability"]
    sure = "" if chance is None else f" {100 * chance:.0f} % probability of conforming."
    source = f"{known.source.document}, {known.source.paragraph}"
    return f"Reading {result['verdict']} ({limit_words(known)}; {source}).{sure}"


def limit_words(known: Dimension) -> str:
    """The limits for new and for service."""
    rows = (
        ("new", known.new_min, known.new_max),
        ("service", known.service_min, known.service_max),
    )
    said = [f"{name} {_span(low, high)} {known.unit}" for name, low, high in rows if low or high]
    return ", ".join(said) or "no limit"


def open_dimensions(folder: Folder) -> Iterator[tuple[str, str, Role]]:
    """Dimensions that meet no limit: words, inspected part, who closes it."""
    for entry in folder.of(DimensionTaken):
        body = entry.body
        verdict = body.calculation.result["verdict"] if body.calculation else ""
        known = next((d for d in folder.kind.shop.dimension if d.id == body.dimension), None)
        if known is not None and verdict in (OUTSIDE, NO_LIMIT) and settled_by(folder, entry) is None:
            at = f", {body.place}" if body.place else ""
            yield f"{known.name}{at}, {body.value} {body.unit}: {body.told}", known.part, Role.LEAD


def _span(low: str | None, high: str | None) -> str:
    if low and high:
        return f"{low} to {high}"
    return f"at most {high}" if high else f"at least {low}"


def _within(value: Fraction, bounds: tuple[Fraction | None, Fraction | None]) -> bool:
    low, high = bounds
    return (low is None or value >= low) and (high is None or value <= high)


def _chance(value: float, u: float, bounds: tuple[Fraction | None, Fraction | None]) -> float:
    """Of a normal distribution about the reading, the share between the limits (JCGM 106:2012, 7.4)."""
    low, high = bounds

    def below(limit: Fraction) -> float:
        return 0.5 * math.erfc((value - float(limit)) / (u * math.sqrt(2.0)))

    return (1.0 if high is None else below(high)) - (0.0 if low is None else below(low))


def _converted(text: str, unit: str, into: str) -> Fraction:
    value = Fraction(text)
    if unit == into:
        return value
    return value * INCH if unit == "in" else value / INCH


def _is_number(text: str) -> bool:
    whole, _, rest = text.removeprefix("-").partition(".")
    digits = text.isascii() and whole.isdigit() and len(whole) <= 7
    return digits and (("." not in text) or (rest.isdigit() and len(rest) <= 7))
