"""Readings of a bench that ought to agree: air ahead of the intake and behind it, exhaust and cell.

A difference that is not usual in this cell speaks for one of the two readings being wrong. It says nothing of
the engine, so it stands beside the engine's residuals.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from spoolwright.core.diagnosis.observation import Observation
from spoolwright.core.numerics import FloatArray

TWINS: Mapping[str, tuple[str, str]] = {
    "intake pressure": ("inlet_pressure", "ambient_pressure"),
    "exhaust pressure": ("exhaust_pressure", "ambient_pressure"),
    "intake temperature": ("inlet_temperature", "ambient_temperature"),
}
"""Roles of two readings whose ratio changes little from run to run."""
USUAL: Mapping[str, tuple[float, float]] = {
    "intake pressure": (-0.007, 0.004),
    "exhaust pressure": (0.009, 0.006),
    "intake temperature": (0.002, 0.003),
}
"""Mean and standard deviation of the logarithm of the ratio before any run was seen (common practice, no
source): losses of intake and exhaust duct, warm air drawn back in."""
_LEAST = 8
"""Runs from which on the shop's own figures replace the usual ones."""


@dataclass(frozen=True)
class Twin:
    """How two readings agree from run to run.

    Parameters
    ----------
    mean, deviation : float
        Of the logarithm of their ratio, mean of a run [-].
    """

    mean: float
    deviation: float


def usual_twins() -> dict[str, Twin]:
    """What is usual before any run was seen.

    Returns
    -------
    dict
        Twin to mean and deviation [-].
    """
    return {name: Twin(*x) for name, x in USUAL.items()}


def ratio(o: Observation, twin: str) -> float | None:
    """Logarithm of the ratio of two readings over a run.

    Parameters
    ----------
    o : Observation
        The run [-].
    twin : str
        Which, see `TWINS` [-].

    Returns
    -------
    float or None
        Mean over the points; None where one of them was not recorded [-].
    """
    names = [o.roles.get(role, "") for role in TWINS[twin]]
    if not all(n in o.channels for n in names):
        return None
    one, other = (o.readings[o.channels.index(n)] for n in names)
    return float(np.mean(np.log(one / other)))


def learnt_twins(runs: Sequence[Observation]) -> dict[str, Twin]:
    """How twins agree in a shop's own runs.

    Parameters
    ----------
    runs : sequence of Observation
        Accepted runs [-].

    Returns
    -------
    dict
        Twin to what is usual [-].
    """
    out = {}
    for twin, (mean, deviation) in USUAL.items():
        seen = np.array([x for o in runs if (x := ratio(o, twin)) is not None])
        if seen.size < _LEAST:
            out[twin] = Twin(mean, deviation)
        else:
            out[twin] = Twin(float(seen.mean()), float(seen.std(ddof=1) * (1.0 + 1.0 / seen.size)))
    return out


def surprises(
    runs: Sequence[Observation], twins: Mapping[str, Twin]
) -> tuple[FloatArray, list[tuple[int, str]]]:
    """How far twins depart from what is usual.

    Parameters
    ----------
    runs : sequence of Observation
        Runs of a visit [-].
    twins : mapping
        Twin to what is usual [-].

    Returns
    -------
    array, shape (m,)
        In standard deviations [-].
    list of (int, str)
        Which run and which twin each is of [-].
    """
    values, places = [], []
    for i, o in enumerate(runs):
        for name, usual in twins.items():
            x = ratio(o, name)
            if x is not None:
                values.append((x - usual.mean) / usual.deviation)
                places.append((i, name))
    return np.array(values), places


def effect(o: Observation, twin: str, usual: Twin, channel: str, step: float) -> float:
    """What a wrong reading does to a twin.

    Parameters
    ----------
    o : Observation
        The run [-].
    twin : str
        Which twin [-].
    usual : Twin
        What is usual [-].
    channel : str
        Channel that reads wrong [-].
    step : float
        By how much [inner unit].

    Returns
    -------
    float
        In standard deviations [-].
    """
    for sign, role in zip((1.0, -1.0), TWINS[twin], strict=True):
        if o.roles.get(role) == channel:
            return sign * step / o.level(channel) / usual.deviation
    return 0.0
