"""What is taken as known before a run is looked at, in numbers, each with its reason.

None of it is a limit, and none of it enters a verdict: it decides how far readings may disagree before a
person is asked to look, and what that person is told to look at first.
"""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

FACTORS = (
    "compressor_flow", "compressor_efficiency", "combustor_efficiency", "combustor_loss",
    "gas_generator_turbine_area", "gas_generator_turbine_efficiency", "power_turbine_area",
    "power_turbine_efficiency", "inlet_loss", "interturbine_loss", "exhaust_loss", "gear_loss",
    "accessory_power", "cooling_flow", "handling_bleed", "leak", "vane_offset",
)  # fmt: skip
"""Condition factors of the engine model, see `cycle.condition.ConditionFactors`."""

BUILD: Mapping[str, float] = MappingProxyType({
    "compressor_flow": 0.006, "compressor_efficiency": 0.004, "combustor_efficiency": 0.001,
    "combustor_loss": 0.05, "gas_generator_turbine_area": 0.005, "gas_generator_turbine_efficiency": 0.004,
    "power_turbine_area": 0.005, "power_turbine_efficiency": 0.004, "inlet_loss": 0.05,
    "interturbine_loss": 0.06, "exhaust_loss": 0.08, "gear_loss": 0.06, "accessory_power": 0.08,
    "cooling_flow": 0.05, "handling_bleed": 0.2, "leak": 0.0015, "vane_offset": 0.6,
})  # fmt: skip
"""Standard deviation of a factor among engines of good build, vane rigging in degrees. Half a per cent of
efficiency, flow and area is what assembly tolerances leave (a deteriorated engine loses several times that);
losses are small quantities that vary by some per cent of themselves."""

WORN: Mapping[str, float] = MappingProxyType({
    "compressor_flow": 0.04, "compressor_efficiency": 0.025, "combustor_efficiency": 0.015,
    "combustor_loss": 0.3, "gas_generator_turbine_area": 0.025, "gas_generator_turbine_efficiency": 0.025,
    "power_turbine_area": 0.025, "power_turbine_efficiency": 0.025, "inlet_loss": 0.5,
    "interturbine_loss": 0.5, "exhaust_loss": 1.5, "gear_loss": 1.5, "accessory_power": 1.5,
    "cooling_flow": 0.3, "handling_bleed": 0.3, "leak": 0.02, "vane_offset": 3.0,
})  # fmt: skip
"""The same for a module that is damaged, worn, dirty or wrongly built. Published ranges: compressor fouling
to 7.5 % of flow and 2.5 % of efficiency, erosion 4 % and 2 %, turbines 4 % and 2 %, nozzle areas 3 %, leaks 3
% (Diakunchak 1992; Escher 1995; Zwebek and Pilidis 2003). Taken as one standard deviation, so that a
deteriorated engine is not called a wrong sensor."""

SHAPE: Mapping[str, tuple[float, float, float]] = MappingProxyType({
    "compressor_flow": (0.09, 0.5, 0.03), "compressor_efficiency": (0.06, 0.4, 0.02),
    "combustor_efficiency": (0.01, 0.05, 0.003), "combustor_loss": (0.3, 0.5, 0.0),
    "gas_generator_turbine_area": (0.03, 0.1, 0.01), "gas_generator_turbine_efficiency": (0.04, 0.2, 0.01),
    "power_turbine_area": (0.03, 0.1, 0.01), "power_turbine_efficiency": (0.05, 0.3, 0.01),
    "inlet_loss": (0.1, 0.2, 0.0), "interturbine_loss": (0.2, 0.5, 0.0), "exhaust_loss": (0.4, 0.5, 0.0),
    "gear_loss": (0.5, 0.5, 0.0), "accessory_power": (0.5, 0.5, 0.0), "cooling_flow": (0.2, 0.3, 0.0),
    "handling_bleed": (0.5, 2.0, 0.0), "leak": (0.005, 0.01, 0.0), "vane_offset": (12.0, 40.0, 2.0),
})  # fmt: skip
"""Error of the engine model: each factor departs from a constant along the operating line by a slope and a
curvature in ln(corrected speed / reference) and a slope in ln(theta); standard deviations. Component maps of
one class of engine differ among each other by about 1 % of flow and 0.6 % of efficiency at 90 % speed, and
several times that at idle."""

