"""Residuals of one run, their covariance and the effects of causes, as JAX sees them: made to be mapped over
runs. The formulas are those of `comparison`, `terms`, `expected` and `signatures`.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from spoolwright.core.diagnosis import spreads
from spoolwright.core.diagnosis.calibrated import Calibrated
from spoolwright.core.diagnosis.causes import Cause
from spoolwright.core.diagnosis.comparison import FACTORS, UNIT
from spoolwright.core.diagnosis.families import Families
from spoolwright.core.diagnosis.observation import ADDITIVE, CONDITIONS, OUTPUTS
from spoolwright.core.diagnosis.redundancy import Twin
from spoolwright.core.diagnosis.spreads import (
    EFFECT,
    EFFECT_ALONG,
    EFFECT_DIVIDED,
    EFFECT_LINE,
    EFFECT_OF_SEEN,
    EFFECT_RATIO,
    EFFECT_SLOPE,
    MAPPED,
)
from spoolwright.core.diagnosis.terms import CHANNEL_TERMS, LINE_TERMS, NAMES, SHAPES, SPREADS
from spoolwright.core.numerics import FloatArray

GIVEN = 1 + len(CONDITIONS)
"""Speed and conditions: what a model output is differentiated by before the factors."""
_RADIAN = math.radians(1.0)


@dataclass(frozen=True)
class Residuals:
    """A run's residuals under JAX; K outputs, P points.

    Parameters
    ----------
    residual : array, shape (K, P)
        ln(observed / modelled), angles as differences [-].
    by_channel : array, shape (K, n, P)
        Derivatives with each reading [1 / inner unit].
    by_factor : array, shape (K, F, P)
        Derivatives of the modelled logarithm with each factor's departure [-].
    line : array, shape (4, P)
        Terms of a factor at the points [-].
    own : array, shape (7, P)
        Terms of an output's own residual [-].
    """

    residual: Any
    by_channel: Any
    by_factor: Any
    line: Any
    own: Any


class Scales:
    """What a calibration says of runs with given outputs, as arrays.

    Parameters
    ----------
    calibrated : Calibrated
        What the shop's runs taught [-].
    families : Families
        Families of engines [-].
    outputs : tuple of K str
        Outputs that the runs have [-].
    """

    def __init__(self, calibrated: Calibrated, families: Families, outputs: tuple[str, ...]) -> None:
        known, k, f = [NAMES.index(name) for name in outputs], len(outputs), len(FACTORS)
        own = [
            [f * len(SHAPES) + i * len(CHANNEL_TERMS) + j for j in range(len(CHANNEL_TERMS))] for i in known
        ]
        kept = np.concatenate([np.arange(f * len(SHAPES)), np.ravel(own)])
        self.common = calibrated.covariance[np.ix_(kept, kept)]
        self.caution = calibrated.caution
        self.mean = calibrated.mean[kept]
        line = np.ravel([[i * len(LINE_TERMS) + j for j in range(len(LINE_TERMS))] for i in known])
        self.line = families.within[np.ix_(line, line)].reshape(k, len(LINE_TERMS), k, len(LINE_TERMS))
        self.families = families.lines[:, line].reshape(-1, k, len(LINE_TERMS))

        def of(*names: str) -> FloatArray:
            return np.array([calibrated.multipliers[SPREADS.index(name)] for name in names])

        self.build = spreads.BUILD * of(*(f"build: {name}" for name in FACTORS))
        level = spreads.ENGINE_LEVEL * of(*(f"engine's level: {name}" for name in outputs))
        self.state = spreads.WAVES * spreads.WAVE_SHARE * of("point's own state")
        self.instruments = float(of("instruments")[0])
        self.level = np.hypot(level, spreads.RUN_LEVEL * of(*(f"run's level: {name}" for name in outputs)))
        self.slope = spreads.RUN_SLOPE * of(*(f"run's slope: {name}" for name in outputs))
        self.point = spreads.POINT * of(*(f"point: {name}" for name in outputs))
        self.additive = np.array([name in ADDITIVE for name in outputs])[:, None]
        modelled = tuple(dict.fromkeys(OUTPUTS.values()))
        self.modelled = np.array([modelled.index(OUTPUTS[name]) for name in outputs])


def residuals(scales: Scales, run: dict[str, Any], values: Any, slopes: Any, speed: Any) -> Residuals:
    """Residuals of one run, see `comparison.compared`.

    Parameters
    ----------
    scales : Scales
        Of the runs [-].
    run : dict
        One run's rows of `Packed` [-].
    values, slopes : array, shape (O, P) and (O, 8 + F, P)
        Model outputs and their derivatives with speed, conditions and factors [see `OUTPUTS`].
    speed : array, shape (P,)
        ln of relative corrected gas generator speed [-].

    Returns
    -------
    Residuals
        Of the run [-].
    """
    from jax import numpy as jnp

    y, d, seen, angle = values[scales.modelled], slopes[scales.modelled], run["seen"], scales.additive
    scale = jnp.where(angle, _RADIAN, 1.0 / y)
    seen_scale = jnp.where(angle, _RADIAN, 1.0 / seen)
    by_given = jnp.einsum("kwp,wnp->knp", d[:, :GIVEN], run["given_slopes"])
    warmth, humidity, reynolds = run["features"]
    one = jnp.ones_like(speed)
    line = jnp.stack([one, speed, speed**2, warmth])
    return Residuals(
        jnp.where(angle, (seen - y) * _RADIAN, jnp.log(seen) - jnp.log(y)),
        run["seen_slopes"] * seen_scale[:, None] - by_given * scale[:, None],
        d[:, GIVEN:] * scale[:, None] * UNIT[:, None],
        line,
        jnp.stack([one, speed, speed**2, speed**3, warmth, humidity, reynolds]),
    )


def surprise(scales: Scales, run: dict[str, Any], scatter_at: FloatArray, c: Residuals) -> tuple[Any, Any]:
    """Residuals less what is expected, with their covariance, see `expected.surprise`.

    Parameters
    ----------
    scales : Scales
        Of the runs [-].
    run : dict
        One run's rows of `Packed` [-].
    scatter_at : array of int
        Point of each scatter [-].
    c : Residuals
        Of the run [-].

    Returns
    -------
    array, shape (K P,)
        Surprise [-].
    array, shape (K P, K P)
        Covariance [-].
    """
    from jax import numpy as jnp

    k, p = c.residual.shape
    each = jnp.eye(k)
    physical = jnp.einsum("kfp,jp->kpfj", c.by_factor, c.line).reshape(k * p, -1)
    own = jnp.einsum("jp,kl->kplj", c.own, each).reshape(k * p, -1)
    common = jnp.concatenate([physical, own], axis=1)
    columns = [
        (c.by_factor * scales.build[:, None]).transpose(0, 2, 1),
        jnp.einsum("enp,knp->kpe", run["lasting"], c.by_channel) * scales.instruments,
        jnp.einsum("kj,p->kpj", each, jnp.ones(p)) * scales.level,
        jnp.einsum("kj,p->kpj", each, c.line[1]) * scales.slope,
    ]
    joined = jnp.concatenate([x.reshape(k * p, -1) for x in columns], axis=1)
    own_line = c.own[1 : 1 + len(LINE_TERMS)]
    line = jnp.einsum("jp,kjlm,mq->kplq", own_line, scales.line, own_line)
    apart = jnp.einsum("klp,pq->kplq", _point_covariance(scales, run["scatter"], scatter_at, c), jnp.eye(p))
    covariance = common @ scales.common @ common.T + joined @ joined.T + (line + apart).reshape(k * p, k * p)
    return c.residual.ravel() - common @ scales.mean, covariance * scales.caution


def _point_covariance(scales: Scales, scatter: Any, at: FloatArray, c: Residuals) -> Any:
    """What is drawn anew at every point: readings, the engine's state, single outputs; shape (K, K, P)."""
    from jax import numpy as jnp

    k, p = c.residual.shape
    given = jnp.einsum("en,kne->ke", scatter, c.by_channel[:, :, at])
    at_point = np.asarray(at[:, None] == np.arange(p), dtype=float)
    readings = ((given[:, None] * given).reshape(k * k, -1) @ at_point).reshape(k, k, p)
    state = c.by_factor * scales.state[:, None]
    single = np.diag(scales.point**2)[:, :, None]
    return readings + jnp.einsum("kfp,lfp->klp", state, state) + single


