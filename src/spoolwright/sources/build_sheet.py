"""Reads build sheets and cost tables from disk and tells every mistake in them with its line."""

from __future__ import annotations

import json
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

import numpy as np

from spoolwright.core.diagnosis.forecast.build import FACTORS, Received
from spoolwright.crafts.testcell.forecast.sheet import (
    AsReceived,
    BuildSheet,
    Clearance,
    CostTable,
    ReceivedReading,
)
from spoolwright.crafts.typefile.base import Amount
from spoolwright.crafts.typefile.checking.draft import Draft, frozen, read_draft
from spoolwright.crafts.typefile.checking.mistake import Mistake, choice
from spoolwright.crafts.typefile.limit import DERIVED_QUANTITIES
from spoolwright.crafts.typefile.model import TypeFile
from spoolwright.errors import BuildSheetError, CostTableError, InputError
from spoolwright.sources.plainfile import read_whole
from spoolwright.sources.toml_text import problems_of, read_toml
from spoolwright.units import to_inner, unit_named

_DIMENSIONS: dict[tuple[str, str], Sequence[str]] = {
    ("clearance", "gap"): ("length", "ratio"),
    ("clearance", "nominal_gap"): ("length", "ratio"),
    ("clearance", "standard_uncertainty"): ("length", "ratio"),
    ("clearance", "span"): ("length",),
    ("nozzle", "area"): ("area",),
    ("nozzle", "nominal_area"): ("area",),
    ("nozzle", "standard_uncertainty"): ("area",),
    ("nozzle_class", "area"): ("area",),
    ("nozzle_class", "standard_uncertainty"): ("area",),
    ("blend", "blended_area"): ("area",),
    ("blend", "row_area"): ("area",),
    ("blend", "standard_uncertainty"): ("area",),
    ("roughness", "roughness"): ("length",),
    ("roughness", "chord"): ("length",),
    ("seal", "clearance"): ("length",),
    ("seal", "new_clearance"): ("length",),
    ("seal", "standard_uncertainty"): ("length",),
    ("leak_check", "flow"): ("mass flow",),
    ("leak_check", "standard_uncertainty"): ("mass flow",),
    ("leak_check", "pressure"): ("pressure",),
    ("leak_check", "temperature"): ("temperature",),
    ("vanes", "offset"): ("angle",),
    ("vanes", "standard_uncertainty"): ("angle",),
    ("drag", "power"): ("power",),
    ("drag", "nominal_power"): ("power",),
    ("drag", "standard_uncertainty"): ("power",),
}
_MAY_BE_NEGATIVE = ("offset",)
_MAY_BE_ZERO = ("gap", "blended_area", "flow", "power")


def read_build_sheet(path: Path | str, type_file: TypeFile) -> tuple[BuildSheet, str]:
    """Read and check a build sheet; gives it with the SHA-256 of its file.

    Raises
    ------
    InputError
        The file cannot be opened or is too large.
    BuildSheetError
        The sheet holds mistakes; `problems` lists them all, by line.
    """
    read = read_toml(Path(path), BuildSheetError)
    draft, mistakes = read_draft(read.raw, BuildSheet)
    mistakes = [
        *mistakes,
        *_amounts(draft),
        *_clearances(draft),
        *_received(draft),
        *_stages(draft.top),
        *_twice(draft.top),
        *_names(draft.top, type_file),
    ]
    if mistakes:
        raise BuildSheetError(problems_of(mistakes, read))
    return BuildSheet.model_validate(frozen(read.raw), strict=True), read.sha256


def read_cost_table(path: Path | str) -> CostTable:
    """Read a cost table.

    Raises
    ------
    InputError
        The file cannot be opened or is too large.
    CostTableError
        The table holds mistakes; `problems` lists them all, by line.
    """
    read = read_toml(Path(path), CostTableError)
    _, mistakes = read_draft(read.raw, CostTable)
    if mistakes:
        raise CostTableError(problems_of(mistakes, read))
    return CostTable.model_validate(frozen(read.raw), strict=True)


def read_condition(path: Path) -> Received:
    """Module condition that a diagnosis found, from a JSON file.

    The file, or its table `condition`, holds `factors` (names), `mean` (logarithm of a multiplying factor,
    value of an added one) and `covariance`.

    Raises
    ------
    InputError
        The file cannot be opened, or does not hold that.
    """
    noun = "module condition"
    try:
        given = json.loads(read_whole(path, noun))
        given = given.get("condition", given)
        names = tuple(str(f) for f in given["factors"])
        mean = np.array(given["mean"], dtype=float).reshape(len(names))
        covariance = np.array(given["covariance"], dtype=float).reshape(len(names), len(names))
        unknown = [f for f in names if f not in FACTORS]
        if unknown or len(set(names)) != len(names):
            raise ValueError(f"factor '{unknown[0]}' is not known" if unknown else "a factor stands twice")
        if not (np.isfinite(mean).all() and np.linalg.eigvalsh(covariance).min() >= -1e-12):
            raise ValueError("a number is not finite, or the covariance is none")
    except InputError:
        raise
    except (LookupError, TypeError, ValueError, AttributeError, RecursionError) as error:
        told = f"{error} is missing" if isinstance(error, KeyError) else str(error)
        mend = "Give factors, mean and covariance, or the readings of the as-received run."
        raise InputError(f"this is no {noun} ({told[:200]}).", where=str(path), mend=mend) from error
    return Received(names, mean, covariance)


