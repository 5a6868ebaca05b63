"""What physics says of a recording, in plain words: what, where, when, how to mend it, how likely it is."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from spoolwright.core.reduction.doubt.compare import Cause
from spoolwright.crafts.testcell.doubt.channels import Look
from spoolwright.crafts.testcell.doubt.draft import Draft, Kind, called, clock, shown
from spoolwright.crafts.testcell.doubt.physics import Doubted, Physics, Suspect
from spoolwright.crafts.testcell.wording import joined, percent
from spoolwright.crafts.typefile.model import Channel

FloatArray = NDArray[np.float64]

_SPOKEN_UNITS = {
    "altitude_m": "as pressure altitude in metres", "altitude_ft": "as pressure altitude in feet",
    "%": "in per cent of full scale", "1": "as a plain fraction",
}  # fmt: skip
_WORTH_TELLING = 0.1
_CHECKS = {
    "torque": "its zero at standstill, and dead weights on the arm or the dynamometer beside it",
    "dynamometer_torque": "its zero at standstill, then dead weights on the arm, both ways",
    "gas_generator_speed": "a second pickup or a hand-held counter; the tooth count in the set-up",
    "power_turbine_speed": "a second pickup or a hand-held counter; the tooth count in the set-up",
    "measured_gas_temperature": "a cold-soaked engine before start: it must read ambient; then each probe",
    "probe": "a cold-soaked engine before start: it must read ambient; then its resistance",
    "compressor_discharge_temperature": "a cold-soaked engine before start: it must read ambient",
    "exhaust_temperature": "a cold-soaked engine before start: it must read ambient",
    "ambient_temperature": "a second thermometer beside it, in the shade",
    "inlet_temperature": "a cold-soaked engine before start: it must read the same as the ambient probe",
    "ambient_pressure": "the airfield's station pressure, or a second barometer",
    "inlet_pressure": "the engine at rest: it must read the barometer's pressure",
    "exhaust_pressure": "the engine at rest: it must read the barometer's pressure",
    "compressor_discharge_pressure": "the engine at rest: it must read the barometer's pressure",
    "interturbine_pressure": "the engine at rest: it must read the barometer's pressure",
    "fuel_mass_flow": "fuel off: it must read zero; then fuel weighed over a timed run",
    "fuel_volume_flow": "fuel off: it must read zero; then fuel weighed over a timed run",
    "fuel_temperature": "the tank's thermometer, or a hand-held one on the pipe",
    "relative_humidity": "a whirled wet and dry bulb beside it",
    "vane_angle": "the protractor on the vane ring at both stops",
}  # fmt: skip
"""The cheapest look that would tell whether a channel of this role is the wrong one."""


def physics_drafts(look: Look, physics: Physics) -> list[Draft]:
    """Findings from physics, most certain first within each comparison."""
    out = [_one(look, d) if d.alone else _several(look, d) for d in physics.doubted]
    if physics.misfit:
        out.append(_unexplained(look))
    return out


def _one(look: Look, doubted: Doubted) -> Draft:
    suspect = doubted.suspects[0]
    cause, mistake = suspect.cause, suspect.mistake
    if mistake is not None and mistake.kind == "swapped":
        return _swapped(look, suspect)
    if mistake is not None and mistake.kind == "wrong_unit":
        return _wrong_unit(look, suspect)
    return _free(look, doubted, suspect, cause, reversed_wires=mistake is not None)


def _channel(look: Look, suspect: Suspect) -> Channel:
    return look.channels[suspect.channels[0]]


def _reads_and_should(look: Look, channel: Channel, expected: FloatArray) -> str:
    """What a channel reads against what the others call for, at the level where it reads most."""
    read, _ = look.level_values(channel.id)
    good = np.flatnonzero(np.isfinite(read) & np.isfinite(expected))
    if good.size == 0:
        return ""
    at = int(good[int(np.argmax(np.abs(expected[good] - channel_zero(look, channel))))])
    return (
        f"at {clock(look.levels[at].middle)} it reads {shown(channel, float(read[at]))}; the other channels "
        f"and the engine model call for {shown(channel, float(expected[at]))}"
    )


def channel_zero(look: Look, channel: Channel) -> float:
    """Inner value at which a channel's own unit reads zero."""
    return look.inner(channel, 0.0)


def _surely(probability: float) -> str:
    return "almost certainly" if probability > 0.99 else "probably"


def _wrong_unit(look: Look, suspect: Suspect) -> Draft:
    mistake = suspect.mistake
    assert mistake is not None
    channel = _channel(look, suspect)
    names = joined([called(look.channels[c]) for c in suspect.channels])
    unit = _SPOKEN_UNITS.get(mistake.unit, f"in {mistake.unit}")
    verb = "are" if len(suspect.channels) > 1 else "is"
    reads = _reads_and_should(look, channel, suspect.expected[channel.id])
    text = (
        f"{names} {verb} {_surely(suspect.probability)} written {unit}, not in {mistake.label} as read: "
        f"{reads}. Probability that it is the wrong one: {percent(suspect.probability)}."
    )
    doubtful = _mistake_doubt(suspect) + _besides(suspect)
    mend = f"Check unit and scaling in the channel's set-up. {mistake.to_sign()}"
    return Draft("wrong_unit", suspect.channels, text + doubtful, mend, True, probability=suspect.probability)


def _mistake_doubt(suspect: Suspect) -> str:
    if suspect.share > 0.8:
        return ""
    return f" That it is this mistake and no other of the channel: {percent(suspect.share)}."


def _besides(suspect: Suspect) -> str:
    """Another mistake of the same channel that would explain it nearly as well."""
    if suspect.else_mistake is None or suspect.else_mistake[1] < _WORTH_TELLING:
        return ""
    mistake, share = suspect.else_mistake
    unit = _SPOKEN_UNITS.get(mistake.unit, f"in {mistake.unit}")
    return f" It may also be written {unit} ({percent(share)})." if mistake.unit else ""


