"""Time columns: seconds, ISO 8601 time stamps, time of day."""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta, timezone
from typing import Any, Final

import numpy as np

from spoolwright.core.measurement.recording import FloatArray
from spoolwright.errors import InputError
from spoolwright.sources.cells import OddCells, floats, truths, unmasked
from spoolwright.sources.notes import Notes, shown

_OFFSET: Final = r"(Z|[+-]\d{2}(:?\d{2})?)"
_STAMP: Final = rf"^\d{{4}}-\d{{2}}-\d{{2}}[T ]\d{{2}}:\d{{2}}(:\d{{2}}([.,]\d{{1,9}})?)?{_OFFSET}?$"
_ZONED: Final = rf"{_OFFSET}$"
_TIME_OF_DAY: Final = r"^(?P<h>\d{1,4}):(?P<m>[0-5]\d):(?P<s>[0-5]\d(?:[.,]\d{1,9})?)$"
_ZONE: Final = re.compile(r"^(?:UTC|Z|([+-])(\d{2}):?(\d{2}))$")
_EPOCH: Final = datetime(1970, 1, 1, tzinfo=UTC)
_DAY: Final = 86400.0
_PAST_MIDNIGHT: Final = 23 * 3600.0
"""A fall of the clock by more than this is midnight, not a clock set back [s]."""


@dataclass(frozen=True)
class TimeBase:
    """Seconds on the file's own count, NaN where a row has no readable time; UTC at zero where it tells."""

    seconds: FloatArray
    zero_at: datetime | None = None


def zone_from(text: str) -> timezone:
    """A fixed zone from `UTC` or `+01:00`."""
    match = _ZONE.match(text.strip())
    if match is None:
        raise InputError(f"time zone '{shown(text)}' is not known.", mend="Write UTC or an offset as +01:00.")
    if match[1] is None:
        return UTC
    offset = timedelta(hours=int(match[2]), minutes=int(match[3]))
    if offset >= timedelta(hours=24):
        raise InputError(
            f"time zone '{shown(text)}' is a day or more off.", mend="Write an offset as +01:00."
        )
    return timezone(offset if match[1] == "+" else -offset)


def moment_from(text: str) -> datetime | None:
    """A time stamp with its zone, as UTC; None when it is no time stamp or names no zone."""
    try:
        moment = datetime.fromisoformat(text.strip())
        return moment.astimezone(UTC) if moment.tzinfo else None
    except (ValueError, OverflowError):
        return None


def time_from_numbers(values: FloatArray, unit: str, heading: str, notes: Notes) -> TimeBase:
    """Time given as a number in a unit of time; seconds where the file gives none, with a note."""
    from spoolwright.units import unit_of

    if not unit:
        notes.add("unit_assumed", f"time column '{shown(heading)}' gives no unit; read as s.", None)
    with np.errstate(over="ignore", invalid="ignore"):
        seconds = values * unit_of(unit or "s", "time").factor
    seconds[~np.isfinite(seconds)] = np.nan
    return TimeBase(seconds)


def time_from_text(texts: Any, heading: str, zone: str, notes: Notes) -> TimeBase:
    """Time given as text: ISO 8601 time stamps, or time of day hh:mm:ss; the first cell tells which.

    Raises
    ------
    InputError
        When the first cell is neither; the message shows it.
    """
    import pyarrow.compute as pc

    cells = pc.utf8_trim_whitespace(texts)
    first = next((str(c) for c in cells.slice(0, 100) if c.is_valid and str(c)), "")
    odd = OddCells()
    if re.match(_TIME_OF_DAY, first):
        base = TimeBase(_carried_over_midnight(_time_of_day(cells, odd), notes))
    elif re.match(_STAMP, first):
        base = _stamps(cells, bool(re.search(_ZONED, first[10:])), zone, odd, notes)
    else:
        raise InputError(
            f"time column '{shown(heading)}' begins with '{shown(first)}', which is no time.",
            mend="Write seconds, hh:mm:ss or ISO 8601 stamps such as 2026-03-01T10:00:00.05Z.",
        )
    odd.note(notes, heading, None, "time")
    return base


