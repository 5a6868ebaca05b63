"""How each figure came to be, gathered by calculation so that what is common is said once."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from spoolwright.crafts.testcell.model import Assessment, Derivation, Figure, Input
from spoolwright.reports.figures import Cell, cell, number, unit_text


@dataclass(frozen=True)
class Given:
    """An input as text; `link` is the derivation it came from, if it has one."""

    name: str
    value: str
    origin: str
    link: str


@dataclass(frozen=True)
class How:
    """One figure's derivation."""

    id: str
    title: str
    result: Cell | None
    given: tuple[Given, ...]
    reference: str
    """Empty where the whole family shares it."""
    told: str = ""
    """The result in words, where no figure holds it."""


@dataclass(frozen=True)
class Family:
    """Derivations by one calculation and formula."""

    calculation: str
    version: str
    formula: str
    reference: str
    members: tuple[How, ...]


def families(a: Assessment) -> list[Family]:
    """Derivations that a shown figure leads to, in order of their first use."""
    results = results_of(a)
    led_to = _led_to(results, a.derivations)
    return gathered({k: d for k, d in a.derivations.items() if d.id in led_to}, results)


def results_of(record: Any) -> dict[str, Figure]:
    """The first figure in a record that names a derivation, by the derivation's id."""
    results: dict[str, Figure] = {}
    for figure in figures_of(record):
        results.setdefault(figure.how, figure)
    return results


def gathered(
    derivations: dict[str, Derivation], results: dict[str, Figure], told: Mapping[str, str] | None = None
) -> list[Family]:
    """Derivations by calculation, in order of their first use; `told` gives results that no figure holds."""
    found: dict[tuple[str, str, str], list[Derivation]] = {}
    for d in derivations.values():
        found.setdefault((d.calculation, d.version, d.formula), []).append(d)
    return [_family(key, members, results, derivations, told or {}) for key, members in found.items()]


def _led_to(results: dict[str, Figure], known: dict[str, Derivation]) -> set[str]:
    """Ids of derivations that figures name, and those that these rest on."""
    found: set[str] = set()
    open_ends = [id for id in results if id in known]
    while open_ends:
        id = open_ends.pop()
        if id not in found:
            found.add(id)
            open_ends += [i.origin for i in known[id].inputs if i.origin in known]
    return found


def _family(
    key: tuple[str, str, str],
    members: list[Derivation],
    results: dict[str, Figure],
    known: dict[str, Derivation],
    told: Mapping[str, str],
) -> Family:
    references = {d.reference for d in members}
    shared = references.pop() if len(references) == 1 else ""
    return Family(
        calculation=key[0],
        version=key[1],
        formula=key[2].replace(" * ", " × ").replace(" - ", " − "),
        reference=shared,
        members=tuple(
            How(
                id=d.id,
                title=d.title,
                result=cell(results.get(d.id)),
                given=tuple(_given(i, results, known) for i in d.inputs),
                reference="" if shared else d.reference,
                told=told.get(d.id, ""),
            )
            for d in members
        ),
    )


def _given(item: Input, results: dict[str, Figure], known: dict[str, Derivation]) -> Given:
    source = known.get(item.origin)
    if source is None:
        return Given(item.name, input_text(item), item.origin, "")
    figure = results.get(source.id)
    if item.value == item.origin:
        result = cell(figure)
        return Given(item.name, result.text if result else "", source.title, source.id)
    unit = item.unit or (figure.unit if figure else "")
    return Given(item.name, input_text(item.model_copy(update={"unit": unit})), source.title, source.id)


def input_text(item: Input) -> str:
    """An input's value with its unit, to seven digits."""
    if isinstance(item.value, str):
        return item.value
    magnitude = abs(item.value)
    if magnitude and (magnitude >= 1e7 or magnitude < 1e-4):
        text = f"{item.value:.6g}".replace("-", "−")
    else:
        text = number(item.value, max(0, 7 - len(str(int(magnitude)))))
        text = text.rstrip("0").rstrip(".") if "." in text else text
    return f"{text} {unit_text(item.unit)}".rstrip()


def figures_of(record: Any) -> Iterator[Figure]:
    """Every figure in a record, at any depth."""
    if isinstance(record, Figure):
        yield record
    elif isinstance(record, tuple):
        for item in record:
            yield from figures_of(item)
    elif hasattr(type(record), "model_fields"):
        for name in type(record).model_fields:
            yield from figures_of(getattr(record, name))
