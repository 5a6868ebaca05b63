"""Parquet: only the columns that are channels are read, batch by batch."""

from __future__ import annotations

from typing import Any, Final

from spoolwright.sources.columnar import Gathering, is_text, readable, schema_columns, schema_facts
from spoolwright.sources.loaded import Loaded, Task
from spoolwright.sources.mapped import mapped
from spoolwright.sources.notes import shown
from spoolwright.sources.parquetsizes import check_pages, damaged

_BATCH: Final = 65_536


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
    except MemoryError:
        raise
    except (pa.ArrowException, OSError, UnicodeDecodeError) as error:
        raise damaged(shown(str(error), 200)) from error


def _load(task: Task) -> Loaded:
    from pyarrow import parquet

    with parquet.ParquetFile(mapped(task.path)) as file:
        schema = file.schema_arrow
        task.limits.check_columns(file.metadata.num_columns)
        plan = readable(task.choose(schema_columns(schema), True), schema, task)
        assert plan.time is not None
        task.limits.check_values(file.metadata.num_rows, len(plan.taken))
    positions = [plan.time.position, *(taken.column.position for taken in plan.taken)]
    names = [schema.field(position).name for position in positions]
    texts = [schema.field(p).name for p in positions if is_text(schema.field(p).type)]
    check_pages(task.path, set(names), task.limits)
    gathering = Gathering(task, plan, schema_facts(schema, task))
    # Text is read as a dictionary: one long text repeated over all rows then costs its length once.
    with parquet.ParquetFile(mapped(task.path), read_dictionary=texts) as file:
        for batch in file.iter_batches(batch_size=_BATCH, columns=names):
            arrays: list[Any] = [batch.column(name) for name in names]
            gathering.add(arrays[0], arrays[1:])
    return gathering.loaded()
