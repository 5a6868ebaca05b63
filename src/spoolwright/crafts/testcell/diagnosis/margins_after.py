"""Margins at the ratings as the engine is, and as it would be with a cause put right, by the calibrated model.

The engine's own build, its line and what is not known of the model are estimated from the runs once the cause's effect
is taken off; they stay, the cause goes.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from spoolwright.core.cycle.condition import Condition
from spoolwright.core.cycle.sensitivity import sensitivities
from spoolwright.core.cycle.solve import solve
from spoolwright.core.diagnosis.calibrated import Calibrated
from spoolwright.core.diagnosis.causes import Cause
from spoolwright.core.diagnosis.comparison import FACTORS, UNIT, factor_record
from spoolwright.core.diagnosis.diagnosing import WEAR, Weighing
from spoolwright.core.diagnosis.expected import runs_of
from spoolwright.core.diagnosis.spreads import BUILD
from spoolwright.core.diagnosis.terms import CHANNEL_TERMS, LINE, LINE_TERMS, NAMES, SHAPES
from spoolwright.core.diagnosis.weighing import Sized
from spoolwright.core.numerics import FloatArray
from spoolwright.crafts.testcell.diagnosis.model import MarginAfter
from spoolwright.crafts.testcell.diagnosis.speaking import beside, effect
from spoolwright.crafts.testcell.forecast.run_to_come import LimitAsked, condition_at
from spoolwright.crafts.testcell.ledger import Ledger, figure
from spoolwright.crafts.testcell.model import Figure, Input
from spoolwright.crafts.testcell.performance.basis import ReductionBasis, inner
from spoolwright.crafts.testcell.performance.rated import RATED_QUANTITIES
from spoolwright.crafts.typefile.lookup import source_text
from spoolwright.crafts.typefile.model import Rating

READ = ("power", "measured_gas_temperature", "fuel_flow")
"""Outputs that margins are made of."""
ASKED = ("power_at_rated_mgt", "mgt_at_rated_power", "sfc_at_rated_power")
"""Rated quantities whose margins are told."""
_SPEEDS = np.linspace(0.92, 1.06, 9)
"""Relative gas generator speeds at which the outputs are computed; a quartic runs through them."""
_DEGREE = 4
_COVER_90 = 3.2897072539
"""Width of a normal 90 % interval in standard deviations."""


@dataclass(frozen=True)
class Line:
    """Outputs of the average engine along its operating line at a rating's reference condition.

    `logs` (3, S) are the logarithms of the outputs, `unknown` (3, S, U) what a unit of each unknown adds to them;
    the unknowns are build, the engine's own line, and the common coefficients.
    """

    condition: Condition
    factors: FloatArray
    logs: FloatArray
    unknown: FloatArray


class MarginTeller:
    """Tells margins for one type and calibration; lines at the ratings are computed once."""

    def __init__(self, basis: ReductionBasis, calibrated: Calibrated, limits: Sequence[LimitAsked]) -> None:
        self.basis, self.calibrated = basis, calibrated
        self.limits = [x for x in limits if x.limit.quantity in ASKED]
        self.lines: dict[str, Line] = {}
        for x in self.limits:
            if x.rating.id not in self.lines:
                self.lines[x.rating.id] = self._line(x.rating)

    def _line(self, rating: Rating) -> Line:
        basis = self.basis
        model = basis.model
        condition = condition_at(basis, model, rating)
        target = _SPEEDS * model.data.reference.gas_generator_speed
        warm = np.full(
            _SPEEDS.size, math.log(float(condition.temperature) / model.data.reference.temperature)
        )
        first = solve(
            model,
            condition,
            factor_record(self.calibrated.factors(np.log(_SPEEDS), warm)),
            set_by="ng",
            target=target,
        )
        speed = np.log(np.asarray(first.corrected_speed, dtype=float))
        factors = self.calibrated.factors(speed, warm)
        found = solve(model, condition, factor_record(factors), set_by="ng", target=target)
        by = sensitivities(found, FACTORS, READ)
        slopes = by.derivative / by.value[:, None] * UNIT[:, None]
        features = np.stack([np.ones_like(speed), speed, speed**2, warm])
        humidity = np.full_like(speed, float(condition.water_air_ratio))
        own = np.concatenate([features, [humidity, np.zeros_like(speed)]])
        unknown = _unknowns(slopes, features, own)
        channels = self.calibrated.mean[len(FACTORS) * len(SHAPES) :].reshape(len(NAMES), -1)
        level = np.array([channels[NAMES.index(n)] @ own for n in READ])
        return Line(condition, factors, np.log(by.value) + level, unknown)

    def margins(self, weighing: Weighing, found: Sized, ledger: Ledger) -> tuple[MarginAfter, ...]:
        """Margins of every limit at a rating, now and after a cause is put right."""
        whole, uncertain = self._unknown(weighing, found)
        out = []
        moved = {r: self._moved(weighing, line, found) for r, line in self.lines.items()}
        for x in self.limits:
            line = self.lines[x.rating.id]
            after = line.logs + line.unknown @ whole
            now = after + moved[x.rating.id] * found.mean
            width = abs(found.high - found.low) / _COVER_90
            told = [
                self._margin(x, logs, line.unknown, uncertain, shift, found, when, ledger)
                for logs, shift, when in (
                    (now, moved[x.rating.id] * width, "as it is"),
                    (after, np.zeros_like(after), "with it put right"),
                )
            ]
            if all(t is not None for t in told):
                out.append(
                    MarginAfter(
                        rating=x.rating.id,
                        quantity=x.limit.quantity,
                        now=told[0],
                        after=told[1],
                        limit=x.limit.id,
                    )
                )
        return tuple(out)

    def _unknown(self, weighing: Weighing, found: Sized) -> tuple[FloatArray, FloatArray]:
        """The unknowns once the cause's effect is taken off the residuals, and their covariance."""
        problem = runs_of(self.basis.model, weighing.seen, self.calibrated)
        n = len(FACTORS)
        variance = (self.calibrated.multipliers[:n] * BUILD) ** 2
        build = problem.columns[:, :n] / np.where(BUILD > 0.0, BUILD, 1.0)
        now = sum(c.vector.size for c in weighing.seen[: len(weighing.case.now)])
        change = np.ones((len(build), 1))
        wear = 0.0
        if weighing.case.earlier:
            wear = WEAR**2
            change[:now] += wear
        c = self.calibrated
        with_rows = np.concatenate(
            [(build * change * variance).T, c.line @ problem.line.T, c.covariance @ problem.common.T]
        )
        prior = _blocks(np.diag(variance * (1.0 + wear)), c.line, c.covariance)
        left = weighing.surprise - beside(weighing, found.cause.id) - effect(weighing, found)
        gain = np.linalg.solve(weighing.covariance, with_rows.T).T
        return gain @ left, prior - gain @ with_rows.T

    def _moved(self, weighing: Weighing, line: Line, found: Sized) -> FloatArray:
        """What a unit of the cause adds to the outputs along the line, at its mean size."""
        if found.cause.kind == "reading":
            return _misread(weighing, found)
        change = _departure(found.cause, found.mean)
        target = _SPEEDS * self.basis.model.data.reference.gas_generator_speed
        factors = line.factors + change[:, None]
        with_it = solve(self.basis.model, line.condition, factor_record(factors), set_by="ng", target=target)
        without = solve(
            self.basis.model, line.condition, factor_record(line.factors), set_by="ng", target=target
        )
        return (
            np.array([np.log(getattr(with_it, o)) - np.log(getattr(without, o)) for o in READ]) / found.mean
        )

    def _margin(
        self, x: LimitAsked, logs: FloatArray, unknown: FloatArray, uncertain: FloatArray, shift: FloatArray,
        found: Sized, when: str, ledger: Ledger,
    ) -> Figure | None:  # fmt: skip
        """A margin against a limit; None where the line does not reach the rating."""
        value, by_logs = _read_off(x, logs)
        if not math.isfinite(value):
            return None
        slope = np.einsum("ks,ksu->u", by_logs, unknown)
        variance = float(slope @ uncertain @ slope) + float(np.sum(by_logs * shift)) ** 2
        sign = 1.0 if x.limit.bound == "min" else -1.0
        how = self._how(x, value, found, when, ledger)
        shown = self.basis.shown(RATED_QUANTITIES[x.limit.quantity])  # type: ignore[index]
        return figure(sign * (value - x.value), shown, how, math.sqrt(max(variance, 0.0)), difference=True)

    def _how(self, x: LimitAsked, value: float, found: Sized, when: str, ledger: Ledger) -> str:
        unit = _UNITS[x.limit.quantity]
        return ledger.enter(
            f"{x.limit.name}: margin {when}",
            "testcell.diagnosis.margins_after",
            "sign × (value of the calibrated model with this engine's own build − limit)",
            (
                Input(
                    name="value", value=value, unit=unit, origin="the model along the engine's operating line"
                ),
                Input(name="limit", value=x.value, unit=unit, origin=f"limit {x.limit.id}"),
                Input(
                    name=found.cause.text,
                    value=found.mean,
                    unit=found.cause.unit,
                    origin="weighing of the causes",
                ),
            ),
            source_text(self.basis.type_file, x.limit.source),
        )


