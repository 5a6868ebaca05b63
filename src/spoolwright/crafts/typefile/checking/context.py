"""What every check looks things up in."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from functools import cached_property

from spoolwright.crafts.typefile.checking.draft import Draft, R
from spoolwright.crafts.typefile.checking.mistake import Mistake, Path, choice
from spoolwright.crafts.typefile.model import DERIVED_QUANTITIES, Channel, Rating, SteadyRule
from spoolwright.errors import InputError
from spoolwright.units import UNITS, Unit, to_inner, unit_named


@dataclass(frozen=True)
class Context:
    """The draft and its indices."""

    draft: Draft

    @cached_property
    def channels(self) -> dict[str, Channel]:
        """Channels by id; the first of two with the same id."""
        return _first_by_id(self.draft.of(Channel))

    @cached_property
    def ratings(self) -> dict[str, Rating]:
        """Ratings by id; the first of two with the same id."""
        return _first_by_id(self.draft.of(Rating))

    @cached_property
    def roles(self) -> dict[str, Channel]:
        """The first channel of every role."""
        out: dict[str, Channel] = {}
        for _, c in self.draft.of(Channel):
            out.setdefault(c.role, c)
        return out

    @cached_property
    def steady(self) -> SteadyRule | None:
        """The steadiness rule."""
        found = self.draft.of(SteadyRule)
        return found[0][1] if found else None

    def dimension(self, quantity: str) -> str | None:
        """Dimension of a channel or derived quantity; None when neither is known."""
        if quantity in self.channels:
            return self.channels[quantity].dimension
        return DERIVED_QUANTITIES.get(quantity)

    def unknown(self, path: Path, word: str | None, table: str) -> Iterator[Mistake]:
        """A mistake when no record of the table has this id."""
        known = self.draft.named(table)
        if word is None or word in known:
            return
        noun = table.replace("_", " ")
        mend = choice(word, known, f"{noun}s") if known else f"Add a [[{table}]] with this id."
        yield Mistake(path, f"there is no {noun} '{word}'.", mend)


def _first_by_id(records: list[tuple[Path, R]]) -> dict[str, R]:
    out: dict[str, R] = {}
    for _, r in records:
        name = getattr(r, "id", None)
        if isinstance(name, str):
            out.setdefault(name, r)
    return out


def inner(value: float | None, unit: str | None) -> float | None:
    """A value in its inner unit; None when value or unit is missing or not known."""
    if value is None or unit is None or find_unit(unit) is None:
        return None
    return to_inner(value, unit)


def find_unit(name: str) -> Unit | None:
    """The unit a text names, or None."""
    try:
        return unit_named(name)
    except InputError:
        return None


def wrong_unit(path: Path, unit: str | None, allowed: tuple[str, ...], subject: str) -> Iterator[Mistake]:
    """A mistake when the unit is not known or is not of an allowed dimension."""
    if unit is None or None in allowed:
        return
    known = [u.name for u in UNITS.values() if u.dimension in allowed]
    try:
        found = unit_named(unit)
    except InputError as e:
        yield Mistake(path, e.what, choice(unit, known, "units"))
        return
    if found.dimension not in allowed:
        what = f"'{unit}' is a unit of {found.dimension}; {subject} is a {' or '.join(allowed)}."
        yield Mistake(path, what, f"Use one of: {', '.join(known)}.")


def repeated(path: Path, names: Iterable[tuple[Path, str]], noun: str) -> Iterator[Mistake]:
    """A mistake at every name that stands a second time."""
    seen: dict[str, Path] = {}
    for place, name in names:
        if name in seen:
            yield Mistake((*path, *place), f"{noun} '{name}' stands twice.", "Keep one, or rename this one.")
        seen.setdefault(name, place)
