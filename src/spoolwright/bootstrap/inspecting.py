"""Findings from tables and from the command line, joined to the craft of inspection."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from spoolwright.bootstrap.shop import Shop
    from spoolwright.crafts.inspection.model import FindingRecorded, Judgement
    from spoolwright.crafts.inspection.standing import Found
    from spoolwright.crafts.typefile.shop.model import ShopPart

TOLD = ("proposed", "limit", "paragraph", "words", "arithmetic")


@dataclass(frozen=True)
class Judged:
    """A finding of a table with what the limits propose."""

    finding: FindingRecorded
    judgement: Judgement


def judge_table(findings: Path, type_path: Path) -> list[Judged]:
    """Every finding of a table against the type's limits, stage by stage, in the table's order.

    Raises
    ------
    InputError
        A file cannot be read.
    FindingsError
        The table holds mistakes.
    """
    from spoolwright.crafts.inspection.rules import judge_stage
    from spoolwright.crafts.inspection.stage import Stage
    from spoolwright.sources.findings_csv import read_findings

    shop = shop_part_of(type_path)
    read = read_findings(findings, shop.inspected_part)
    parts = {p.id: p for p in shop.inspected_part}
    told: dict[int, Judged] = {}
    for part, serial in dict.fromkeys((f.part, f.serial) for f in read):
        at = [i for i, f in enumerate(read) if (f.part, f.serial) == (part, serial)]
        limits = tuple(x for x in shop.damage_limit if x.part == part)
        stage = Stage(parts[part], limits, tuple(read[i] for i in at))
        for i, judged in zip(at, judge_stage(stage), strict=True):
            assert judged is not None
            told[i] = Judged(read[i], judged)
    return [told[i] for i in range(len(read))]


def shop_part_of(type_path: Path) -> ShopPart:
    """The shop part beside a type file."""
    from spoolwright.sources.shop_part import load_shop_part, shop_folder
    from spoolwright.sources.typefile import load_type

    return load_shop_part(shop_folder(type_path), load_type(type_path).type_file).shop


def judged_csv(judged: Iterable[Judged]) -> str:
    """A row for each finding: what was entered, then what is proposed, by which paragraph and arithmetic."""
    from spoolwright.crafts.inspection.entering import COLUMNS, words_of

    out = io.StringIO(newline="")
    writer = csv.DictWriter(out, (*COLUMNS, *TOLD), lineterminator="\r\n")
    writer.writeheader()
    for one in judged:
        j = one.judgement
        told = {
            "proposed": j.proposed.value,
            "limit": j.limit,
            "paragraph": j.paragraph,
            "words": j.words,
            "arithmetic": "; ".join(f"{c.bound} {c.reading}, {c.limit}" for c in j.checks),
        }
        writer.writerow(words_of(one.finding) | told)
    return out.getvalue()


def record_table(shop: Shop, visit: str, login: str, findings: Path, now: datetime) -> list[Found]:
    """Record every finding of a table in a visit, all or none; a serial left out is the known one."""
    from spoolwright.crafts.inspection.service import record_findings, with_known_serial
    from spoolwright.sources.findings_csv import read_findings

    folder = shop.folder(visit, now.date())
    read = read_findings(findings, folder.kind.shop.inspected_part)
    return record_findings(shop.desk(login, now), folder, [with_known_serial(folder, f) for f in read])


def record_words(
    shop: Shop, visit: str, login: str, rows: Sequence[Mapping[str, str]], now: datetime
) -> list[Found]:
    """Record findings from words by column; the word `quick` stands for a quick line."""
    from spoolwright.crafts.inspection.entering import finding_from, part_named, quick_words
    from spoolwright.crafts.inspection.service import record_findings, with_known_serial

    folder = shop.folder(visit, now.date())
    bodies = []
    for row in rows:
        part = part_named(folder.kind.shop.inspected_part, row.get("part", ""))
        words = {k: v for k, v in row.items() if k != "quick"}
        bodies.append(
            finding_from(words | quick_words(row["quick"], part) if "quick" in row else words, part)
        )
    return record_findings(shop.desk(login, now), folder, [with_known_serial(folder, b) for b in bodies])
