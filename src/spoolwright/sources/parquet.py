"""Parquet: only the columns that are channels are read, batch by batch."""

from __future__ import annotations

import struct
from typing import Any, Final

from spoolwright.errors import InputError
from spoolwright.sources.columnar import Gathering, is_text, readable, schema_columns, schema_facts
from spoolwright.sources.loaded import Loaded, Task
from spoolwright.sources.notes import shown

_BATCH: Final = 65_536
_LARGEST_FOOTER: Final = 64 * 2**20
_MOST_CHUNKS: Final = 1_000_000


def load_parquet(task: Task) -> Loaded:
    """The content of a Parquet file.

    Raises
    ------
    InputError
        When it is damaged, has no time column, or is larger than the limits.
    """
    import pyarrow as pa

    _check_footer(task)
    try:
        return _load(task)
    except MemoryError:
        raise
    except (pa.ArrowException, OSError, UnicodeDecodeError) as error:
        raise _damaged(shown(str(error), 200)) from error


def _check_footer(task: Task) -> None:
    """Refuse a file whose description of itself is cut off or enormous."""
    with task.path.open("rb") as file:
        size = file.seek(0, 2)
        file.seek(max(size - 8, 0))
        end = file.read(8)
    if len(end) < 8 or end[4:] != b"PAR1":
        raise _damaged("its end is missing")
    (footer,) = struct.unpack("<I", end[:4])
    if footer > _LARGEST_FOOTER:
        raise InputError(f"its footer has {footer} bytes, the limit is {_LARGEST_FOOTER}.")


def _load(task: Task) -> Loaded:
    from pyarrow import parquet

    with parquet.ParquetFile(task.path, memory_map=True) as file:
        schema = file.schema_arrow
        task.limits.check_columns(file.metadata.num_columns)
        plan = readable(task.choose(schema_columns(schema), True), schema, task)
        assert plan.time is not None
        positions = [plan.time.position, *(taken.column.position for taken in plan.taken)]
        names = [schema.field(position).name for position in positions]
        texts = [schema.field(p).name for p in positions if is_text(schema.field(p).type)]
        task.limits.check_values(file.metadata.num_rows, len(plan.taken))
        _check_row_groups(file.metadata, names, task)
    gathering = Gathering(task, plan, schema_facts(schema, task))
    # Text is read as a dictionary: one long text repeated over all rows then costs its length once.
    with parquet.ParquetFile(task.path, memory_map=True, read_dictionary=texts) as file:
        for batch in file.iter_batches(batch_size=_BATCH, columns=names):
            arrays: list[Any] = [batch.column(name) for name in names]
            gathering.add(arrays[0], arrays[1:])
    return gathering.loaded()


def _check_row_groups(metadata: Any, names: list[str], task: Task) -> None:
    """Refuse row groups whose wanted columns unpack to more than memory should hold at a time."""
    if metadata.num_row_groups * len(names) > _MOST_CHUNKS:
        raise InputError(f"it has {metadata.num_row_groups} row groups.", mend="Write larger row groups.")
    most = task.limits.unpacked_bytes
    places: list[int] = []
    for number in range(metadata.num_row_groups):
        group = metadata.row_group(number)
        places = places or [i for i in range(group.num_columns) if group.column(i).path_in_schema in names]
        size = sum(group.column(i).total_uncompressed_size for i in places)
        if size > most:
            told = f"row group {number + 1} unpacks to {size} bytes, the limit is {most}."
            raise InputError(told, mend="Write smaller row groups.")


def _damaged(what: str) -> InputError:
    return InputError(f"it is damaged: {what}.", mend="Copy or export the recording again.")
