"""Parquet: only the columns that are channels are read, batch by batch."""

from __future__ import annotations

from typing import Any, Final

from spoolwright.errors import InputError
from spoolwright.sources.columnar import Gathering, is_text, readable, schema_columns, schema_facts
from spoolwright.sources.loaded import Loaded, Task
from spoolwright.sources.notes import shown

_BATCH: Final = 65_536
_METADATA_BYTES: Final = 64 * 2**20


def load_parquet(task: Task) -> Loaded:
    """The content of a Parquet file.

    Raises
    ------
    InputError
        When it is damaged, has no time column, or is larger than the limits.
    """
    import pyarrow as pa

    try:
        return _load(task)
    except (pa.ArrowException, OSError, UnicodeDecodeError) as error:
        if isinstance(error, MemoryError):
            raise
        raise InputError(
            f"it is damaged: {shown(str(error), 200)}.", mend="Copy or export the recording again."
        ) from error


def _load(task: Task) -> Loaded:
    from pyarrow import parquet

    with parquet.ParquetFile(task.path, memory_map=True, thrift_string_size_limit=_METADATA_BYTES) as file:
        schema = file.schema_arrow
        task.limits.check_columns(file.metadata.num_columns)
        plan = readable(task.choose(schema_columns(schema), True), schema, task)
        assert plan.time is not None
        task.limits.check_values(file.metadata.num_rows, len(plan.taken))
        positions = [plan.time.position, *(taken.column.position for taken in plan.taken)]
        names = [schema.field(position).name for position in positions]
        texts = [schema.field(p).name for p in positions if is_text(schema.field(p).type)]
    gathering = Gathering(task, plan, schema_facts(schema, task))
    # Text is read as a dictionary: one long text repeated over all rows then costs its length once.
    with parquet.ParquetFile(
        task.path, memory_map=True, thrift_string_size_limit=_METADATA_BYTES, read_dictionary=texts
    ) as file:
        for batch in file.iter_batches(batch_size=_BATCH, columns=names):
            arrays: list[Any] = [batch.column(name) for name in names]
            gathering.add(arrays[0], arrays[1:])
    return gathering.loaded()
