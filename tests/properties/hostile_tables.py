"""A recording as a table, and the ways in which its rows, columns, clock and headings go wrong."""

from __future__ import annotations

import math
import random
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from spoolwright.core.measurement.recording import Recording
from spoolwright.crafts.typefile.model import TypeFile
from spoolwright.units import UNITS, unit_of

EXTREME = [0.0, -1.0, 1e-300, 1e308, -1e308, math.inf, -math.inf, math.nan, 1e15, 4.9e-324]
WORDS = [
    "", "nan", "-", "1,5", "1e999", "9" * 10_000, "-inf", "٣٫٥", "1.5.5", "0x1F", "true", '"', '""', "\x00",
    "10:00:00", "2026-13-45", "#", "𝟙", "1 000", "1_000", "null",
]  # fmt: skip
HEADS = ["", " ", "time [s]", "ng [rpm]", "ng [%]", "ng [furlong]", "x" * 5000, "a\x00b", "[rpm]", "🙂 [°C]"]


@dataclass
class Table:
    """A recording as columns of numbers with their headings, before it becomes a file."""

    time: np.ndarray
    columns: dict[str, np.ndarray]
    units: dict[str, str]
    heads: dict[str, str] = field(default_factory=dict)
    cells: dict[tuple[int, str], str] = field(default_factory=dict)

    def kept(self, rows: Any) -> None:
        self.time = self.time[rows]
        self.columns = {k: v[rows] for k, v in self.columns.items()}

    def text(self, attributes: dict[str, str]) -> str:
        """As CSV."""
        names = list(self.columns)
        head = ["time [s]", *(self.heads.get(n, f"{n} [{self.units[n]}]") for n in names)]
        lines = [f"# {k}: {v}" for k, v in attributes.items()] + [",".join(head)]
        values = np.column_stack([self.time, *self.columns.values()]) if names else self.time[:, np.newaxis]
        for i, row in enumerate(values.tolist()):
            cells = ["" if math.isnan(v) else repr(v) for v in row]
            for k, n in enumerate(["time", *names]):
                if (i, n) in self.cells:
                    cells[k] = self.cells[i, n]
            lines.append(",".join(cells))
        return "\n".join(lines) + "\n"


def table_of(recording: Recording, known: TypeFile) -> Table:
    columns, units = {}, {}
    for c in known.channel:
        if c.id in recording:
            unit = unit_of(c.unit, c.dimension)
            columns[c.id] = np.round((recording[c.id] - unit.offset) / unit.factor, 4)
            units[c.id] = c.unit
    return Table(recording.time.copy(), columns, units)


Change = Callable[[Table, random.Random], None]


def _some(table: Table, dice: random.Random) -> str:
    return dice.choice(list(table.columns)) if table.columns else ""


def _span(table: Table, dice: random.Random) -> slice:
    a, b = sorted(dice.randrange(table.time.size + 1) for _ in range(2))
    return slice(a, b)


def _on_one(table: Table, dice: random.Random) -> None:
    """One channel, or all, wrong over a span or all along."""
    names = list(table.columns) if dice.random() < 0.15 else [_some(table, dice)]
    rows = slice(None) if dice.random() < 0.5 else _span(table, dice)
    how = dice.randrange(10)
    for name in names:
        if name not in table.columns or not table.time.size:
            continue
        x = table.columns[name] = table.columns[name].copy()
        match how:
            case 0:
                x[rows] = np.nan
            case 1:
                x[rows] = dice.choice(EXTREME)
            case 2:
                x[rows] = x[0]
            case 3:
                x[rows] = x[rows] * dice.choice([-1.0, 1e-6, 1e6, 1.8, 0.1, 145.0, 1e300])
            case 4:
                x[rows] = x[rows] + dice.choice([-273.15, 1e4, -1e4, 273.15, 1e300])
            case 5:
                x[rows] = x[rows][::-1]
            case 6:
                x[rows] = np.random.default_rng(dice.randrange(2**32)).normal(0.0, 1e3, x[rows].size)
            case 7:
                x[dice.randrange(x.size) :: dice.choice([1, 2, 97])] = dice.choice(EXTREME)
            case 8:
                other = table.columns[_some(table, dice)].copy()
                x[rows] = other[rows]
            case 9:
                x[rows] = np.round(x[rows], dice.choice([-3, -1, 0]))


def _drop(table: Table, dice: random.Random) -> None:
    for _ in range(dice.choice([1, 1, 3, 20, 100])):
        table.columns.pop(_some(table, dice), None)


def _swap(table: Table, dice: random.Random) -> None:
    a, b = _some(table, dice), _some(table, dice)
    if a:
        table.columns[a], table.columns[b] = table.columns[b], table.columns[a]


def _cut(table: Table, dice: random.Random) -> None:
    """Some rows only: no start, no end, a single one, none."""
    n = table.time.size
    few = [slice(0, k) for k in (0, 1, 2, 3, 60)]
    halves = [slice(0, n // 2), slice(n // 2, n), slice(max(n - 40, 0), n)]
    table.kept(dice.choice([*few, *halves, slice(0, n, 37), slice(None, None, -1), _span(table, dice)]))


def _clock(table: Table, dice: random.Random) -> None:
    """A time column that no clock gives."""
    t = table.time = table.time.copy()
    if not t.size:
        return
    k = dice.randrange(t.size)
    match dice.randrange(10):
        case 0:
            t[k:] += dice.choice([1e308, 1e9, -1e9, 86_400.0, 1e-12])
        case 1:
            t[:] = dice.choice([0.0, 1e308, -5.0])
        case 2:
            t[k] = dice.choice(EXTREME)
        case 3:
            t[k:] = np.nan
        case 4:
            t *= dice.choice([1e-9, 1e3, 1e300, -1.0, 0.0])
        case 5:
            t[:] = t[::-1]
        case 6:
            np.random.default_rng(dice.randrange(2**32)).shuffle(t)
        case 7:
            t[k:] -= t[k]
        case 8:
            t[::2] = t[0]
        case 9:
            t[:] = np.cumsum(np.random.default_rng(dice.randrange(2**32)).exponential(2.0, t.size))


def _words(table: Table, dice: random.Random) -> None:
    for _ in range(dice.choice([1, 5, 200])):
        if table.time.size:
            name = dice.choice(["time", *table.columns])
            table.cells[dice.randrange(table.time.size), name] = dice.choice(WORDS)


def _headings(table: Table, dice: random.Random) -> None:
    for _ in range(dice.choice([1, 2, 10])):
        name = _some(table, dice)
        unit = dice.choice(list(UNITS))
        table.heads[name] = dice.choice([*HEADS, f"{name} [{unit}]", f"{name} [{unit}]", name])


def _other_engine(table: Table, dice: random.Random) -> None:
    """What another type's bench would have written under the same names."""
    for name in table.columns:
        table.columns[name] = table.columns[name] * dice.uniform(0.2, 3.0)


CHANGES: list[Change] = [_on_one] * 6 + [
    _drop,
    _swap,
    _cut,
    _cut,
    _clock,
    _clock,
    _words,
    _headings,
    _other_engine,
]