def _time_of_day(cells: Any, odd: OddCells) -> FloatArray:
    import pyarrow as pa
    import pyarrow.compute as pc

    parts = pc.extract_regex(cells, _TIME_OF_DAY)
    texts = (pc.replace_substring(pc.struct_field(parts, name), ",", ".") for name in "hms")
    h, m, s = (floats(pc.cast(text, pa.float64())) for text in texts)
    total = np.asarray(h * 3600 + m * 60 + s, dtype=np.float64)
    _add_odd(cells, np.isnan(total), odd)
    return total


def _carried_over_midnight(seconds: FloatArray, notes: Notes) -> FloatArray:
    known = np.flatnonzero(np.isfinite(seconds))
    falls = np.diff(seconds[known], prepend=seconds[known[:1]]) < -_PAST_MIDNIGHT
    seconds[known] += _DAY * np.cumsum(falls)
    if falls.any():
        row = int(known[np.argmax(falls)])
        notes.add(
            "midnight", f"the time of day passes midnight in row {row + 1}; time runs on.", None, (row, row)
        )
    return seconds


def _stamps(cells: Any, zoned: bool, zone: str, odd: OddCells, notes: Notes) -> TimeBase:
    """ISO 8601 stamps; all must carry a zone, or none, as the first does."""
    import pyarrow as pa
    import pyarrow.compute as pc

    has_zone = pc.match_substring_regex(pc.utf8_slice_codeunits(cells, 10), _ZONED)
    alike = pc.and_(pc.match_substring_regex(cells, _STAMP), has_zone if zoned else pc.invert(has_zone))
    kept = pc.replace_substring(pc.if_else(alike, cells, pa.nulls(len(cells), cells.type)), ",", ".")
    kind = pa.timestamp("ns", "UTC" if zoned else None)
    try:
        stamps = pc.cast(kept, kind)
    except pa.ArrowInvalid:  # a stamp of the right form that names no real time, as the 31st of June
        stamps = pa.array([_real_stamp(c.as_py()) for c in kept], kind)
    base = time_from_stamps(stamps, zone, notes)
    _add_odd(cells, np.isnan(base.seconds), odd)
    return base


def _real_stamp(text: str | None) -> datetime | None:
    try:
        moment = datetime.fromisoformat(text) if text else None
    except ValueError:
        return None
    return moment if moment is None or 1678 <= moment.year <= 2261 else None  # what 64 bits of ns can hold


def _add_odd(cells: Any, unread: np.ndarray[Any, Any], odd: OddCells) -> None:
    rows = np.flatnonzero(unread)
    odd.add(rows, [str(cells[int(i)].as_py() or "") for i in rows[:3]])


def time_from_stamps(stamps: Any, zone: str, notes: Notes) -> TimeBase:
    """Time given as an Arrow timestamp array; differences are taken in whole ticks, so nothing is rounded."""
    import pyarrow as pa
    import pyarrow.compute as pc

    ticks_per_second = {"s": 1, "ms": 1000, "us": 10**6, "ns": 10**9}[stamps.type.unit]
    valid = truths(pc.is_valid(stamps))
    seconds = np.full(len(stamps), np.nan)
    if not valid.any():
        return TimeBase(seconds)
    ticks = unmasked(pc.cast(stamps, pa.int64()))
    zero = int(ticks[valid][0])
    if int(ticks[valid].max()) - int(ticks[valid].min()) < 2**63:
        seconds[valid] = (ticks[valid] - zero) / ticks_per_second
    else:
        seconds[valid] = (ticks[valid].astype(np.float64) - zero) / ticks_per_second
    return TimeBase(seconds, _zero_at(zero, ticks_per_second, stamps.type.tz, zone, notes))


def _zero_at(zero: int, per_second: int, tz: str | None, zone: str, notes: Notes) -> datetime | None:
    try:
        micros = zero % per_second * 10**6 // per_second
        moment = _EPOCH + timedelta(seconds=zero // per_second, microseconds=micros)
        if zone and not tz:
            return moment.replace(tzinfo=zone_from(zone)).astimezone(UTC)
    except OverflowError:
        return None
    if tz:
        return moment
    stamp = moment.replace(tzinfo=None).isoformat()
    told = f"time stamps name no zone (the first is {stamp}), so the start in UTC is unknown."
    notes.add("time_zone", f'{told} State it in the channel map: [time] zone = "+01:00".')
    return None
