"""What is taken as known of engines, benches and the model's errors before any run of the shop was seen.

Every number is a standard deviation. A calibration multiplies each by what the shop's own runs say.
"""

from __future__ import annotations

import math
from collections.abc import Mapping

import numpy as np

from spoolwright.core.diagnosis.comparison import FACTORS
from spoolwright.core.diagnosis.observation import OUTPUTS
from spoolwright.core.reduction.doubt.priors import BUILD as _BUILD
from spoolwright.core.reduction.doubt.priors import SHAPE as _SHAPE
from spoolwright.core.reduction.doubt.priors import WAVES as _WAVES

_RADIAN = {"vane_offset": math.radians(1.0)}


def _per_factor(table: Mapping[str, float]) -> np.ndarray:
    return np.array([table.get(f, 0.0) * _RADIAN.get(f, 1.0) for f in FACTORS])


BUILD = 0.6 * _per_factor(_BUILD)
"""Of each factor among engines of good build, shape (F,) [-]: less than what the doubt about readings allows,
which is generous so as to accuse no sound channel."""

WAVES = _per_factor(_WAVES)
"""What smooth shapes leave over at each point, shape (F,) [-]."""

LEVEL = 4.0 * BUILD
"""How far a data sheet leaves a module's level open: four times the scatter of good builds [-]."""

LINE = np.maximum([[x * _RADIAN.get(f, 1.0) for x in _SHAPE[f]] for f in FACTORS], 1e-6)
"""Slope and curvature over ln(corrected speed) and slope over ln(theta) of each factor, shape (F, 3) [-]."""

STATION = np.array(
    [{"power": 0.003, "dynamometer_power": 0.003, "measured_gas_temperature": 0.003, "T3": 0.004, "p3": 0.006,
      "p45": 0.008, "T5": 0.010, "fuel_flow": 0.002, "fuel_flow_by_volume": 0.003, "vane_angle": 0.02}[o]
     for o in OUTPUTS]
)  # fmt: skip
"""How far the place of a probe leaves an output's level open, shape (K,) [-]."""

CHANNEL = STATION[:, None] * np.array([1.0, 5.0, 50.0, 500.0, 1.0, 8.0, 1.0])
"""Of an output's residual: level, slope, curvature and cube over ln(corrected speed), slope over ln(theta),
over humidity [per kg/kg] and over ln(Reynolds number), shape (K, 7)."""

ENGINE_LINE = 0.1
"""Single engines depart from the common shape by this part of what the type's model may [-]."""
ENGINE_LEVEL = 0.0002
"""Level of an output from engine to engine beyond its modules' build: places of probes [-]."""
RUN_LEVEL = 0.0002
"""Level of an output from run to run beyond what the instruments explain [-]."""
RUN_SLOPE = 0.006
"""Slope of an output over ln(corrected speed) from run to run: gas temperature profiles turn [-]."""
POINT = 0.00015
"""An output at one point beyond its stated scatter [-]."""
EFFECT = 0.025
"""The effect of a cause is known to this part of itself, as a whole and on each output [-]."""
EFFECT_LINE = 0.4
"""And changes along the line by this part of itself over ln(corrected speed) [-]."""
EFFECT_DIVIDED = 1.5
"""The same for a loss with a fixed part and one that grows with power: how it is divided is known to some
tenths, and at a third of the power the fixed part counts three times as much [-]."""
EFFECT_ALONG = 0.015
"""Where a cause moves the operating point, maps of another shape answer as if other factors moved along, by
this part of the flow loss that would move the engine as much [-]."""
MAPPED = (
    "compressor_flow", "compressor_efficiency", "gas_generator_turbine_area",
    "gas_generator_turbine_efficiency", "power_turbine_area", "power_turbine_efficiency",
)  # fmt: skip
"""Factors that stand for the shape of a component's map."""
EFFECT_SLOPE = 4.0
"""What is not known of an effect changes by this part of itself over ln(corrected speed) [-]."""
EFFECT_RATIO = 0.1
"""Where a cause moves several factors, their ratio is known to this part of itself [-]."""
EFFECT_OF_SEEN = 0.3
"""What a cause does whose size an output shows directly is known to this part: flow lost per degree [-]."""
WAVE_SHARE = 0.1
"""Part of `WAVES` that a settled point has [-]."""