WAVES: Mapping[str, float] = MappingProxyType({
    "compressor_flow": 0.0015, "compressor_efficiency": 0.001, "gas_generator_turbine_area": 0.0005,
    "gas_generator_turbine_efficiency": 0.0008, "power_turbine_area": 0.0005,
    "power_turbine_efficiency": 0.001, "handling_bleed": 0.1, "vane_offset": 0.4,
})  # fmt: skip
"""What those smooth departures leave over at each level; standard deviations. Vanes: the play and hysteresis
of a hydraulic or pneumatic actuator and its feedback."""

ADJUSTED = 3.0
"""An adjustment of vanes or bleed moves any factor by so many standard deviations of build scatter [-]."""
NEW_CONFORMATION = 0.015
"""Standard deviation of a change of the torquemeter's conformation [-]."""

STATION: Mapping[str, float] = MappingProxyType({
    "measured_gas_temperature": 0.003, "probe": 0.0, "compressor_discharge_temperature": 0.004,
    "compressor_discharge_pressure": 0.006, "interturbine_pressure": 0.008, "exhaust_temperature": 0.010,
    "fuel_mass_flow": 0.002, "fuel_volume_flow": 0.002,
})  # fmt: skip
"""How far the place of a probe, or a station that the data sheet does not give, leaves a reading's level
open; relative standard deviation. Fuel: composition within the specification."""

PROBE_PATTERN = 0.028
"""Standard deviation of a single probe about the harness's mean, as a share of the temperature rise from
compressor exit: the pattern of the combustor's exit [-]."""
PROBE_MEAN = 0.005
"""Standard deviation of the mean of a harness's probes about its reading, as a share of the same [-]."""
RECOVERY = 0.0005
"""What a level leaves unsettled, relative standard deviation of each reading at each level [-]."""
SETTLED_S = 5.0
"""A mean is worth one independent sample for each so many seconds [s]."""
SOAK_K = 2.5
"""Temperatures of a cold-soaked engine differ from the air's by so much, one standard deviation [K]."""
COLD_K = 12.0
"""An engine whose middle gas-path temperature is nearer to the air's than this counts as cold-soaked [K]."""

AIR: Mapping[str, tuple[float, float, float]] = MappingProxyType({
    "temperature": (288.0, 15.0, 3.0), "pressure": (11.49, 0.09, 0.004), "recirculation": (0.7, 0.8, 0.5),
    "inlet": (-0.008, 0.008, 0.002), "exhaust": (0.010, 0.010, 0.003), "humidity": (0.6, 0.35, 0.05),
    "output_speed": (0.0, 0.02, 0.12), "fuel": (4.0, 12.0, 3.0), "speed": (0.0, 0.02, 0.3),
})  # fmt: skip
"""Mean, standard deviation common to the run, and standard deviation of each level, of a level's state:
climate of inhabited places below 2000 m (ln of 97.7 kPa ± 9 %), warm air drawn back into the intake, losses
of intake and exhaust, humidity as a share of saturation, output speed about the rating's, any gas generator
speed, fuel a little warmer than the air."""

REACH: Mapping[str, float] = MappingProxyType({
    "speed": 0.12, "temperature": 25.0, "pressure": 0.1, "recirculation": 10.0, "inlet": 0.05,
    "exhaust": 0.08, "output_speed": 0.5, "humidity": 0.03, "fuel": 60.0,
})  # fmt: skip
"""How far the state may be moved from the one on which most readings agree: beyond, the model is not linear
and a single absurd reading would lead it astray [unit of the state]."""

FAULTY = 0.05
"""Probability that a run has a wrong channel at all: one in twenty [-]."""
KINDS: Mapping[str, float] = MappingProxyType(
    {"alternative": 0.4, "offset": 0.2, "gain": 0.15, "step": 0.1, "ramp": 0.15}
)
"""How a wrong channel is wrong: a discrete mistake (unit, swap, polarity), an offset, a gain, a step, a
drift."""
WORN_MODULE = 0.4
"""Probability that some module departs by more than build scatter: half of all runs are of engines before
overhaul or after a doubtful build [-]."""
WORN_TOGETHER = 0.35
"""Share of those in which more than one module departs [-]."""
SIZES = (4.0, 15.0, 60.0)
"""Size of a free error in standard uncertainties of the channel (at least 0.2 % of the reading); each as
likely: from just beyond the calibration to plainly absurd."""
