"""What the rows of a recording tell against themselves, as findings."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from spoolwright.core.measurement.recording import SourceNote
from spoolwright.core.reduction.doubt.clock import clock_signs
from spoolwright.core.reduction.doubt.scan import scan_channel
from spoolwright.core.reduction.doubt.signs import Sign
from spoolwright.crafts.testcell.doubt.channels import Look
from spoolwright.crafts.testcell.doubt.draft import Draft, called, clock, shown
from spoolwright.crafts.testcell.doubt.standstill import told_apart
from spoolwright.crafts.typefile.model import Channel

_HUMIDITY = ("relative_humidity", "dew_point", "wet_bulb")
_LONG_GAP_S = 10.0
"""A shorter gap costs a mean nothing; it is told and bars nothing [s]."""
_NOTE_KINDS = {
    "unit_refused": "missing", "not_numbers": "missing", "unread_cells": "unread_cells",
    "rows_left_out": "unread_cells", "midnight": "time_order",
}  # fmt: skip
_SPOKEN_OF_ELSEWHERE = ("unit_assumed", "unit_ambiguous")


def clock_drafts(look: Look) -> list[Draft]:
    """Doubts about the recorded clock; they concern every channel and name none."""
    time = look.recording.time
    return [_clock_draft(s, time) for s in clock_signs(time, look.forward)]


def _clock_draft(sign: Sign, time: np.ndarray) -> Draft:
    known = time[np.isfinite(time)]
    around = time[max(sign.first - 1, 0) : sign.last + 2]
    around = around[np.isfinite(around)] if np.isfinite(around).any() else known[:1]
    low, high = (float(around.min()), float(around.max())) if around.size else (0.0, 0.0)
    where = f"from {clock(low)} to {clock(high)}"
    repeat = "Check the logger; repeat the points that fall into this time."
    if sign.kind == "silence":
        text = f"Nothing was recorded {where}: the rows are {sign.value:.1f} s apart."
        return Draft("gap", (), text, repeat, sign.value > _LONG_GAP_S, low, high)
    if sign.kind == "repeated_time":
        text = f"The clock stands still at {clock(low)}: {sign.rows} rows repeat a time stamp."
    elif sign.kind == "backward_time":
        text = f"The clock runs back by up to {sign.value:.1f} s {where}: {sign.rows} rows are out of order."
    else:
        text = f"{sign.rows} rows have no readable time {where}."
    return Draft("time_order", (), text, repeat, True, low, high)


def missing_drafts(look: Look) -> list[Draft]:
    """Channels that the type asks for and the recording lacks."""
    recording = look.recording
    known = {c.id for c in look.type_file.channel}
    strays = sorted(set(recording.series) - known)
    hint = ""
    if strays:
        hint = f" Columns that belong to no channel: {', '.join(strays[:5])}; is it one of them?"
    humid = [c for c in look.type_file.channel if c.role in _HUMIDITY]
    damp = [c for c in humid if _recorded(look, c)]
    out = []
    if not damp:
        names = tuple(c.id for c in humid)
        text = "No humidity was recorded: neither relative humidity, dew point nor wet bulb."
        mend = "Record it, or have it measured and written on the sheet, before correcting for humidity."
        out.append(Draft("missing", names, text + hint, mend, bool(names)))
    for channel in look.type_file.channel:
        if channel.required and not _recorded(look, channel) and channel.role not in _HUMIDITY:
            empty = channel.id in recording.series
            what = "holds not one value" if empty else "was not recorded, and the type file requires it"
            mend = (
                f"Record it (column '{channel.id}' or an alias of it), or name its column in a channel map."
            )
            out.append(Draft("missing", (channel.id,), f"{called(channel)} {what}.{hint}", mend, True))
    return out


def _recorded(look: Look, channel: Channel) -> bool:
    series = look.recording.series.get(channel.id)
    return series is not None and bool(np.isfinite(series.values).any())


def scanned(look: Look) -> list[Sign]:
    """Signs in the rows of every channel of the type."""
    out: list[Sign] = []
    resting = look.resting
    for channel in look.channels.values():
        signs = scan_channel(channel.id, look.recording[channel.id], look.rules(channel), look.step, resting)
        out += _without_spiked([told_apart(look, s) for s in signs])
    return out


def _without_spiked(signs: list[Sign]) -> list[Sign]:
    """An implausible value that is a spike is told once."""
    spikes = [s for s in signs if s.kind == "spikes"]
    return [
        s
        for s in signs
        if not (s.kind == "implausible" and any(p.first <= s.first and s.last <= p.last for p in spikes))
    ]


def sign_draft(look: Look, sign: Sign) -> Draft | None:
    """A sign of one channel's rows as a finding."""
    if sign.kind not in _WORDS:
        return None
    low, high = span(look, sign)
    return _WORDS[sign.kind](look.channels[sign.channel], sign, low, high)