_UNITS = {"power_at_rated_mgt": "W", "mgt_at_rated_power": "K", "sfc_at_rated_power": "kg/J"}


def _unknowns(slopes: FloatArray, features: FloatArray, own: FloatArray) -> FloatArray:
    """What a unit of every unknown adds to the outputs, shape (3, S, U)."""
    k, s = slopes.shape[0], slopes.shape[2]
    build = np.moveaxis(slopes, 1, 2)
    line, channels = (
        np.zeros((k, s, len(NAMES), len(LINE_TERMS))),
        np.zeros((k, s, len(NAMES), len(CHANNEL_TERMS))),
    )
    for i, name in enumerate(READ):
        line[i, :, NAMES.index(name)] = features.T
        channels[i, :, NAMES.index(name)] = own.T
    physical = np.einsum("kfs,js->ksfj", slopes, features)
    parts = [build, line.reshape(k, s, LINE), physical.reshape(k, s, -1), channels.reshape(k, s, -1)]
    return np.concatenate(parts, axis=2)


def _blocks(*blocks: FloatArray) -> FloatArray:
    from scipy.linalg import block_diag

    return np.asarray(block_diag(*blocks), dtype=float)


def _departure(cause: Cause, size: float) -> FloatArray:
    """Change of the condition factors by a cause."""
    return np.asarray(np.array([cause.factors.get(f, 0.0) for f in FACTORS]) * UNIT * size)


