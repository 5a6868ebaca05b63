"""Everything that can be handed to an assessment, made wrong in a seeded way.

A `Workshop` knows sound runs; `hostile(number)` writes a visit with something wrong in recording, run sheet,
type file, channel map or baseline, and tells where they are. The same number makes the same files.
"""

from __future__ import annotations

import copy
import json
import math
import random
import tomllib
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

from hostile_tables import CHANGES, WORDS, table_of

from spoolwright.core.measurement.recording import Recording
from spoolwright.core.reduction.baseline import uncalibrated_baseline
from spoolwright.crafts.typefile.model import TypeFile
from spoolwright.rig.write import sheet_text
from spoolwright.units import UNITS

SCALARS: list[Any] = [
    None, True, 0, -1, 2, 0.5, 1e6, 10**30, 1e308, -1e308, 1e-300, math.inf, math.nan,
    "", "ng", "x" * 3000, "\u202e", "°C", "max", "1", "psia", "overhauled", "2.5",
    date(1, 1, 1), date(9999, 12, 31), datetime(2026, 1, 1, tzinfo=UTC), datetime(1, 1, 1), [], {},
]  # fmt: skip


def places(raw: Any, path: tuple[Any, ...] = ()) -> list[tuple[Any, ...]]:
    items = raw.items() if isinstance(raw, dict) else enumerate(raw) if isinstance(raw, list) else ()
    return [p for k, v in items for p in [(*path, k), *places(v, (*path, k))]]


def altered(raw: dict[str, Any], dice: random.Random) -> dict[str, Any]:
    """Tables with a few values replaced, scaled, left out or repeated."""
    raw = copy.deepcopy(raw)
    for _ in range(dice.choice([1, 1, 2, 5])):
        path = dice.choice(places(raw) or [("x",)])
        inside: Any = raw
        for step in path[:-1]:
            inside = inside[step]
        last, old = path[-1], inside[path[-1]] if path[-1:] != ("x",) else None
        number = isinstance(old, int | float) and not isinstance(old, bool)
        match dice.randrange(6):
            case 0 if isinstance(inside, dict):
                del inside[last]
            case 1 if isinstance(inside, list):
                inside.append(copy.deepcopy(old))
            case 2 | 3 | 4 if number:
                inside[last] = old * dice.choice([0.5, 2.0, -1.0, 1.01, 0.9, 10.0, 1e-6, 1e6])
            case _:
                inside[last] = copy.deepcopy(dice.choice(SCALARS))
    return raw


def toml(table: dict[str, Any]) -> str:
    """TOML of any tables, each value on one line."""
    return "".join(f"{json.dumps(k)} = {_toml_value(v)}\n" for k, v in table.items() if v is not None)


def _toml_value(x: Any) -> str:
    if isinstance(x, bool):
        return "true" if x else "false"
    if isinstance(x, str):
        return json.dumps(x, ensure_ascii=True)
    if isinstance(x, datetime | date):
        return x.isoformat()
    if isinstance(x, dict):
        return (
            "{ "
            + ", ".join(f"{json.dumps(k)} = {_toml_value(v)}" for k, v in x.items() if v is not None)
            + " }"
        )
    if isinstance(x, list | tuple):
        return "[" + ", ".join(_toml_value(v) for v in x if v is not None) + "]"
    return repr(x)


def spoilt(data: bytes, dice: random.Random) -> bytes:
    """Bytes with a few things wrong."""
    out = bytearray(data)
    for _ in range(dice.choice([1, 1, 3, 20])):
        at = dice.randrange(len(out) + 1)
        match dice.randrange(5):
            case 0:
                del out[at:]
            case 1:
                del out[at : at + dice.choice([1, 8, 300])]
            case 2:
                out[at:at] = dice.randbytes(dice.choice([1, 8, 300]))
            case 3:
                out[at:at] = dice.choice(WORDS).encode("utf-8", "surrogatepass")
            case 4:
                out[at : at + 1] = bytes([dice.randrange(256)])
    return bytes(out)


@dataclass(frozen=True)
class Handed:
    """What is handed over, as `bootstrap.assess` takes it."""

    runs: tuple[Path, ...]
    type_path: Path
    sheets: tuple[Path, ...] | None = None
    channel_map: Path | None = None
    baseline: Path | None = None

    def arguments(self) -> dict[str, Any]:
        return {
            "runs": list(self.runs),
            "type_path": self.type_path,
            "sheets": None if self.sheets is None else list(self.sheets),
            "channel_map": self.channel_map,
            "baseline": self.baseline,
        }