def _received(draft: Draft) -> Iterator[Mistake]:
    """As-received runs that tell nothing, or twice, and readings in a wrong unit."""
    for path, a in draft.of(AsReceived):
        if not a.condition and not a.reading:
            yield Mistake(path, "no reading and no condition.", "Write [[as_received.reading]].")
        if a.condition and a.reading:
            yield Mistake(path, "a condition and readings of the same run.", "Keep one of the two.")
    yield from reading_units(draft)


def reading_units(draft: Draft) -> Iterator[Mistake]:
    """Readings of rated quantities in a unit that is unknown or of another dimension."""
    for path, r in draft.whole(ReceivedReading):
        wanted = DERIVED_QUANTITIES[r.quantity]
        for key, unit in (("unit", r.unit), ("standard_uncertainty", r.standard_uncertainty.unit)):
            try:
                found = unit_named(unit).dimension
            except InputError as error:
                yield Mistake((*path, key), error.what, error.mend)
                continue
            if found not in (wanted, f"{wanted} difference"):
                yield Mistake((*path, key), f"'{unit}' is a unit of {found}.", f"Give a unit of {wanted}.")


def _amounts(draft: Draft) -> Iterator[Mistake]:
    """Amounts in a unit that is unknown or of another dimension, or of a value that cannot be."""
    for path, amount in draft.of(Amount):
        name = str(path[-1])
        wanted = _DIMENSIONS.get((str(path[0]), name))
        if wanted is None or not isinstance(amount.unit, str):
            continue
        try:
            found = unit_named(amount.unit).dimension
        except InputError as error:
            yield Mistake((*path, "unit"), error.what, error.mend)
            continue
        if found not in wanted:
            what = f"'{amount.unit}' is a unit of {found}."
            yield Mistake((*path, "unit"), what, f"Give a unit of {' or '.join(wanted)}.")
        elif isinstance(amount.value, float) and name not in _MAY_BE_NEGATIVE:
            value = to_inner(amount.value, amount.unit)
            if value < 0.0 or (value == 0.0 and name not in _MAY_BE_ZERO):
                told = "negative" if value < 0.0 else "zero"
                yield Mistake((*path, "value"), f"{name} is {told}.", "Give what was measured.")


def _clearances(draft: Draft) -> Iterator[Mistake]:
    """Clearances whose amounts do not belong together."""
    for path, c in draft.whole(Clearance):
        try:
            kinds = {
                n: unit_named(a.unit).dimension
                for n in ("gap", "nominal_gap", "standard_uncertainty")
                if (a := getattr(c, n)) is not None and isinstance(a.unit, str)
            }
        except InputError:
            continue  # told as a mistake of the unit already
        if len(set(kinds.values())) > 1:
            what = "gap, nominal_gap and standard_uncertainty are not all lengths or all fractions."
            yield Mistake(path, what, "Give all three in a length, or all three over blade height.")
        elif "length" in kinds.values() and c.span is None:
            yield Mistake(path, "'span' is missing.", "Write span = { value = …, unit = … } (blade height).")
        elif "ratio" in kinds.values() and c.span is not None:
            yield Mistake(path, "a gap over blade height needs no span.", "Remove span, or give a length.")


def _stages(top: dict[str, Any]) -> Iterator[Mistake]:
    """Stages that the module does not have."""
    counts = top.get("stages")
    for table in ("clearance", "blend", "roughness"):
        for i, one in enumerate(top.get(table) or ()):
            module = getattr(one, "module", "compressor")
            most = getattr(counts, module, None) if isinstance(module, str) else None
            if isinstance(one.stage, int) and isinstance(most, int) and one.stage > most:
                what = f"{module} has {most} stage(s), not {one.stage}."
                yield Mistake((table, i, "stage"), what, "Correct the stage, or [stages].")


_SAME = {
    "clearance": ("module", "stage"),
    "nozzle": ("module",),
    "nozzle_class": ("module", "nozzle_class"),
    "blend": ("stage",),
    "roughness": ("stage",),
    "seal": ("name",),
    "leak_check": ("name",),
    "drag": ("of",),
}


def _twice(top: dict[str, Any]) -> Iterator[Mistake]:
    """Entries that speak of the same thing."""
    for table, keys in _SAME.items():
        seen: dict[tuple[Any, ...], int] = {}
        for i, one in enumerate(top.get(table) or ()):
            what = tuple(getattr(one, k) for k in keys)
            if None in what:
                continue
            if what in seen:
                named = ", ".join(str(w) for w in what)
                yield Mistake((table, i), f"{named} was entered already.", "Keep the one that holds.")
            seen.setdefault(what, i)


def _names(top: dict[str, Any], type_file: TypeFile) -> Iterator[Mistake]:
    """Names that the type file does not know."""
    known = {
        "limit_set": ({s.id for s in type_file.limit_set}, "limit sets"),
        "cell": ({c.id for c in type_file.cell}, "cells"),
    }
    for key, (names, noun) in known.items():
        given = top.get(key)
        if isinstance(given, str) and given not in names:
            yield Mistake((key,), f"'{given}' is not in the type file.", choice(given, names, noun))
    received = top.get("as_received")
    if received is None:
        return
    modules = {m.id for m in type_file.module}
    for i, name in enumerate(received.kept or ()):
        if name not in modules:
            what = f"module '{name}' is not in the type file."
            yield Mistake(("as_received", "kept", i), what, choice(name, modules, "modules"))
    ratings = {r.id for r in type_file.rating}
    for i, r in enumerate(received.reading or ()):
        if isinstance(r.rating, str) and r.rating not in ratings:
            what = f"rating '{r.rating}' is not in the type file."
            yield Mistake(("as_received", "reading", i, "rating"), what, choice(r.rating, ratings, "ratings"))
