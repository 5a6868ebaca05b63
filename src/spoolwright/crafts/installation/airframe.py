"""The shop part's installation and gauges, in inner units."""

from __future__ import annotations

from spoolwright.crafts.installation.calc import Airframe, Figure, Gauge
from spoolwright.crafts.typefile.shop.power_check import Known, PowerCheck
from spoolwright.errors import InputError
from spoolwright.units import unit_of

_DIMENSION = {
    "pressure": "pressure",
    "outside_air_temperature": "temperature difference",
    "gas_generator_speed": "speed",
    "power_turbine_speed": "speed",
    "torque": "torque",
    "measured_gas_temperature": "temperature difference",
}


def airframe(power_check: PowerCheck | None) -> Airframe:
    """What the installation does to the engine, and how the aircraft's gauges read.

    Raises
    ------
    InputError
        The type's shop part has no power check.
    """
    if power_check is None:
        raise InputError(
            "the shop part of this type has no power check of the aircraft.",
            mend="Transcribe it from the flight manual into NAME.shop/power_check.toml.",
        )
    i = power_check.installed
    gauges: dict[str, Gauge] = {}
    for g in power_check.instrument:
        factor = unit_of(g.unit, _DIMENSION[g.quantity]).factor
        gauges[g.quantity] = Gauge(g.lasting * factor, g.reading * factor)
    return Airframe(
        inlet_loss=_figure(i.inlet_pressure_loss, "ratio"),
        temperature_rise=_figure(i.inlet_temperature_rise, "temperature difference"),
        back_pressure=_figure(i.exhaust_back_pressure, "ratio"),
        accessory_power=_figure(i.accessory_power, "power"),
        bleed=_figure(i.customer_bleed, "ratio"),
        humidity=_figure(i.relative_humidity, "ratio"),
        heating_value=_figure(i.lower_heating_value, "specific energy"),
        gauges=gauges,
    )


def _figure(known: Known, dimension: str) -> Figure:
    factor = unit_of(known.unit, dimension).factor
    return Figure(known.value * factor, known.standard_uncertainty * factor)
