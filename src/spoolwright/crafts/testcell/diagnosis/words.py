"""Words of a diagnosis: names of outputs, probabilities, differences with their units."""

from __future__ import annotations

import math

from spoolwright.core.diagnosis.observation import ADDITIVE
from spoolwright.crafts.testcell.diagnosis.model import Magnitude

OUTPUT_NAMES = {
    "power": "Power (torquemeter)",
    "dynamometer_power": "Power (dynamometer)",
    "measured_gas_temperature": "MGT",
    "T3": "Compressor discharge temperature",
    "p3": "Compressor discharge pressure",
    "p45": "Interturbine pressure",
    "T5": "Exhaust gas temperature",
    "fuel_flow": "Fuel flow",
    "fuel_flow_by_volume": "Fuel flow (by volume)",
    "vane_angle": "Vane angle",
}
"""Outputs of the comparison for people."""

SCALE = (
    (0.95, "practically certain"),
    (0.80, "very probable"),
    (0.50, "probable"),
    (0.20, "possible"),
    (0.05, "not probable"),
    (0.0, "practically excluded"),
)
"""Words for a probability of at least the number beside them."""


def in_words(probability: float) -> str:
    """A probability in the fixed scale of words."""
    return next(words for least, words in SCALE if probability >= least)


def difference_text(output: str, difference: float, level: float) -> str:
    """A difference of an output with its unit: per cent, for temperatures K beside it, degrees for angles."""
    if output in ADDITIVE:
        return f"{_signed(math.degrees(difference), 2)} deg"
    told = f"{_signed(100.0 * difference, 2)} %"
    if output in ("measured_gas_temperature", "T3", "T5"):
        told = f"{_signed(difference * level, 1)} K ({told})"
    return told


def _signed(x: float, places: int) -> str:
    """A difference with its sign; what rounds to nought has none."""
    text = f"{x:+.{places}f}"
    return text if text.strip("+-0.") else text[1:]


def size_texts(m: Magnitude) -> tuple[str, str]:
    """A size and its 90 % interval as text, in the digits that the interval earns.

    A wrong reading is told in the channel's unit, with its sign, and in standard uncertainties beside it.
    """
    step = 1.0 if m.step is None else m.step
    ends = sorted((m.low * step, m.high * step))
    places = _places(ends[1] - ends[0], 2 if m.step is None else 4)
    if m.step is None:
        mean, low, high = (f"{x:.{places}f}" for x in (m.mean, *ends))
        return f"{mean} {m.unit}", f"{low} to {high}"
    mean, low, high = (_signed(x, places) for x in (m.mean * step, *ends))
    return f"{mean} {m.step_unit}".strip(), f"{low} to {high}; {abs(m.mean):.1f} {m.unit}"


def _places(width: float, most: int) -> int:
    """Decimals that show two digits of an interval's width."""
    return min(max(1 - math.floor(math.log10(width)), 0), most) if width > 0.0 else 1


def counted(number: int, noun: str) -> str:
    """A number of things: '1 run', '3 runs'."""
    return f"{number} {noun}" if number == 1 else f"{number} {noun}s"
