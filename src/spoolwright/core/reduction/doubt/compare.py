"""Which hypothesis makes the readings least surprising: a sound engine, a worn one, or a wrong channel.

All hypotheses are normal distributions of the same readings, so their evidence is in closed form; a free
error of a channel is one more unknown, a unit mistake or a swap replaces that channel's readings.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from spoolwright.core.reduction.doubt.evidence import Normals
from spoolwright.core.reduction.doubt.priors import FAULTY, KINDS, SIZES, WORN_MODULE, WORN_TOGETHER
from spoolwright.core.reduction.doubt.readings import Alternative, Readings
from spoolwright.core.reduction.doubt.signs import FloatArray
from spoolwright.core.reduction.doubt.spread import Linear
from spoolwright.core.reduction.doubt.windows import Windows

LIKE = 0.5
"""A discrete mistake is weighed only where it brings the readings within this share of their size [-]."""
_LEAST = 0.002
"""Smallest size of a free error's standard uncertainty, as a share of the reading [-]."""


@dataclass(frozen=True)
class Cause:
    """A hypothesis of one wrong channel (a swap: two).

    Parameters
    ----------
    kind : str
        "alternative", "offset", "gain", "step" or "ramp" [-].
    channels : tuple of str
        Channels that would be wrong [-].
    log_evidence : float
        ln of the readings' density under it, states of the modules summed over [-].
    log_prior : float
        ln of its probability before looking [-].
    alternative : Alternative or None
        The discrete mistake [-].
    amount : float
        Best size of a free error; of a ramp, at the last level [inner unit; gain: -].
    since : int
        Level from which a step or ramp begins [-].
    """

    kind: str
    channels: tuple[str, ...]
    log_evidence: float
    log_prior: float
    alternative: Alternative | None = None
    amount: float = 0.0
    since: int = 0

    @property
    def weight(self) -> float:
        """ln of evidence times prior [-]."""
        return self.log_evidence + self.log_prior


@dataclass(frozen=True)
class Comparison:
    """All hypotheses with their posterior probabilities.

    Parameters
    ----------
    sound : float
        Probability that no channel is wrong, modules in any state [-].
    modules : tuple of float
        Probability of each state of the modules given that no channel is wrong: build scatter, each module
        worn, all worn [-].
    causes : tuple of Cause
        By falling probability [-].
    probabilities : tuple of float
        Of the causes [-].
    misfit : float
        Squared distance of the readings from the best state of the modules without a wrong channel [-].
    freedom : int
        Number of readings compared [-].
    best_module : int
        State of the modules that is best without a wrong channel [-].
    """

    sound: float
    modules: tuple[float, ...]
    causes: tuple[Cause, ...] = field(repr=False)
    probabilities: tuple[float, ...] = field(repr=False)
    misfit: float
    freedom: int
    best_module: int

    def of_channel(self, channel: str) -> float:
        """Probability that a channel is wrong, in whatever way [-]."""
        pairs = zip(self.causes, self.probabilities, strict=True)
        return min(sum(p for c, p in pairs if channel in c.channels), 1.0)


