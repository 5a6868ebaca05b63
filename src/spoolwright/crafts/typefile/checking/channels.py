"""A channel's figures fit together, and every role that something rests on is there."""

from __future__ import annotations

from collections.abc import Iterator

from spoolwright.crafts.typefile.checking.context import Context
from spoolwright.crafts.typefile.checking.mistake import Mistake, Path
from spoolwright.crafts.typefile.model import Channel, Correction, Limit, ScheduleItem

_POWER = ("torque", "power_turbine_speed")
_AIR = ("inlet_temperature", "inlet_pressure")
_NEEDS: dict[str, tuple[str, ...]] = {
    "power_at_rated_mgt": (*_POWER, *_AIR, "measured_gas_temperature"),
    "mgt_at_rated_power": (*_POWER, *_AIR, "measured_gas_temperature"),
    "ng_at_rated_power": (*_POWER, *_AIR, "gas_generator_speed"),
    "sfc_at_rated_power": (*_POWER, *_AIR, "fuel_mass_flow"),
    "time_to_light_off": ("measured_gas_temperature", "gas_generator_speed"),
    "time_to_idle": ("gas_generator_speed",),
    "start_peak_mgt": ("measured_gas_temperature",),
    "acceleration_time": ("gas_generator_speed",),
    "deceleration_time": ("gas_generator_speed",),
    "coast_down_time": ("gas_generator_speed",),
    "governing_droop": ("power_turbine_speed",),
    "governing_hunting": ("power_turbine_speed",),
    "speed_undershoot": ("power_turbine_speed",),
    "speed_overshoot": ("power_turbine_speed",),
    "torque_conformation_difference": ("torque", "dynamometer_torque"),
    "mgt_trim_difference": ("measured_gas_temperature",),
}
"""Roles without which a derived quantity cannot be found."""

_STANDS_FOR: dict[str, tuple[tuple[str, ...], ...]] = {
    "torque": (("dynamometer_torque",),),
    "inlet_temperature": (("ambient_temperature",),),
    "inlet_pressure": (("ambient_pressure",),),
    "fuel_mass_flow": (("fuel_volume_flow", "fuel_temperature"),),
}
"""Other roles that give the same quantity."""

_SCHEDULE_NEEDS: dict[str, tuple[str, ...]] = {
    "start": ("gas_generator_speed", "measured_gas_temperature"),
    "idle": ("gas_generator_speed",),
    "hold": ("gas_generator_speed",),
    "acceleration": ("gas_generator_speed",),
    "deceleration": ("gas_generator_speed",),
    "governing": ("power_turbine_speed",),
    "coast_down": ("gas_generator_speed",),
}


def channel_figures(ctx: Context, path: Path, c: Channel) -> Iterator[Mistake]:
    """Range, plausible window, full scale and noise of a channel fit together."""
    yield from _rising((*path, "range"), c.range)
    yield from _rising((*path, "plausible"), c.plausible)
    if c.plausible[0] < c.range[0] or c.plausible[1] > c.range[1]:
        what = f"plausible {_span(c.plausible)} reaches outside the instrument range {_span(c.range)}."
        yield Mistake((*path, "plausible"), what, "An instrument cannot read what it has no range for.")
    if c.full_scale is not None and not max(0.0, c.range[0]) < c.full_scale <= c.range[1]:
        what = f"100 % is {c.full_scale:g} {c.unit}, outside the range {_span(c.range)}."
        yield Mistake((*path, "full_scale"), what, f"Give the value in {c.unit} that counts as 100 %.")
    if c.noise > 0.2 * (c.range[1] - c.range[0]) > 0:
        yield Mistake(
            (*path, "noise"), f"noise {c.noise:g} is a fifth of the range.", f"Give it in {c.unit}."
        )


def channel_band(ctx: Context, path: Path, c: Channel) -> Iterator[Mistake]:
    """A vibration reading means nothing without filter and detector."""
    if c.role == "vibration" and not c.band.strip():
        mend = "Add band = \"…\", for example '45-1000 Hz, velocity, rms'."
        yield Mistake(path, f"vibration channel '{c.id}' does not tell its filter and detector.", mend)


def _rising(path: Path, span: tuple[float, float]) -> Iterator[Mistake]:
    if span[0] >= span[1]:
        yield Mistake(path, f"{_span(span)} does not rise.", "Write [lowest, highest].")


def _span(span: tuple[float, float]) -> str:
    return f"[{span[0]:g}, {span[1]:g}]"


def limit_roles(ctx: Context, path: Path, limit: Limit) -> Iterator[Mistake]:
    """The roles that a limit's quantity is found from."""
    for role in _NEEDS.get(limit.quantity, ()):
        yield from _missing(ctx, (*path, "quantity"), role, f"'{limit.quantity}'")


def schedule_roles(ctx: Context, path: Path, item: ScheduleItem) -> Iterator[Mistake]:
    """The roles that a schedule item is recognised by."""
    for role in _SCHEDULE_NEEDS.get(item.kind, ()):
        yield from _missing(ctx, (*path, "kind"), role, f"a schedule item of kind '{item.kind}'")


def correction_roles(ctx: Context, path: Path, correction: Correction) -> Iterator[Mistake]:
    """The roles that a correction needs."""
    for role in _AIR:
        yield from _missing(ctx, path, role, "a correction")
    humid = any(law.humidity_slope for law in correction.laws)
    if humid and not any(r in ctx.roles for r in ("relative_humidity", "dew_point", "wet_bulb")):
        what = "a correction with a humidity_slope needs a humidity channel; there is none."
        yield Mistake(path, what, "Add a channel of role relative_humidity, dew_point or wet_bulb.")


def _missing(ctx: Context, path: Path, role: str, user: str) -> Iterator[Mistake]:
    stand_ins = _STANDS_FOR.get(role, ())
    if role in ctx.roles or any(all(r in ctx.roles for r in group) for group in stand_ins):
        return
    other = "".join(f", or of {' and '.join(group)}" for group in stand_ins)
    yield Mistake(
        path, f"{user} needs a channel of role '{role}'; there is none.", f"Add one of that role{other}."
    )