def span(look: Look, sign: Sign) -> tuple[float, float]:
    """Begin and end of a sign [s]; of the recording where its stamps cannot be read."""
    stamps = look.recording.time[[sign.first, sign.last]]
    if not np.all(np.isfinite(stamps)):
        stamps = look.time[[0, -1]] if look.time.size else np.zeros(2)
    return float(stamps.min()), float(stamps.max())


def _where(low: float, high: float) -> str:
    return f"from {clock(low)} to {clock(high)}"


def _leave_out(channel: Channel, low: float, high: float) -> str:
    return (
        f'Sign a correction that leaves the stretch out (channel = "{channel.id}", kind = "leave_out", '
        f"from_s = {low:.1f}, to_s = {high:.1f}) or repeat the points in it."
    )


def _stuck(channel: Channel, sign: Sign, low: float, high: float) -> Draft:
    text = (
        f"{called(channel)} stands at {shown(channel, sign.value)} {_where(low, high)} without moving by a "
        f"single digit over {sign.rows} rows; its usual noise does not allow that."
    )
    mend = f"Check sensor, wiring and data channel. {_leave_out(channel, low, high)}"
    return Draft("stuck", (channel.id,), text, mend, True, low, high)


def _constant(channel: Channel, sign: Sign, low: float, high: float) -> Draft:
    text = (
        f"{called(channel)} reads {shown(channel, sign.value)} in every row: it is stuck, typed in by "
        "hand, or recorded too coarsely."
    )
    mend = f"Check sensor, wiring and data channel. {_leave_out(channel, low, high)}"
    return Draft("stuck", (channel.id,), text, mend, True, low, high)


def _spikes(channel: Channel, sign: Sign, low: float, high: float) -> Draft:
    text = (
        f"{called(channel)} spikes in {sign.rows} rows {_where(low, high)}, furthest to "
        f"{shown(channel, sign.value)}, far beyond its noise and its neighbours."
    )
    mend = f"Check connectors, shielding and grounding. {_leave_out(channel, low, high)}"
    return Draft("spikes", (channel.id,), text, mend, True, low, high)


def _saturated(channel: Channel, sign: Sign, low: float, high: float) -> Draft:
    text = (
        f"{called(channel)} stands at the end of its instrument's range, {shown(channel, sign.value)}, in "
        f"{sign.rows} rows {_where(low, high)}: the true value lies beyond."
    )
    mend = f"Use an instrument of a wider range. {_leave_out(channel, low, high)}"
    return Draft("saturated", (channel.id,), text, mend, True, low, high)


def _clipped(channel: Channel, sign: Sign, low: float, high: float) -> Draft:
    text = (
        f"{called(channel)} reaches {shown(channel, sign.value)} in {sign.rows} rows {_where(low, high)} and "
        "never goes beyond: it is cut off there."
    )
    mend = f"Check the range of amplifier and data channel. {_leave_out(channel, low, high)}"
    return Draft("saturated", (channel.id,), text, mend, True, low, high)


def _gap(channel: Channel, sign: Sign, low: float, high: float) -> Draft:
    text = f"{called(channel)} holds no value {_where(low, high)} ({sign.rows} rows)."
    mend = "Check the data channel; repeat the points that fall into this time."
    return Draft("gap", (channel.id,), text, mend, high - low > _LONG_GAP_S, low, high)


def _unread(channel: Channel, sign: Sign, low: float, high: float) -> Draft:
    text = f"{called(channel)} holds no number in {sign.rows} rows scattered {_where(low, high)}."
    return Draft("unread_cells", (channel.id,), text, "Look at these cells of the file.", False, low, high)


def _implausible(channel: Channel, sign: Sign, low: float, high: float) -> Draft:
    text = (
        f"{called(channel)} reads {shown(channel, sign.value)} at its furthest, outside "
        f"{channel.plausible[0]:g} to {channel.plausible[1]:g} {channel.unit}, in {sign.rows} rows "
        f"{_where(low, high)}: no engine of this type can be there."
    )
    mend = f"Check the sensor, and the unit and name of its column. {_leave_out(channel, low, high)}"
    return Draft("implausible", (channel.id,), text, mend, True, low, high)


_WORDS = {
    "stuck": _stuck, "constant": _constant, "spikes": _spikes, "saturated": _saturated,
    "clipped": _clipped, "gap": _gap, "unread": _unread, "implausible": _implausible,
}  # fmt: skip


def note_drafts(notes: Sequence[SourceNote], time: np.ndarray) -> list[Draft]:
    """What the reader of the file noticed, save units that were assumed: physics has a say in those."""
    out = []
    for note in notes:
        if note.kind in _SPOKEN_OF_ELSEWHERE:
            continue
        low = high = None
        if note.rows is not None and time.size:
            a, b = (min(max(r, 0), time.size - 1) for r in note.rows)
            low, high = float(time[a]), float(time[b])
        kind = _NOTE_KINDS.get(note.kind, "note")
        channels = (note.channel,) if note.channel else ()
        mend = "Look at the file." if kind != "note" else "Nothing need be done if this is as intended."
        out.append(Draft(kind, channels, note.text, mend, False, low, high))  # type: ignore[arg-type]
    return out
