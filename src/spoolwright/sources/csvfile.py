"""CSV and other delimited text, read in blocks: all numbers at once, or cell by cell where one is none."""

from __future__ import annotations

import codecs
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any, BinaryIO, Final

from spoolwright.core.measurement.recording import FloatArray
from spoolwright.errors import InputError
from spoolwright.sources.cells import MISSING, OddCells, floats, joined, numbers_from_text
from spoolwright.sources.clock import TimeBase, time_from_numbers, time_from_text
from spoolwright.sources.columns import Plan
from spoolwright.sources.dialect import Dialect, dialect_of, latin_note
from spoolwright.sources.limits import Limits
from spoolwright.sources.loaded import Loaded, Task, header_facts
from spoolwright.sources.notes import Notes, shown

_TOLD_ROWS: Final = 3
_BLOCK: Final = 8 * 2**20


class _NotAllNumbers(Exception):
    """A cell is no number: read again, cell by cell."""


class _NotUtf8(Exception):
    """Bytes beyond the first lines are not UTF-8: read again as Latin-1."""

    def __init__(self, place: int) -> None:
        self.place = place


def _blocks(file: BinaryIO, encoding: str, line_bytes: int) -> Iterator[bytes]:
    """Whole lines as UTF-8, some at a time. The parser itself looks only at the cells it needs, so every byte
    is decoded here; of UTF-16 the odd byte is left out that a cut may leave at the end.
    """
    decoder = codecs.getincrementaldecoder(encoding)("strict")
    rest, data = b"", b"-"
    while data:
        place = file.tell()
        data = file.read(_BLOCK)
        pending = len(decoder.getstate()[0])
        try:
            text = decoder.decode(data, final=not data and not encoding.startswith("utf-16"))
        except UnicodeDecodeError as error:
            if encoding == "utf-8":
                raise _NotUtf8(place - pending + error.start) from error
            raise
        kept = rest + (data if encoding == "utf-8" else text.encode())
        end = _line_end(kept, 0, len(kept)) if data else len(kept)
        _check_lines(kept, line_bytes)
        rest = kept[end:]
        if kept[:end].strip():
            yield kept[:end]


def _line_end(text: bytes, start: int, stop: int) -> int:
    """Where the last whole line between two places ends; 0 where none does."""
    return max(text.rfind(b"\n", start, stop), text.rfind(b"\r", start, stop)) + 1


def _check_lines(text: bytes, line_bytes: int) -> None:
    """Refuse a line that is too long: from every line's beginning, an end must come in time."""
    start = 0
    while len(text) - start > line_bytes:
        start = _line_end(text, start, start + line_bytes + 1)
        if start == 0:
            raise InputError(
                f"a line is longer than {line_bytes} bytes.", mend="Check that it is a recording."
            )


@dataclass
class _OddRows:
    """Rows with another number of fields than the header: left out, counted, the first few told."""

    limits: Limits
    count: int = 0
    before: int = 0
    told: list[str] = field(default_factory=list)

    def __call__(self, row: Any) -> str:
        self.count += 1
        if len(self.told) < _TOLD_ROWS:
            number = self.before + row.number
            self.told.append(f"row {number} has {row.actual_columns} ('{shown(row.text, 40)}')")
        return "skip" if self.count <= self.limits.odd_rows else "error"

    def note(self, notes: Notes, width: int) -> None:
        if self.count:
            told = f"{self.count} row(s) do not have {width} fields and were left out: {', '.join(self.told)}"
            more = f" and {self.count - len(self.told)} more" if self.count > len(self.told) else ""
            notes.add("rows_left_out", f"{told}{more}.")


def load_csv(task: Task) -> Loaded:
    """The content of a delimited text file.

    Raises
    ------
    InputError
        When it is not text, has no fitting header, no time column, or is larger than the limits.
    """
    with task.path.open("rb") as file:
        sample = file.read(2 * task.limits.line_bytes)
        whole = not file.read(1)
    dialect = dialect_of(sample, whole, task.channel_map, task.limits, task.notes)
    plan = task.choose(dialect.columns, True)
    facts = header_facts(dialect.facts, task.notes)
    while True:
        try:
            time, values = _columns(task, dialect, plan, facts)
            break
        except _NotUtf8 as error:
            task.notes.add("encoding", latin_note(error.place))
            dialect.encoding = "latin-1"
    return Loaded(plan, time, values, facts)


