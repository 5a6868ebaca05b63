"""What every format's writer is handed: columns in their units, time in seconds."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Any

from numpy.typing import NDArray

from spoolwright.core.measurement.recording import FloatArray


@dataclass(frozen=True)
class WrittenColumn:
    """A column as it will stand in the file."""

    name: str
    unit: str
    values: NDArray[Any]


@dataclass(frozen=True)
class Written:
    """A recording as it will stand in the file."""

    time: FloatArray
    columns: list[WrittenColumn]
    started_at: datetime | None
    attributes: dict[str, str]

    def facts(self) -> dict[str, str]:
        """Header facts, the start among them."""
        start = {"started_at": self.started_at.isoformat()} if self.started_at else {}
        return {**self.attributes, **start}


def arrow_array(values: NDArray[Any], kind: Any = None) -> Any:
    """A NumPy array as an Arrow array; `pyarrow.array` would import pandas wherever it is installed."""
    import pyarrow as pa

    kind = kind or (pa.float32() if values.dtype.itemsize == 4 else pa.float64())
    return pa.Array.from_buffers(kind, len(values), [None, pa.py_buffer(values)])