def compare(normals: Normals, readings: Readings, alternatives: Sequence[Alternative]) -> Comparison:
    """Posterior probability of every hypothesis.

    Parameters
    ----------
    normals : Normals
        Readings about the prediction under every state of the modules [-].
    readings : Readings
        The same readings as means [inner unit].
    alternatives : sequence of Alternative
        Discrete mistakes [-].

    Returns
    -------
    Comparison
        Probabilities that sum to 1 over the sound channels and all causes [-].

    Notes
    -----
    With r the readings about the prediction and S their covariance, ln p = -r'r~/2 - ln|S|/2, r~ = inv(S) r.
    A replaced reading adds its change c: r'r~ + 2 c'r~ + c'inv(S) c, and ln |d true / d recorded|, once a
    channel: scatter shrinks or grows with the unit, so only the common level of the readings tells. A free
    error of shape v and standard deviation s adds
    (s v'r~)^2 / (2 (1 + s^2 v'inv(S)v)) - ln(1 + s^2 v'inv(S)v) / 2.
    Sums over states of the modules and over sizes are sums of densities times priors.

    References
    ----------
    MacKay, Information Theory, Inference, and Learning Algorithms (Cambridge 2003), chapter 28 (evidence and
    Occam factor). Sherman and Morrison, Ann. Math. Stat. 21 (1950) 124 (one more unknown).
    """
    linear = normals.linear
    prior = _log_priors_of(len(normals.states))
    sound = normals.log_density
    modules_posterior = _normalised(sound + prior)
    causes = _alternatives(linear, readings, alternatives, normals, prior)
    causes += _free_errors(linear, readings, normals, prior)
    against = Windows(readings)
    weights = np.array(
        [
            math.log1p(-FAULTY) + _sum(sound + prior) + against.of(()),
            *[c.weight + _against(against, c) for c in causes],
        ]
    )
    p = _normalised(weights)
    order = np.argsort(-p[1:])
    best = int(np.argmax(sound + prior))
    return Comparison(
        sound=float(p[0]),
        modules=tuple(modules_posterior.tolist()),
        causes=tuple(causes[i] for i in order),
        probabilities=tuple(p[1:][order].tolist()),
        misfit=float(normals.misfit[best]),
        freedom=linear.residual.size,
        best_module=best,
    )


def _against(windows: Windows, cause: Cause) -> float:
    if cause.alternative is not None:
        return windows.of(cause.channels, cause.alternative)
    return windows.without(cause.channels[0], cause.kind, cause.amount)


def _log_priors_of(states: int) -> FloatArray:
    single = states - 2
    worn = WORN_MODULE * (1.0 - WORN_TOGETHER) / max(single, 1)
    together = WORN_MODULE * WORN_TOGETHER if single else WORN_MODULE
    return np.asarray(np.log([1.0 - WORN_MODULE, *([worn] * single), together]))


def _sum(logs: FloatArray) -> float:
    top = float(np.max(logs))
    return top + math.log(float(np.sum(np.exp(logs - top)))) if math.isfinite(top) else top


def _normalised(logs: FloatArray) -> FloatArray:
    return np.asarray(np.exp(logs - _sum(logs)))


def _alternatives(
    linear: Linear,
    readings: Readings,
    alternatives: Sequence[Alternative],
    normals: Normals,
    prior: FloatArray,
) -> list[Cause]:
    total = sum(a.weight for a in alternatives)
    out = []
    for a in alternatives:
        rows, change, slope = _change(linear, readings, a)
        if rows.size == 0 or not _likely(linear, readings, rows, change):
            continue
        logs = normals.replaced(rows, change, slope)
        before = math.log(FAULTY * KINDS["alternative"] * a.weight / total)
        out.append(Cause("alternative", a.channels, _sum(logs + prior), before, a))
    return out


def _likely(linear: Linear, readings: Readings, rows: np.ndarray, change: FloatArray) -> bool:
    """Whether the readings come anywhere near what they should be; most mistakes are off by far more."""
    n, h = linear.sensor[rows], linear.level[rows]
    off = np.abs((readings.means[n, h] - linear.predicted[rows]) / linear.scale[n] + change)
    return bool(np.all(np.isfinite(change)) and np.count_nonzero(off < LIKE) * 2 > off.size)


def _change(
    linear: Linear, readings: Readings, alternative: Alternative
) -> tuple[np.ndarray, FloatArray, float]:
    """Rows whose residual an alternative changes, by how much, and its ln density factor."""
    rows, change, slope = [], [], 0.0
    for channel, values in alternative.values.items():
        n = readings.index(channel)
        mine = np.flatnonzero(linear.sensor == n)
        h = linear.level[mine]
        rows.append(mine)
        change.append((values[h] - readings.means[n, h]) / linear.scale[n])
        slope += float(np.mean(alternative.log_slope[channel][h])) if h.size else 0.0
    if not rows:
        return np.zeros(0, dtype=int), np.zeros(0), 0.0
    return np.concatenate(rows), np.concatenate(change), slope