class Effects:
    """Tables from which the signatures of module causes are made.

    Parameters
    ----------
    causes : sequence of C Cause
        Causes in modules [-].
    sizes : array, shape (C, 2)
        Sizes that the model is run with [unit of the cause].
    outputs : tuple of K str
        Outputs that the runs have [-].
    """

    def __init__(self, causes: Sequence[Cause], sizes: FloatArray, outputs: tuple[str, ...]) -> None:
        self.sizes, self.count = sizes, len(causes)
        self.half = np.array([0.5 * c.sizes[1] for c in causes])
        self.line = np.array([EFFECT_DIVIDED if c.divided else EFFECT_LINE for c in causes])
        most = max((len(c.factors) for c in causes), default=1) - 1
        self.ratios = np.zeros((len(causes), most, len(FACTORS)))
        self.others = np.zeros((len(causes), len(outputs)))
        for i, c in enumerate(causes):
            for j, name in enumerate(list(c.factors)[1:]):
                self.ratios[i, j, FACTORS.index(name)] = c.factors[name] * EFFECT_RATIO
            if c.seen_by in outputs:
                self.others[i] = [name != c.seen_by for name in outputs]


class Agreement:
    """Readings that ought to agree, see `redundancy`; W readings may be wrong, T twins.

    Parameters
    ----------
    twins : sequence of (str, int, int)
        Of the layout [-].
    usual : mapping
        Twin to what is usual [-].
    readings : array of int, shape (W,)
        Channels that may be wrong [-].
    """

    def __init__(
        self, twins: Sequence[tuple[str, int, int]], usual: Mapping[str, Twin], readings: NDArray[np.intp]
    ) -> None:
        self.kept = np.array([i for i, t in enumerate(twins) if t[0] in usual], dtype=int)
        shown = [twins[i] for i in self.kept]
        self.mean = np.array([usual[name].mean for name, _, _ in shown])
        self.deviation = np.array([usual[name].deviation for name, _, _ in shown])
        one, other = np.array([t[1:] for t in shown], dtype=int).reshape(-1, 2).T
        at = readings[:, None]
        self.signs = np.where(at == one, 1.0, np.where(at == other, -1.0, 0.0))

    def rows(self, ratios: Any, levels: Any, steps: Any) -> tuple[Any, Any]:
        """Surprise of each twin and what a step of each reading does to it.

        Parameters
        ----------
        ratios : array
            Of the run's twins [-].
        levels, steps : array, shape (W,)
            Mean and step of the readings that may be wrong [inner unit].

        Returns
        -------
        array, shape (T,)
            In standard deviations [-].
        array, shape (W, T)
            In standard deviations [-].
        """
        moved = self.signs * (steps / levels)[:, None] / self.deviation
        return (ratios[self.kept] - self.mean) / self.deviation, moved


