"""Arrow IPC streams, as a live recording writes them: a cut stream yields every whole batch, and a note."""

from __future__ import annotations

import struct
from typing import Any, Final

from spoolwright.errors import InputError
from spoolwright.sources.arrowsizes import check_message
from spoolwright.sources.columnar import Gathering, readable, schema_columns, schema_facts
from spoolwright.sources.loaded import Loaded, Task
from spoolwright.sources.mapped import mapped
from spoolwright.sources.notes import shown

_FILE_MAGIC: Final = b"ARROW1\0\0"


def load_arrow(task: Task) -> Loaded:
    """The content of an Arrow stream, or of an Arrow file read as the stream that it wraps.

    Raises
    ------
    InputError
        When no batch is whole, when it has no time column, or is larger than the limits.
    """
    import pyarrow as pa

    with mapped(task.path) as source:
        try:
            _to_start(source)
            schema = pa.ipc.open_stream(source).schema
            columns = schema_columns(schema)
            facts = schema_facts(schema, task)
        except MemoryError:
            raise
        except (pa.ArrowException, OSError, UnicodeDecodeError) as error:
            raise _damaged(error) from error
        plan = readable(task.choose(columns, True), schema, task)
        assert plan.time is not None
        positions = [plan.time.position, *(taken.column.position for taken in plan.taken)]
        _check_sizes(source, len(plan.taken), task)
        gathering = Gathering(task, plan, facts)
        _to_start(source)
        _gather(gathering, source, positions)
    return gathering.loaded()


def _to_start(source: Any) -> None:
    """To the first message of the stream, behind the mark that an Arrow file puts before it."""
    source.seek(0)
    if source.read(len(_FILE_MAGIC)) != _FILE_MAGIC:
        source.seek(0)


def _check_sizes(source: Any, channels: int, task: Task) -> None:
    """Refuse a stream that declares more than the limits; where it breaks off, what is before counts."""
    import pyarrow as pa

    _to_start(source)
    rows = 0
    try:
        for message in pa.ipc.MessageReader.open_stream(source):
            rows += check_message(message, rows, channels, task.limits)
    except (pa.ArrowException, OSError, struct.error, IndexError):
        return


def _gather(gathering: Gathering, source: Any, positions: list[int]) -> None:
    """Batch after batch until the stream ends or breaks."""
    import pyarrow as pa

    kept = sorted(positions)
    options = pa.ipc.IpcReadOptions(included_fields=kept)
    try:
        reader = pa.ipc.open_stream(source, options=options)
        while True:
            batch = reader.read_next_batch()
            arrays = [batch.column(kept.index(position)) for position in positions]
            gathering.add(arrays[0], arrays[1:])
    except (StopIteration, MemoryError) as error:
        if isinstance(error, MemoryError):
            raise
    except (pa.ArrowException, OSError, UnicodeDecodeError) as error:
        if gathering.rows == 0:
            raise _damaged(error) from error
        told = f"the stream breaks off after row {gathering.rows}; every whole block before was read"
        gathering.task.notes.add("cut_short", f"{told} ({shown(str(error), 120)}).")


def _damaged(error: Exception) -> InputError:
    told = shown(str(error), 200)
    return InputError(f"it is damaged: {told}.", mend="Copy or export the recording again.")
