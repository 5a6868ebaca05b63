"""Ledgers from tables and cycles from recordings, joined to the craft of lives."""

from __future__ import annotations

import csv
import hashlib
import io
import tempfile
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

from spoolwright.errors import InputError, OutputError

if TYPE_CHECKING:
    from spoolwright.crafts.life.findings import Finding
    from spoolwright.crafts.life.rules import Standing
    from spoolwright.crafts.typefile.model import TypeFile
    from spoolwright.crafts.typefile.shop.model import ShopPart
    from spoolwright.crafts.visit.desk import TypeInShop
    from spoolwright.crafts.visit.entry import Calculation


@dataclass(frozen=True)
class CountedRecording:
    """Cycles counted in a recording."""

    name: str
    sha256: str
    calculation: Calculation


def check_ledgers(ledger: Path, type_path: Path, on: date) -> list[Standing]:
    """Every part of a table of ledgers, added up again from birth, against the limits in force on a day.

    Parameters
    ----------
    ledger : the table
    type_path : the type file, its shop part beside it
    on : day whose limits hold

    Raises
    ------
    InputError
        A file cannot be read.
    LedgerError
        The table holds mistakes.
    """
    from spoolwright.crafts.life.rules import judge_life
    from spoolwright.sources.life_csv import read_ledgers

    shop = _shop_part(type_path)[1]
    return [judge_life(c.part_number, c.serial, c.born, c.lines, shop, on) for c in read_ledgers(ledger)]


def _shop_part(type_path: Path) -> tuple[TypeFile, ShopPart]:
    from spoolwright.sources.shop_part import load_shop_part, shop_folder
    from spoolwright.sources.typefile import load_type

    known = load_type(type_path)
    folder = shop_folder(type_path)
    if not folder.is_dir():
        raise InputError(
            "the type has no shop part with life limits.", where=str(folder), mend="Put lives.toml there."
        )
    return known.type_file, load_shop_part(folder, known.type_file).shop


def write_read_ledgers(standings: Sequence[Standing], path: Path) -> None:
    """Write every line with its arithmetic, total from birth and findings.

    Raises
    ------
    OutputError
        The file cannot be written.
    """
    from spoolwright.crafts.life.figure import shown

    out = io.StringIO(newline="")
    writer = csv.writer(out)
    writer.writerow(
        [
            "part_number",
            "serial",
            "line",
            "measure",
            "arithmetic",
            "card_says",
            "total_from_birth",
            "findings",
        ]
    )
    for s in standings:
        for f in (f for f in s.ledger.findings if f.line == 0):
            writer.writerow([s.part_number, s.serial, 0, "", "", "", "", str(f)])
        for row in s.ledger.lines:
            for i, x in enumerate(row.sums):
                others = {y.measure for y in row.sums[1:]}
                said = [
                    str(f)
                    for f in row.findings
                    if _about(f) == x.measure or (i == 0 and _about(f) not in others)
                ]
                total = shown(row.totals[x.measure])
                cells = [row.line.line, x.measure, x.how, shown(x.off), total, " | ".join(said)]
                writer.writerow([s.part_number, s.serial, *cells])
    try:
        path.write_text(out.getvalue(), encoding="utf-8", newline="")
    except OSError as error:
        what = f"the table cannot be written: {error.strerror}."
        raise OutputError(what, where=str(path), mend="Check folder and rights.") from error


def _about(finding: Finding) -> str:
    """The measure that a finding is about; empty where it is about the line."""
    return finding.measure.removeprefix("engine ")


def count_cycles(recording: Path, type_path: Path) -> CountedRecording:
    """Cycles in a recording's speed, by the type's advice.

    Raises
    ------
    InputError
        The recording cannot be read or holds no such speed.
    """
    type_file, shop = _shop_part(type_path)
    return _counted(recording, recording.name, type_file, shop)


def count_uploaded(content: bytes, name: str, kind: TypeInShop) -> CountedRecording:
    """Cycles in a recording that was handed over as bytes."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / f"recording{Path(name).suffix[:12]}"
        path.write_bytes(content)
        counted = _counted(path, name, kind.type_file, kind.shop)
    return CountedRecording(name, hashlib.sha256(content).hexdigest(), counted.calculation)


def _counted(path: Path, name: str, type_file: TypeFile, shop: ShopPart) -> CountedRecording:
    from spoolwright.crafts.life.advice import advice_calculation
    from spoolwright.sources.reading import read_recording

    recording = read_recording(path, type_file.channel)
    advice = [a for a in shop.cycle_advice if a.channel in recording]
    if not advice:
        wanted = ", ".join(sorted({a.channel for a in shop.cycle_advice})) or "none"
        raise InputError(
            "the recording holds no channel that cycles are counted in.",
            where=name,
            mend=f"Wanted: {wanted}.",
        )
    channel = advice[0].channel
    same = [a for a in advice if a.channel == channel]
    return CountedRecording(name, recording.source_sha256, advice_calculation(recording[channel], same))
