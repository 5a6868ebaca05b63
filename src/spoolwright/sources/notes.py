"""What a reader notices, for the person and for the doubt checks; nothing is dropped without a note."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Final

from spoolwright.core.measurement.recording import SourceNote

NOTE_KINDS: Final[dict[str, str]] = {
    "unit_assumed": "the file gives no unit; the type file's unit was taken",
    "unit_ambiguous": "the unit leaves open whether the pressure is absolute or gauge",
    "unit_refused": "the unit is unknown or of another dimension; the channel was left out",
    "unit_overridden": "the channel map gives another unit than the file",
    "percent": "given in per cent of the type file's full scale",
    "unread_cells": "cells that hold no number; they are NaN in the recording",
    "not_numbers": "a column of another kind than numbers; the channel was left out",
    "unused_columns": "columns that belong to no channel",
    "channel_map": "an entry of the channel map that no column of this file answers to",
    "rows_left_out": "rows that could not be placed (fields missing, no readable time)",
    "cut_short": "the file ends in the middle; everything whole before the cut was read",
    "encoding": "a text file that is not UTF-8",
    "time_zone": "time stamps without a zone; the start in UTC is unknown",
    "midnight": "the time of day passes midnight; the clock was carried on into the next day",
    "time_bases": "channels recorded on different clocks or at different rates were brought onto one",
    "attributes": "header lines beyond what is kept",
}
"""Every kind of note a reader writes, and what it means."""


def shown(text: str, length: int = 60) -> str:
    """A text from a file made safe to print: control characters replaced, long ones cut."""
    clean = "".join(c if c.isprintable() else "?" for c in text[: length + 1])
    return clean if len(clean) <= length else clean[:length] + "…"


def listed(names: list[str], most: int = 20) -> str:
    """Names for a sentence, at most so many."""
    head = ", ".join(f"'{shown(n)}'" for n in names[:most])
    return head if len(names) <= most else f"{head} and {len(names) - most} more"


@dataclass
class Notes:
    """The notes of one reading, in the order in which they arose."""

    taken: list[SourceNote] = field(default_factory=list)

    def add(
        self, kind: str, text: str, channel: str | None = None, rows: tuple[int, int] | None = None
    ) -> None:
        """Note something; `rows` counts from 0 in the recording, both ends included."""
        self.taken.append(SourceNote(kind, channel, rows, text))