def _free_errors(linear: Linear, readings: Readings, normals: Normals, prior: FloatArray) -> list[Cause]:
    channels = np.unique(linear.sensor)
    out = []
    for n in channels.tolist():
        rows = np.flatnonzero(linear.sensor == n)
        kinds, shapes, since = _shapes(linear, readings, n, rows)
        scale = float(linear.scale[n])
        logs, amounts = normals.freed(rows, shapes, np.array(SIZES) * _usual_error(readings, n) / scale)
        logs = logs + prior[:, None, None]
        evidence = _sum_of(logs.reshape(-1, shapes.shape[1])) - math.log(len(SIZES))
        best = amounts.reshape(-1, shapes.shape[1])[logs.reshape(-1, shapes.shape[1]).argmax(axis=0),
                                                    np.arange(shapes.shape[1])]  # fmt: skip
        for i, kind in enumerate(kinds):
            before = math.log(FAULTY * KINDS[kind] / channels.size / kinds.count(kind))
            amount = float(best[i]) * (1.0 if kind == "gain" else scale)
            channel = (readings.sensors[n].channel,)
            out.append(Cause(kind, channel, float(evidence[i]), before, None, amount, since[i]))
    return out


def explained(normals: Normals, readings: Readings, comparison: Comparison) -> FloatArray:
    """Residuals with the most probable cause taken out, where a cause is more probable than none.

    Parameters
    ----------
    normals : Normals
        As compared [-].
    readings : Readings
        The same readings as means [inner unit].
    comparison : Comparison
        What came of it [-].

    Returns
    -------
    array, shape (n,)
        What is left for the state and the modules to explain [-].
    """
    linear = normals.linear
    residual = linear.residual.copy()
    if not comparison.causes or comparison.probabilities[0] <= comparison.sound:
        return residual
    cause = comparison.causes[0]
    if cause.alternative is not None:
        rows, change, _ = _change(linear, readings, cause.alternative)
        residual[rows] += change
        return residual
    n = readings.index(cause.channels[0])
    rows = np.flatnonzero(linear.sensor == n)
    kinds, shapes, since = _shapes(linear, readings, n, rows)
    i = next(i for i, k in enumerate(kinds) if k == cause.kind and since[i] == cause.since)
    size = cause.amount / (1.0 if cause.kind == "gain" else float(linear.scale[n]))
    residual[rows] -= size * shapes[:, i]
    return residual


def _sum_of(logs: FloatArray) -> FloatArray:
    """ln of the sum of exponentials down the rows."""
    top = logs.max(axis=0)
    return np.asarray(top + np.log(np.exp(logs - top).sum(axis=0)))


def _shapes(
    linear: Linear, readings: Readings, n: int, rows: np.ndarray
) -> tuple[list[str], FloatArray, list[int]]:
    """Ways in which a channel may go wrong over the levels, in units of its scale."""
    h = linear.level[rows]
    time = readings.time[h]
    gain = (linear.predicted[rows] - readings.sensors[n].zero) / linear.scale[n]
    kinds, shapes, since = ["offset", "gain"], [np.ones(rows.size), gain], [0, 0]
    for k in range(1, rows.size):
        kinds.append("step")
        shapes.append((time >= time[k]).astype(float))
        since.append(int(h[k]))
    length = max(float(time[-1] - time[0]), 1.0)
    for k in range(rows.size - 1):
        kinds.append("ramp")
        shapes.append(np.maximum(time - time[k], 0.0) / length)
        since.append(int(h[k]))
    return kinds, np.array(shapes).T, since


def _usual_error(readings: Readings, n: int) -> float:
    """Standard uncertainty of a channel, at least 0.2 % of its usual reading [inner unit]."""
    sensor = readings.sensors[n]
    usual = float(np.nanmax(np.abs(readings.means[n])))
    squares = sum(size**2 for _, size in sensor.absolute)
    squares += sum((size * (usual - sensor.zero)) ** 2 for _, size in sensor.relative)
    return math.sqrt(squares + (_LEAST * usual) ** 2)
