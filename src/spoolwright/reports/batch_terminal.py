"""What a batch of diagnoses found, as counts on the terminal."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from spoolwright.reports.batch_rows import FAILED
from spoolwright.reports.figures import printable

if TYPE_CHECKING:
    from rich.console import Console

WORDS = {
    "nothing_found": "nothing found",
    "cause_found": "one cause found",
    "group_found": "causes found that cannot be told apart",
    "unclear": "unclear",
    "cannot_tell": "cannot tell",
    FAILED: "not diagnosed",
}
_SHOWN = 10


@dataclass(frozen=True)
class Counts:
    """Rows of a batch, counted: by outcome, by most probable cause of those found, by error."""

    outcomes: Counter[str]
    causes: Counter[str]
    errors: Counter[str]
    first: dict[str, str]

    @property
    def failed(self) -> int:
        """Recordings without a diagnosis."""
        return self.outcomes[FAILED]


def counted(table: Path) -> Counts:
    """Count the rows of a batch's table."""
    from pyarrow import parquet

    rows = parquet.read_table(table, columns=["recording", "outcome", "error", "causes"]).to_pylist()
    found = [r for r in rows if r["outcome"] in ("cause_found", "group_found")]
    failed = [r for r in rows if r["outcome"] == FAILED]
    first: dict[str, str] = {}
    for r in failed:
        first.setdefault(_bare(r["error"], r["recording"]), r["recording"])
    return Counts(
        Counter(r["outcome"] for r in rows),
        Counter(r["causes"][0]["text"] for r in found if r["causes"]),
        Counter(_bare(r["error"], r["recording"]) for r in failed),
        first,
    )


def _bare(sentence: str, recording: str) -> str:
    """An error without the name of its recording, so that like ones are counted together."""
    line = sentence.splitlines()[0] if sentence else ""
    name = recording.replace("\\", "/").rsplit("/", 1)[-1]
    head, found, rest = line.partition(f"{name}: ")
    return rest if found and not head.strip().count(" ") else line


def print_batch(counts: Counts, console: Console) -> None:
    """Print the counts as tables, the most frequent first."""
    total = sum(counts.outcomes.values())
    _table(console, ("outcome", "runs", "share"), (
        (WORDS.get(k, k), str(n), f"{n / total:.1%}") for k, n in counts.outcomes.most_common()
    ))  # fmt: skip
    if counts.causes:
        rows = ((k, str(n)) for k, n in counts.causes.most_common(_SHOWN))
        _table(console, ("most probable cause, where one was found", "runs"), rows)
    if counts.errors:
        told = ((k, str(n), counts.first[k]) for k, n in counts.errors.most_common(_SHOWN))
        _table(console, ("not diagnosed, because", "runs", "first of them"), told)


def _table(console: Console, heads: tuple[str, ...], rows: Iterable[tuple[str, ...]]) -> None:
    from rich.table import Table
    from rich.text import Text

    table = Table()
    for head in heads:
        table.add_column(head, justify="right" if head in ("runs", "share") else "left", overflow="fold")
    for row in rows:
        table.add_row(*(Text(printable(cell)) for cell in row))
    console.print(table)
