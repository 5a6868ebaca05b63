"""What Parquet and Arrow files share: columns from a schema, numbers and time from Arrow arrays."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from spoolwright.core.measurement.recording import FloatArray
from spoolwright.errors import InputError
from spoolwright.sources.cells import OddCells, floats, joined, numbers_from_text
from spoolwright.sources.clock import TimeBase, time_from_numbers, time_from_stamps, time_from_text
from spoolwright.sources.columns import Column, Plan, column_from
from spoolwright.sources.loaded import Loaded, Task, header_facts
from spoolwright.sources.notes import shown


def schema_columns(schema: Any) -> list[Column]:
    """Columns of an Arrow schema; a unit may stand in the name, in the field's metadata, or in both alike."""
    return [column_from(i, schema.field(i).name, _unit(schema.field(i))) for i in range(len(schema))]


def _unit(field: Any) -> str:
    metadata = field.metadata or {}
    for key in (b"unit", b"units"):
        if key in metadata:
            return str(metadata[key].decode("utf-8", "replace"))
    return ""


def schema_facts(schema: Any, task: Task) -> dict[str, str]:
    """Header facts from a schema's metadata, without what libraries keep there for themselves."""
    pairs = [
        (k.decode("utf-8", "replace"), v.decode("utf-8", "replace"))
        for k, v in (schema.metadata or {}).items()
    ]
    return header_facts([p for p in pairs if p[0] != "pandas" and not p[0].startswith("ARROW:")], task.notes)


def is_text(kind: Any) -> bool:
    """Whether an Arrow type is text, dictionary-coded or not."""
    import pyarrow.types as t

    kind = kind.value_type if t.is_dictionary(kind) else kind
    return bool(t.is_string(kind) or t.is_large_string(kind) or t.is_string_view(kind))


def _is_number(kind: Any) -> bool:
    import pyarrow.types as t

    kind = kind.value_type if t.is_dictionary(kind) else kind
    return bool(t.is_integer(kind) or t.is_floating(kind) or t.is_boolean(kind) or t.is_decimal(kind))


def readable(plan: Plan, schema: Any, task: Task) -> Plan:
    """The plan without columns whose type holds no numbers; each is noted."""
    kept = []
    for taken in plan.taken:
        kind = schema.field(taken.column.position).type
        if _is_number(kind) or is_text(kind):
            kept.append(taken)
        else:
            told = f"column '{shown(taken.column.heading)}' holds {shown(str(kind))}, not numbers: left out."
            task.notes.add("not_numbers", told, taken.channel)
    return Plan(plan.time, plan.time_unit, tuple(kept))


@dataclass
class Gathering:
    """Batches turned into columns of numbers as they come."""

    task: Task
    plan: Plan
    facts: dict[str, str]
    rows: int = 0
    times: list[Any] = field(default_factory=list)
    blocks: list[list[FloatArray]] = field(default_factory=list)
    odd: list[OddCells] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.blocks = [[] for _ in self.plan.taken]
        self.odd = [OddCells() for _ in self.plan.taken]

    def add(self, time: Any, columns: Sequence[Any]) -> None:
        """Add the arrays of one batch, in the order of the plan."""
        import pyarrow as pa

        for array in (time, *columns):
            array.validate(full=True)  # damaged codes or offsets may point anywhere
            if len(array) != len(time):
                raise pa.ArrowInvalid(f"columns of {len(time)} and {len(array)} rows in one batch")
        for block, odd, column in zip(self.blocks, self.odd, columns, strict=True):
            block.append(_numbers(column, self.rows, odd))
        self.times.append(_plain(time))
        self.rows += len(time)
        self.task.limits.check_values(self.rows, len(self.plan.taken))

    def loaded(self) -> Loaded:
        """All that was gathered."""
        if self.rows == 0:
            raise InputError("it holds no rows.", mend="Export it again.")
        for taken, odd in zip(self.plan.taken, self.odd, strict=True):
            odd.note(self.task.notes, taken.column.heading, taken.channel)
        return Loaded(self.plan, _time(self), joined(self.blocks), self.facts)


def _plain(array: Any) -> Any:
    """An array without dictionary coding."""
    import pyarrow as pa

    return array.dictionary_decode() if pa.types.is_dictionary(array.type) else array


def _numbers(array: Any, first_row: int, odd: OddCells) -> FloatArray:
    """Numbers of an Arrow array; text is read with a decimal point, each distinct text once."""
    import pyarrow as pa

    if not is_text(array.type):
        return floats(_plain(array))
    coded = array if pa.types.is_dictionary(array.type) else array.cast(pa.string()).dictionary_encode()
    words = coded.dictionary.cast(pa.string())
    bad = OddCells()
    values = np.append(numbers_from_text(words, ".", 0, bad), np.nan)
    codes = np.where(np.isnan(floats(coded.indices)), len(words), floats(coded.indices)).astype(np.int64)
    if bad.count:
        wrong = np.flatnonzero(np.isnan(values)[codes])
        texts = [str(array[int(i)].as_py() or "") for i in wrong[:3]]
        odd.add(wrong + first_row, texts)
    return np.asarray(values[codes], dtype=np.float64)


def _time(gathering: Gathering) -> TimeBase:
    import pyarrow as pa
    import pyarrow.compute as pc
    import pyarrow.types as t

    plan, task = gathering.plan, gathering.task
    assert plan.time is not None
    array = pa.chunked_array(gathering.times).combine_chunks()
    heading, kind, zone = plan.time.heading, array.type, task.zone(gathering.facts)
    if t.is_timestamp(kind):
        return time_from_stamps(array, zone, task.notes)
    if t.is_duration(kind):
        per_second = {"s": 1, "ms": 1000, "us": 10**6, "ns": 10**9}[kind.unit]
        return TimeBase(floats(pc.cast(array, pa.int64())) / per_second)
    if t.is_time(kind):
        return time_from_text(pc.cast(array, pa.string()), heading, zone, task.notes)
    if is_text(kind):
        return time_from_text(array.cast(pa.string()), heading, zone, task.notes)
    if not _is_number(kind):
        raise InputError(f"time column '{shown(heading)}' holds {shown(str(kind))}, which is no time.")
    return time_from_numbers(floats(array), plan.time_unit, heading, task.notes)
