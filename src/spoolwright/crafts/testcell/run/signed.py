"""Signed corrections of recorded data, applied. The recording as it was stays beside the corrected one."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from spoolwright.core.gas.atmosphere import standard_pressure
from spoolwright.core.measurement.recording import Recording, Series
from spoolwright.crafts.testcell.run_sheet import SignedCorrection
from spoolwright.crafts.typefile.lookup import percent_to_inner
from spoolwright.crafts.typefile.model import Channel, TypeFile
from spoolwright.errors import InputError
from spoolwright.units import Unit, unit_of

FloatArray = NDArray[np.float64]

HEIGHTS = {"m": 1.0, "altitude_m": 1.0, "ft": 0.3048, "altitude_ft": 0.3048}
"""Units of a pressure altitude that stands where a pressure should, in metres."""


def apply_corrections(
    recording: Recording, corrections: Sequence[SignedCorrection], type_file: TypeFile
) -> Recording:
    """The recording with the corrections that people signed, in the order of the sheet.

    Rows outside a correction's times, and every channel nobody named, stay as they are; the given recording
    is not touched. A correction of a channel that was not recorded is a mistake of the sheet.
    """
    series = dict(recording.series)
    for correction in corrections:
        channel = _channel(correction, correction.channel, type_file, series)
        rows = _rows(correction, recording.time)
        if correction.kind == "swap_with":
            _swap(series, channel, _other(correction, channel, type_file, series), rows)
        else:
            old = series[channel.id]
            values = old.values.copy()
            values[rows] = _KINDS[correction.kind](correction, channel, old, values[rows])
            series[channel.id] = replace(old, values=values)
    return replace(recording, series=series)


def corrected_channels(corrections: Sequence[SignedCorrection]) -> frozenset[str]:
    """Channels whose recorded values a signed correction changes."""
    named = {c.channel for c in corrections}
    return frozenset(named | {c.other for c in corrections if c.kind == "swap_with" and c.other})


def _where(correction: SignedCorrection) -> str:
    return f"run sheet, correction of '{correction.channel}' signed by {correction.signed_by}"


def _channel(
    correction: SignedCorrection, name: str, type_file: TypeFile, series: dict[str, Series]
) -> Channel:
    channel = next((c for c in type_file.channel if c.id == name), None)
    if channel is None or name not in series:
        what = "is not in the type file" if channel is None else "was not recorded in this run"
        raise InputError(
            f"channel '{name}' {what}.",
            where=_where(correction),
            mend="Name a recorded channel by its identifier in the type file.",
        )
    return channel


def _other(
    correction: SignedCorrection, channel: Channel, type_file: TypeFile, series: dict[str, Series]
) -> Channel:
    if correction.other is None:
        raise InputError(
            "a swap names no other channel.", where=_where(correction), mend="Add other = CHANNEL."
        )
    other = _channel(correction, correction.other, type_file, series)
    if other.dimension != channel.dimension:
        raise InputError(
            f"'{channel.id}' is a {channel.dimension} and '{other.id}' a {other.dimension}: they cannot have "
            "been swapped.",
            where=_where(correction),
            mend="Name the channel it was swapped with.",
        )
    return other


def _rows(correction: SignedCorrection, time: FloatArray) -> NDArray[np.bool_]:
    if correction.from_s is None and correction.to_s is None:
        return np.ones(time.size, dtype=bool)
    low = -np.inf if correction.from_s is None else correction.from_s
    high = np.inf if correction.to_s is None else correction.to_s
    return np.asarray((time >= low) & (time <= high))


def _swap(series: dict[str, Series], a: Channel, b: Channel, rows: NDArray[np.bool_]) -> None:
    one, two = series[a.id], series[b.id]
    first, second = one.values.copy(), two.values.copy()
    first[rows], second[rows] = two.values[rows], one.values[rows]
    if rows.all():
        series[a.id] = replace(two, channel=a.id, values=first)
        series[b.id] = replace(one, channel=b.id, values=second)
    else:
        series[a.id], series[b.id] = replace(one, values=first), replace(two, values=second)


def _as_written(channel: Channel, series: Series, values: FloatArray) -> FloatArray:
    """The numbers as they stand in the file, from the inner values."""
    unit = unit_of(series.entered_unit or channel.unit, channel.dimension)
    return (values - unit.offset) / unit.factor


def _unit_is(
    correction: SignedCorrection, channel: Channel, series: Series, values: FloatArray
) -> FloatArray:
    name = (correction.unit or "").strip()
    if not name:
        raise InputError("no unit is given.", where=_where(correction), mend='Add unit = "…".')
    written = _as_written(channel, series, values)
    if name in HEIGHTS and channel.dimension == "pressure":
        return np.asarray(standard_pressure(written * HEIGHTS[name]), dtype=float)
    if name in ("%", "percent") and channel.dimension != "ratio":
        full = percent_to_inner(channel, 100.0)
        return written / 100.0 * full
    unit = unit_of(name, channel.dimension)
    return written * unit.factor + unit.offset


def _amount(correction: SignedCorrection) -> float:
    if correction.amount is None:
        raise InputError(
            f"kind '{correction.kind}' gives no amount.", where=_where(correction), mend="Add amount = …."
        )
    return correction.amount


def _own_unit(channel: Channel) -> Unit:
    return unit_of(channel.unit, channel.dimension)


def _add(correction: SignedCorrection, channel: Channel, series: Series, values: FloatArray) -> FloatArray:
    return values + _amount(correction) * _own_unit(channel).factor


def _multiply(
    correction: SignedCorrection, channel: Channel, series: Series, values: FloatArray
) -> FloatArray:
    offset = _own_unit(channel).offset
    return (values - offset) * _amount(correction) + offset


def _leave_out(
    correction: SignedCorrection, channel: Channel, series: Series, values: FloatArray
) -> FloatArray:
    return np.full(values.shape, np.nan)


_KINDS: dict[str, Callable[[SignedCorrection, Channel, Series, FloatArray], FloatArray]] = {
    "unit_is": _unit_is,
    "add": _add,
    "multiply": _multiply,
    "leave_out": _leave_out,
}