def signatures(e: Effects, scales: Scales, c: Residuals, healthy: Any, moved: Any) -> tuple[Any, Any, Any]:
    """Slopes, curvatures and errors of module causes, see `signatures.module_signatures`.

    Parameters
    ----------
    e : Effects
        Tables of C causes [-].
    scales : Scales
        Of the runs [-].
    c : Residuals
        Of the run [-].
    healthy, moved : array, shape (O, P) and (O, 2 C, P)
        Model outputs without and with each cause at its two sizes [see `OUTPUTS`].

    Returns
    -------
    array, shape (C, K P)
        Slopes [1 / unit of the cause].
    array, shape (C, K P)
        Curvatures [1 / its square].
    array, shape (C, m, K P)
        Errors of the slopes, rows of zeros where a cause has fewer [1 / unit of the cause].
    """
    from jax import numpy as jnp

    k, p = c.residual.shape
    y, y0 = moved[scales.modelled].transpose(1, 0, 2), healthy[scales.modelled]
    effect = jnp.where(scales.additive, (y - y0) * _RADIAN, jnp.log(y) - jnp.log(y0))
    a, b = (e.sizes[:, i, None, None] for i in (0, 1))
    fa, fb = effect[0::2] / a, effect[1::2] / b
    curvature = (fb - fa) / (b - a)
    slope = fa - curvature * a
    flow = c.by_factor[:, FACTORS.index("compressor_flow")]
    reach = jnp.sqrt(jnp.mean(slope**2, axis=(1, 2)) / jnp.mean(flow**2)) * EFFECT_ALONG
    mapped = c.by_factor[:, np.array([FACTORS.index(name) for name in MAPPED])].transpose(1, 0, 2)
    along = reach[:, None, None, None] * mapped
    each = slope[:, None] * EFFECT * np.eye(k)[:, :, None]
    ratio = jnp.einsum("cjf,kfp->cjkp", e.ratios, c.by_factor)
    bent = curvature * e.half[:, None, None]
    hidden = jnp.stack([slope, bent], axis=1) * (e.others * EFFECT_OF_SEEN)[:, None, :, None]
    turned = jnp.concatenate([along, hidden], axis=1)
    whole = jnp.stack([slope * EFFECT, slope * c.line[1] * e.line[:, None, None]], axis=1)
    rows = [turned, turned * c.line[1] * EFFECT_SLOPE, each, whole, ratio]
    errors = jnp.concatenate(rows, axis=1)
    return slope.reshape(e.count, -1), curvature.reshape(e.count, -1), errors.reshape(e.count, -1, k * p)
