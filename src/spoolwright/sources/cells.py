"""Numbers out of text cells, and what is told about the cells that hold none."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from spoolwright.core.measurement.recording import FloatArray
from spoolwright.sources.notes import Notes, shown

MISSING: Final = (
    "",
    "nan",
    "NaN",
    "NAN",
    "na",
    "NA",
    "n/a",
    "N/A",
    "#N/A",
    "null",
    "NULL",
    "none",
    "None",
    "-",
    "--",
    "---",
)
"""Cells that say that nothing was recorded; they become NaN without a note."""

_NUMBER: Final = r"^[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d{1,4})?$"
_MISSING: Final = f"^({'|'.join(MISSING)})$"
_SAMPLES: Final = 3


@dataclass
class OddCells:
    """Cells of one column that hold something else than a number: how many, where, and the first few."""

    count: int = 0
    first: int = 0
    last: int = 0
    samples: list[tuple[int, str]] = field(default_factory=list)

    def add(self, rows: np.ndarray[Any, Any], texts: list[str]) -> None:
        """Add cells at rows (counted from 0); `texts` holds the first few."""
        if rows.size == 0:
            return
        if self.count == 0:
            self.first = int(rows[0])
        self.count += int(rows.size)
        self.last = int(rows[-1])
        room = _SAMPLES - len(self.samples)
        self.samples += list(zip(rows[:room].tolist(), texts[:room], strict=False))

    def note(self, notes: Notes, heading: str, channel: str | None, kind: str = "number") -> None:
        """Tell of them, if there are any."""
        if not self.count:
            return
        cells = ", ".join(f"'{shown(text, 30)}' in row {row + 1}" for row, text in self.samples)
        more = f" and {self.count - len(self.samples)} more" if self.count > len(self.samples) else ""
        told = f"column '{shown(heading)}': {self.count} cell(s) hold no {kind}: {cells}{more}."
        notes.add("unread_cells", f"{told} They are left empty.", channel, (self.first, self.last))


def numbers_from_text(texts: Any, decimal: str, first_row: int, odd: OddCells) -> FloatArray:
    """Numbers of a string array; a cell that is no number becomes NaN and is added to `odd`.

    Parameters
    ----------
    texts : pyarrow array of strings
        Cells as they stand.
    decimal : str
        Decimal mark, `.` or `,`.
    first_row : int
        Row number of the first cell, counted from 0.
    odd : OddCells
        Collects the cells that hold no number.
    """
    import pyarrow as pa
    import pyarrow.compute as pc

    cells = pc.utf8_trim_whitespace(texts)
    if decimal == "." or not truths(pc.match_substring(cells, ".")).any():
        try:
            plain = cells if decimal == "." else pc.replace_substring(cells, ",", ".")
            return floats(pc.cast(plain, pa.float64()))
        except pa.ArrowInvalid:
            pass  # some cell is no number; find out which
    mark = r"\." if decimal == "." else ","
    is_number = pc.match_substring_regex(cells, _NUMBER.replace(r"\.", mark))
    kept = pc.if_else(is_number, cells, pa.nulls(len(cells), cells.type))
    if decimal == ",":
        kept = pc.replace_substring(kept, ",", ".")
    values = floats(pc.cast(kept, pa.float64()))
    is_missing = truths(pc.match_substring_regex(cells, _MISSING)) | truths(pc.is_null(cells))
    bad = np.flatnonzero(~truths(is_number) & ~is_missing)
    odd.add(bad + first_row, [str(texts[int(i)].as_py() or "") for i in bad[:_SAMPLES]])
    return values


def floats(array: Any) -> FloatArray:
    """A numeric Arrow array as float64, null as NaN; it may be a view that must not be written to.

    Arrow's own `to_numpy`, `scalar` and `fill_null` would import pandas wherever it is installed, which takes
    longer than the reading.
    """
    import pyarrow as pa
    import pyarrow.compute as pc

    if pa.types.is_boolean(array.type):
        array = pc.cast(array, pa.uint8())
    if not pa.types.is_float64(array.type):
        array = pc.cast(array, pa.float64(), safe=False)
    values: FloatArray = unmasked(array)
    return np.where(truths(pc.is_valid(array)), values, np.nan) if array.null_count else values


def truths(array: Any) -> NDArray[np.bool_]:
    """A boolean Arrow array, null as false."""
    import pyarrow as pa
    import pyarrow.compute as pc

    flags: NDArray[np.bool_] = unmasked(pc.cast(array, pa.uint8())).astype(np.bool_)
    return flags & truths(pc.is_valid(array)) if array.null_count else flags


def unmasked(array: Any) -> Any:
    """The bare numbers of a primitive Arrow array; where it is null they mean nothing."""
    import pyarrow as pa

    if len(array) == 0:
        return np.empty(0, dtype=array.type.to_pandas_dtype())
    bare = pa.Array.from_buffers(array.type, len(array), [None, array.buffers()[1]], 0, array.offset)
    return np.from_dlpack(bare)


def joined(blocks: list[list[FloatArray]]) -> list[FloatArray]:
    """Each channel's blocks as one array; blocks are let go one channel after another to save memory."""
    values = []
    for channel in blocks:
        values.append(np.concatenate(channel))
        channel.clear()
    return values
