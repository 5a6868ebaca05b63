"""A recording in memory: what every source delivers and every later step reads. Pure data."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]


@dataclass(frozen=True)
class Series:
    """One recorded channel.

    Parameters
    ----------
    channel : str
        Channel identifier of the type file [-].
    values : array, shape (rows,)
        Values in the channel's inner unit (K, Pa, rpm, N m, W, kg/s, m/s, ...);
        NaN where nothing was recorded [inner].
    entered_name : str
        Name as it stands in the file [-].
    entered_unit : str
        Unit as it stands in the file; the master unit for display. Empty when the file gave none [-].
    inner_unit : str
        Unit of `values` [-].
    unit_source : str
        "file", "channel map", "type file" (file gave none; the type file's unit was assumed and a
        finding says so) [-].
    """

    channel: str
    values: FloatArray
    entered_name: str
    entered_unit: str
    inner_unit: str
    unit_source: str = "file"


@dataclass(frozen=True)
class SourceNote:
    """Something seen while reading that a person should know (a skipped column, a bad cell, a cut file)."""

    kind: str
    channel: str | None
    rows: tuple[int, int] | None
    text: str


@dataclass(frozen=True)
class Recording:
    """A run as recorded.

    Parameters
    ----------
    time : array, shape (rows,)
        Seconds since the first row exactly as recorded; it may repeat or run backwards [s].
    series : dict
        Channel identifier to `Series` [-].
    started_at : datetime or None
        UTC time of the first row, where the file tells it [-].
    source_name : str
        File name without folders [-].
    source_sha256 : str
        Hash of the file's bytes [-].
    attributes : dict
        Header facts found in the file: engine serial, cell, operator, fuel batch, ... [-].
    notes : list
        What the reader noticed [-].
    """

    time: FloatArray
    series: dict[str, Series]
    started_at: datetime | None
    source_name: str
    source_sha256: str
    attributes: dict[str, str] = field(default_factory=dict)
    notes: tuple[SourceNote, ...] = ()

    def __contains__(self, channel: str) -> bool:
        return channel in self.series

    def __getitem__(self, channel: str) -> FloatArray:
        return self.series[channel].values

    @property
    def rows(self) -> int:
        """Number of rows."""
        return int(self.time.size)
