"""How large a recording may be before reading it is refused, so that no file can exhaust memory or time."""

from __future__ import annotations

from dataclasses import dataclass

from spoolwright.errors import InputError


@dataclass(frozen=True)
class Limits:
    """Bounds on what is read.

    Parameters
    ----------
    file_bytes : int
        Largest file.
    line_bytes : int
        Longest line of a text file, header included.
    columns : int
        Most columns a file may have, used or not.
    values : int
        Most values kept: rows times channels read. At 8 bytes each this bounds the memory.
    odd_rows : int
        Most rows of a text file with another number of fields than the header before the file is refused.
    """

    file_bytes: int = 8 * 2**30
    line_bytes: int = 2**20
    columns: int = 10_000
    values: int = 50_000_000
    odd_rows: int = 10_000

    @property
    def unpacked_bytes(self) -> int:
        """Most bytes that compressed data may unpack to at a time: two values' room for each value kept."""
        return 16 * self.values + 2**20

    def check_columns(self, count: int) -> None:
        """Refuse a file with too many columns."""
        if count > self.columns:
            raise InputError(
                f"it has {count} columns, the limit is {self.columns}.",
                mend="Export only the columns that the type file names.",
            )

    def check_values(self, rows: int, channels: int) -> None:
        """Refuse a recording that would not fit the stated memory."""
        if rows * max(channels, 1) > self.values:
            raise InputError(
                f"it holds {rows} rows of {channels} channels; the limit is {self.values} values in all.",
                mend="Split the recording into runs, or record at a lower rate.",
            )