def _columns(
    task: Task, dialect: Dialect, plan: Plan, facts: dict[str, str]
) -> tuple[TimeBase, list[FloatArray]]:
    """Time and values, by the quick way if it goes through."""
    assert plan.time is not None
    for decimal in (dialect.decimal,) if dialect.decimal else (".", ","):
        try:
            return _read(task, dialect, plan, facts, decimal, as_text=False)
        except _NotAllNumbers:
            continue
    return _read(task, dialect, plan, facts, dialect.decimal or ".", as_text=True)


def _read(
    task: Task, dialect: Dialect, plan: Plan, facts: dict[str, str], decimal: str, *, as_text: bool
) -> tuple[TimeBase, list[FloatArray]]:
    assert plan.time is not None
    odd_rows = _OddRows(task.limits)
    odd_cells = [OddCells() for _ in plan.taken]
    times: list[Any] = []
    blocks: list[list[FloatArray]] = [[] for _ in plan.taken]
    rows = 0
    for batch in _batches(task, dialect, plan, decimal, as_text, odd_rows):
        times.append(batch.column(0))
        for i, block in enumerate(blocks):
            cells = batch.column(i + 1)
            block.append(numbers_from_text(cells, decimal, rows, odd_cells[i]) if as_text else floats(cells))
        rows += batch.num_rows
        task.limits.check_values(rows, len(plan.taken))
    if rows == 0:
        raise InputError("it has a header line and no rows below it.", mend="Export it again.")
    odd_rows.note(task.notes, len(dialect.columns))
    for taken, odd in zip(plan.taken, odd_cells, strict=True):
        odd.note(task.notes, taken.column.heading, taken.channel)
    time = _time(times, task, plan, facts, decimal)
    return time, joined(blocks)


def _time(times: list[Any], task: Task, plan: Plan, facts: dict[str, str], decimal: str) -> TimeBase:
    """The time column: numbers when most of its cells are, else text that tells a time."""
    import pyarrow as pa

    assert plan.time is not None
    heading = plan.time.heading
    column = pa.chunked_array(times).combine_chunks()
    odd = OddCells()
    numbers = numbers_from_text(column, decimal, 0, odd)
    if odd.count > 0.5 * len(column):
        return time_from_text(column, heading, task.zone(facts), task.notes)
    odd.note(task.notes, heading, None, "time")
    return time_from_numbers(numbers, plan.time_unit, heading, task.notes)


def _batches(
    task: Task, dialect: Dialect, plan: Plan, decimal: str, as_text: bool, odd_rows: _OddRows
) -> Iterator[Any]:
    """The wanted columns block by block, time as text in front."""
    import pyarrow as pa
    from pyarrow import csv

    assert plan.time is not None
    names = [f"c{i}" for i in range(len(dialect.columns))]
    time = names[plan.time.position]
    wanted = [names[taken.column.position] for taken in plan.taken]
    kinds = dict.fromkeys(wanted, pa.string() if as_text else pa.float64()) | {time: pa.string()}
    parse = csv.ParseOptions(
        delimiter=dialect.delimiter,
        quote_char='"' if dialect.quoted else False,
        invalid_row_handler=odd_rows,
    )
    convert = csv.ConvertOptions(
        column_types=kinds,
        include_columns=[time, *wanted],
        null_values=list(MISSING),
        strings_can_be_null=True,
        decimal_point=decimal,
    )
    rows = 0
    with task.path.open("rb") as file:
        file.seek(dialect.data_offset)
        try:
            for block in _blocks(file, dialect.encoding, task.limits.line_bytes):
                odd_rows.before = rows + odd_rows.count
                # One block a call on one thread: no reader is left behind that still reads when all is over,
                # and the parser knows row numbers.
                read = csv.ReadOptions(use_threads=False, block_size=len(block) + 1, column_names=names)
                table = csv.read_csv(pa.py_buffer(block), read, parse, convert)
                rows += table.num_rows
                yield from table.combine_chunks().to_batches()
        except pa.ArrowInvalid as error:
            raise _told(error, task, odd_rows) from error
        except UnicodeDecodeError as error:
            raise InputError(
                f"its {dialect.encoding.upper()} text is damaged.", mend="Export it again."
            ) from error


def _told(error: Exception, task: Task, odd_rows: _OddRows) -> Exception:
    """What an error of the parser means."""
    text = str(error)
    if text.startswith("In CSV column"):
        return _NotAllNumbers()
    if odd_rows.count > task.limits.odd_rows:
        return InputError(
            f"more than {task.limits.odd_rows} rows do not have the header's fields: {odd_rows.told[0]}.",
            mend="Export it again with one delimiter throughout.",
        )
    return InputError(f"its rows cannot be parsed: {shown(text, 200)}.", mend="Export it again.")