def _correction(known: TypeFile, dice: random.Random) -> dict[str, Any]:
    ids = [c.id for c in known.channel]
    return {
        "channel": dice.choice(ids),
        "kind": dice.choice(["swap_with", "unit_is", "add", "multiply", "leave_out"]),
        "other": dice.choice([None, *ids]),
        "unit": dice.choice([None, "%", "ft", "m", "psia", "degF", *UNITS]),
        "amount": dice.choice([None, 0.0, -1.0, 1e308, -1e-300, 1.5]),
        "from_s": dice.choice([None, None, -1e9, 0.0, 500.0]),
        "to_s": dice.choice([None, None, 1e9, 600.0]),
        "reason": "found so",
        "signed_by": "A. Person",
        "signed_at": datetime(2026, 3, 2, 10, tzinfo=UTC),
    }


def _adjustment(dice: random.Random) -> dict[str, Any]:
    at = dice.choice([0.0, -1e9, 1e308, 700.0, 1200.0, 30.5])
    return {"at_s": at, "kind": dice.choice(["governor", "topping", "x"]), "text": "t", "by": "b"}


class Workshop:
    """Writes hostile visits into a folder from one sound run on disk.

    Parameters
    ----------
    folder : where files are written
    runs : sound recordings with their sheets
    known, type_text : the type
    """

    def __init__(
        self, folder: Path, runs: list[tuple[Recording, Any]], known: TypeFile, type_text: str
    ) -> None:
        self.folder, self.known = folder, known
        self.tables = [
            (table_of(r, known), dict(r.attributes), tomllib.loads(sheet_text(s))) for r, s in runs
        ]
        self.type_raw, self.type_text = tomllib.loads(type_text), type_text
        self.type_path = folder / "type.toml"
        self.type_path.write_text(type_text, encoding="utf-8")
        self.baseline = uncalibrated_baseline().to_dict()

    def hostile(self, number: int) -> Handed:
        """Visit number so and so."""
        dice = random.Random(number)
        name = f"run-{number % 7}"
        table, attributes, sheet = copy.deepcopy(dice.choice(self.tables))
        run, beside = self.folder / f"{name}.csv", self.folder / f"{name}.run.toml"
        handed = Handed((run,), self.type_path)
        kinds = dice.choices(
            ["recording", "sheet", "type", "map", "baseline", "bytes"], [60, 18, 12, 3, 3, 4], k=1
        )
        if dice.random() < 0.2:
            kinds.append("recording")
        if "recording" in kinds:
            for _ in range(dice.choice([1, 1, 2, 4])):
                dice.choice(CHANGES)(table, dice)
        if "sheet" in kinds:
            sheet = self._sheet(sheet, dice)
        if "type" in kinds:
            handed = replace(handed, type_path=self._type(dice))
        data = table.text(attributes).encode("utf-8", "replace")
        if "bytes" in kinds:
            data = spoilt(data, dice)
        if "map" in kinds:
            handed = replace(handed, channel_map=self._map(dice))
        if "baseline" in kinds:
            handed = replace(handed, baseline=self._baseline(dice))
        run.write_bytes(data)
        beside.write_text(toml(sheet), encoding="utf-8")
        return handed

    def _sheet(self, sheet: dict[str, Any], dice: random.Random) -> dict[str, Any]:
        if dice.random() < 0.5:
            sheet = {
                **sheet,
                "correction": [_correction(self.known, dice) for _ in range(dice.choice([1, 2, 6]))],
            }
        if dice.random() < 0.3:
            sheet = {**sheet, "adjustment": [_adjustment(dice) for _ in range(dice.choice([1, 3]))]}
        return altered(sheet, dice) if dice.random() < 0.6 else sheet

    def _type(self, dice: random.Random) -> Path:
        path = self.folder / "hostile-type.toml"
        if dice.random() < 0.1:
            path.write_bytes(spoilt(self.type_text.encode(), dice))
        else:
            path.write_text(toml(altered(self.type_raw, dice)), encoding="utf-8")
        return path

    def _map(self, dice: random.Random) -> Path:
        ids = [c.id for c in self.known.channel]
        other = {"channel": "ng", "unit": dice.choice(list(UNITS))}
        tables = {
            "channels": {dice.choice(ids): dice.choice(ids), "gone": other},
            "time": {"column": dice.choice(["time", "ng", ""]), "unit": dice.choice(["ms", "h", "rpm"])},
            "ignore": [dice.choice(ids)],
        }
        path = self.folder / "map.toml"
        return self._written(path, toml(altered(tables, dice)), dice)

    def _baseline(self, dice: random.Random) -> Path:
        path = self.folder / "baseline.json"
        return self._written(path, json.dumps(altered(self.baseline, dice), default=str), dice)

    @staticmethod
    def _written(path: Path, text: str, dice: random.Random) -> Path:
        data = text.encode()
        path.write_bytes(spoilt(data, dice) if dice.random() < 0.3 else data)
        return path