def _misread(weighing: Weighing, found: Sized) -> FloatArray:
    """What a wrong reading adds to the outputs as read, a unit of it: a straight line over the runs' speeds."""
    signature = next(
        s for s, c in zip(weighing.signatures, weighing.causes, strict=True) if c.id == found.cause.id
    )
    out = np.zeros((len(READ), _SPEEDS.size))
    speeds: dict[str, list[FloatArray]] = {o: [] for o in READ}
    values: dict[str, list[FloatArray]] = {o: [] for o in READ}
    start = 0
    for c in weighing.seen[: len(weighing.case.now)]:
        rows = signature.slope[start : start + c.vector.size].reshape(c.residual.shape)
        start += c.vector.size
        for i, o in enumerate(c.outputs):
            if o in speeds:
                speeds[o].append(c.speed)
                values[o].append(rows[i])
    for i, o in enumerate(READ):
        if speeds[o]:
            x, y = np.concatenate(speeds[o]), np.concatenate(values[o])
            degree = 1 if np.ptp(x) > 0.01 else 0
            out[i] = np.polyval(np.polyfit(x, y, degree), np.log(_SPEEDS))
    return out


def _read_off(x: LimitAsked, logs: FloatArray) -> tuple[float, FloatArray]:
    """A rated quantity read off the line, and its derivatives with the logarithms along it, shape (3, S)."""
    power, mgt, fuel = logs
    u = np.linspace(-1.0, 1.0, _SPEEDS.size)
    set_by = x.limit.quantity == "power_at_rated_mgt"
    set_, target = (
        (mgt, inner(x.rating.measured_gas_temperature)) if set_by else (power, inner(x.rating.power))
    )
    at = _place(u, set_, math.log(target))
    if at is None:
        return math.nan, np.zeros_like(logs)
    here = _weights(u, at)
    rate = {0: _slope(u, power, at), 1: _slope(u, mgt, at), 2: _slope(u, fuel, at)}
    by = np.zeros_like(logs)
    if x.limit.quantity == "power_at_rated_mgt":
        value, read, by_set = math.exp(float(here @ power)), 0, 1
        by[0] = here
    elif x.limit.quantity == "mgt_at_rated_power":
        value, read, by_set = math.exp(float(here @ mgt)), 1, 0
        by[1] = here
    else:
        value, read, by_set = math.exp(float(here @ fuel)) / target, 2, 0
        by[2] = here
    by[by_set] -= here * rate[read] / rate[by_set]
    return value, by * value


def _weights(u: FloatArray, at: float) -> FloatArray:
    """Weights of the values at u in the quartic's value at a place."""
    basis = np.vander(u, _DEGREE + 1)
    return np.asarray(np.vander([at], _DEGREE + 1)[0] @ np.linalg.pinv(basis))


def _slope(u: FloatArray, y: FloatArray, at: float) -> float:
    return float(np.polyval(np.polyder(np.polyfit(u, y, _DEGREE)), at))


def _place(u: FloatArray, y: FloatArray, target: float) -> float | None:
    """Where the quartic through y has a value; None outside the line."""
    if not np.all(np.isfinite(y)) or not y.min() <= target <= y.max():
        return None
    at = float(np.interp(target, y, u))
    fitted = np.polyfit(u, y, _DEGREE)
    for _ in range(4):
        at -= (float(np.polyval(fitted, at)) - target) / float(np.polyval(np.polyder(fitted), at))
    return at