def _swapped(look: Look, suspect: Suspect) -> Draft:
    a, b = (look.channels[c] for c in suspect.channels)
    reads = [_reads_and_should(look, c, suspect.expected[c.id]) for c in (a, b)]
    text = (
        f"{called(a)} and {called(b)} are {_surely(suspect.probability)} swapped: '{a.id}': {reads[0]}; "
        f"'{b.id}': {reads[1]}. Probability: {percent(suspect.probability)}."
    )
    mend = (
        f"Check wiring and channel names. If it holds, sign the correction "
        f'channel = "{a.id}", kind = "swap_with", other = "{b.id}".'
    )
    return Draft("swapped", suspect.channels, text, mend, True, probability=suspect.probability)


def _free(look: Look, doubted: Doubted, suspect: Suspect, cause: Cause, *, reversed_wires: bool) -> Draft:
    channel = _channel(look, suspect)
    role = next(s.role for s in doubted.readings.sensors if s.channel == channel.id)
    what = "falls as it should rise: its wires are the wrong way round" if reversed_wires else ""
    kind, how, since = ("bias", what, None) if reversed_wires else _how(look, channel, cause)
    text = (
        f"{called(channel)} {_surely(suspect.probability)} {how}: "
        f"{_reads_and_should(look, channel, suspect.expected[channel.id])}. "
        f"Probability that it is the wrong one: {percent(suspect.probability)}."
    )
    mend = (
        f"Cheapest check: {_CHECKS.get(role, 'a second instrument beside it')}. {_sign_away(channel, since)}"
    )
    return Draft(kind, suspect.channels, text, mend, True, from_s=since, probability=suspect.probability)


def _how(look: Look, channel: Channel, cause: Cause) -> tuple[Kind, str, float | None]:
    """Kind, words and begin of a free error."""
    size = shown(channel, abs(cause.amount), difference=True) if cause.kind != "gain" else ""
    high = "too high" if cause.amount > 0.0 else "too low"
    if cause.kind == "offset":
        return "bias", f"reads {size} {high} at every level", None
    if cause.kind == "gain":
        return "bias", f"reads {100.0 * abs(cause.amount):.2g} % {high}", None
    level = look.levels[cause.since]
    if cause.kind == "step":
        return "bias", f"reads {size} {high} from about {clock(level.from_s)} on", level.from_s
    hours = max(look.levels[-1].middle - look.levels[0].middle, 1.0) / 3600.0
    rate = shown(channel, abs(cause.amount) / hours, difference=True)
    away = "upwards" if cause.amount > 0.0 else "downwards"
    return "drift", f"drifts {away} by about {rate} an hour from {clock(level.from_s)} on", level.from_s


def _sign_away(channel: Channel, since: float | None) -> str:
    begin = f", from_s = {since:.1f}" if since is not None else ""
    return (
        f'If the check shows the amount, sign a correction of kind "add" or "multiply"{begin}; else leave '
        f'the channel out (channel = "{channel.id}", kind = "leave_out"{begin}) or repeat the points.'
    )


def _several(look: Look, doubted: Doubted) -> Draft:
    """Physics tells that something is wrong, but not which of a few it is."""
    roles = {s.channel: s.role for s in doubted.readings.sensors}
    channels = tuple(dict.fromkeys(c for s in doubted.suspects for c in s.channels))
    each = joined([f"'{'/'.join(s.channels)}' {percent(s.probability)}" for s in doubted.suspects])
    first = doubted.suspects[0]
    channel = _channel(look, first)
    text = (
        f"{joined([called(look.channels[c]) for c in channels])} contradict each other: '{channel.id}' "
        f"{_reads_and_should(look, channel, first.expected[channel.id])}. "
        f"The readings cannot tell which is wrong: {each}."
    )
    checks = dict.fromkeys(_CHECKS.get(roles[c], "a second instrument beside it") for c in channels)
    mend = f"Cheapest check: {next(iter(checks))}. Then sign a correction of the one that is wrong."
    return Draft("disagreement", channels, text, mend, True, probability=first.probability)


def _unexplained(look: Look) -> Draft:
    """The readings contradict each other beyond any single explanation."""
    channels = tuple(c.id for c in look.channels.values() if c.role != "other")
    text = (
        "The readings of the gas path contradict each other and the engine model, and no single "
        "wrong channel or worn module explains it: several channels may be wrong, or type file or "
        "sheet are of another engine."
    )
    mend = "Check that type file and sheet are of this engine, then zeros and units of all channels at rest."
    return Draft("disagreement", channels, text, mend, True)


def unit_drafts(look: Look, physics: Physics, named: Mapping[str, Draft]) -> list[Draft]:
    """Units that the file did not give, or left open; physics tells whether the one taken fits."""
    out = []
    for note in look.recording.notes:
        if note.kind not in ("unit_assumed", "unit_ambiguous") or note.channel not in look.channels:
            continue
        channel = look.channels[note.channel]
        if channel.id in named:
            continue
        wrong = physics.agreed.get(channel.id)
        fits = wrong is not None and wrong < 1.0 - 0.95
        if fits and wrong is not None:
            tail = f" The other channels agree with it (probability {percent(1.0 - wrong)})."
        else:
            tail = " No other channel can confirm it."
        mend = (
            "Write the unit into the file or the channel map, or sign "
            f'channel = "{channel.id}", kind = "unit_is", unit = "{channel.unit}".'
        )
        bars = channel.required and not fits and channel.dimension != "state"
        out.append(Draft("unlabelled_unit", (channel.id,), note.text + tail, mend, bars))
    return out
