"""Margins at the ratings as the engine is and as it would be with a cause put right, by the model.

The engine's own build, its line and what is not known of the model are estimated from the runs once the
cause's effect is taken off; they stay, the cause goes.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from spoolwright.core.cycle.condition import Condition
from spoolwright.core.cycle.sensitivity import sensitivities
from spoolwright.core.cycle.solution import Solution
from spoolwright.core.cycle.solve import solve
from spoolwright.core.diagnosis.calibrated import Calibrated
from spoolwright.core.diagnosis.causes import Cause
from spoolwright.core.diagnosis.comparison import FACTORS, UNIT, factor_record
from spoolwright.core.diagnosis.diagnosing import WEAR, Weighing
from spoolwright.core.diagnosis.expected import runs_of
from spoolwright.core.diagnosis.problem import EngineRuns
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

READ = ("power", "measured_gas_temperature", "fuel_flow")
"""Outputs that margins are made of."""
ASKED = ("power_at_rated_mgt", "mgt_at_rated_power", "sfc_at_rated_power")
"""Rated quantities whose margins are told."""
_SPEEDS = np.linspace(0.92, 1.06, 9)
"""Relative gas generator speeds at which the outputs are computed; a quartic runs through them."""
_DEGREE = 4
_PLACES = np.linspace(-1.0, 1.0, _SPEEDS.size)
_FIT = np.linalg.pinv(np.vander(_PLACES, _DEGREE + 1))
"""The quartic's coefficients from the values along a line: the same places every time."""
_COVER_90 = 3.2897072539
"""Width of a normal 90 % interval in standard deviations."""


@dataclass(frozen=True)
class Line:
    """Outputs of the average engine along its operating line at a reference condition.

    `model` (3, S) are the logarithms of the modelled outputs, `logs` those with the level of the readings,
    `unknown` (3, S, U) what a unit of each unknown adds to them: build, the engine's own line, and the common
    coefficients.
    """

    condition: Condition
    factors: FloatArray
    model: FloatArray
    logs: FloatArray
    unknown: FloatArray


@dataclass(frozen=True)
class _Estimate:
    """The unknowns of an engine with a cause's effect taken off, and their covariance at a given size.

    `turned` is what they lose when the cause takes the whole of its mean size: what the cause explains,
    they need not.
    """

    whole: FloatArray
    uncertain: FloatArray
    turned: FloatArray


@dataclass(frozen=True)
class _Spread:
    """What is not known of a line: the unknowns, and one standard deviation of the cause's size."""

    unknown: FloatArray
    uncertain: FloatArray
    shift: FloatArray

    def of(self, by_logs: FloatArray) -> float:
        """Standard uncertainty of a quantity with given derivatives along the line."""
        slope = np.einsum("ks,ksu->u", by_logs, self.unknown)
        variance = float(slope @ self.uncertain @ slope) + float(np.sum(by_logs * self.shift)) ** 2
        return math.sqrt(max(variance, 0.0))


def _line_of(x: LimitAsked) -> float:
    """Ratings of the same output speed share a line."""
    return inner(x.rating.power_turbine_speed)


class MarginTeller:
    """Tells margins for one type and calibration; the lines at the ratings are computed once."""

    def __init__(self, basis: ReductionBasis, calibrated: Calibrated, limits: Sequence[LimitAsked]) -> None:
        self.basis, self.calibrated = basis, calibrated
        self.limits = [x for x in limits if x.limit.quantity in ASKED]
        self.target = _SPEEDS * basis.model.data.reference.gas_generator_speed
        self.lines: dict[float, Line] = {}
        for x in self.limits:
            if _line_of(x) not in self.lines:
                self.lines[_line_of(x)] = self._line(condition_at(basis, basis.model, x.rating))

    def _line(self, condition: Condition) -> Line:
        model, calibrated = self.basis.model, self.calibrated
        ratio = float(condition.temperature) / model.data.reference.temperature
        warm = np.full(_SPEEDS.size, math.log(ratio))
        first = self._solved(condition, calibrated.factors(np.log(_SPEEDS), warm))
        speed = np.log(np.asarray(first.corrected_speed, dtype=float))
        factors = calibrated.factors(speed, warm)
        by = sensitivities(self._solved(condition, factors), FACTORS, READ)
        slopes = by.derivative / by.value[:, None] * UNIT[:, None]
        features = np.stack([np.ones_like(speed), speed, speed**2, warm])
        humidity = np.full_like(speed, float(condition.water_air_ratio))
        own = np.concatenate([features, [humidity, np.zeros_like(speed)]])
        channels = calibrated.mean[len(FACTORS) * len(SHAPES) :].reshape(len(NAMES), -1)
        level = np.array([channels[NAMES.index(n)] @ own for n in READ])
        logs = np.log(by.value)
        return Line(condition, factors, logs, logs + level, _unknowns(slopes, features, own))

    def _solved(self, condition: Condition, factors: FloatArray) -> Solution:
        target = np.tile(self.target, factors.shape[1] // self.target.size)
        return solve(self.basis.model, condition, factor_record(factors), set_by="ng", target=target)

    def margins(
        self, weighing: Weighing, found: Sequence[Sized], ledger: Ledger
    ) -> dict[str, tuple[MarginAfter, ...]]:
        """Margins of every limit at a rating, now and after each cause is put right, by the cause's id."""
        estimates = self._estimates(weighing, found)
        moved = {key: self._moved(weighing, line, found) for key, line in self.lines.items()}
        return {
            f.cause.id: tuple(self._rows(f, e, {k: m[i] for k, m in moved.items()}, ledger))
            for i, (f, e) in enumerate(zip(found, estimates, strict=True))
        }

    def _rows(
        self, found: Sized, e: _Estimate, moved: dict[float, FloatArray], ledger: Ledger
    ) -> Iterator[MarginAfter]:
        width = abs(found.high - found.low) / (_COVER_90 * abs(found.mean))
        for x in self.limits:
            line, effect_now = self.lines[_line_of(x)], moved[_line_of(x)]
            after, turned = line.logs + line.unknown @ e.whole, line.unknown @ e.turned
            told = [
                self._margin(x, logs, _Spread(line.unknown, e.uncertain, shift), found, when, ledger)
                for logs, shift, when in (
                    (after + effect_now, (effect_now + turned) * width, "as it is"),
                    (after, turned * width, "with it put right"),
                )
            ]
            if told[0] is not None and told[1] is not None:
                yield MarginAfter(
                    rating=x.rating.id,
                    quantity=x.limit.quantity,
                    now=told[0],
                    after=told[1],
                    limit=x.limit.id,
                )

    def _estimates(self, weighing: Weighing, found: Sequence[Sized]) -> list[_Estimate]:
        """The unknowns with each cause's effect taken off the residuals, and their covariance."""
        problem = runs_of(self.basis.model, weighing.seen, self.calibrated)
        n = len(FACTORS)
        variance = (self.calibrated.multipliers[:n] * BUILD) ** 2
        build = problem.columns[:, :n] / np.where(BUILD > 0.0, BUILD, 1.0)
        now = sum(c.vector.size for c in weighing.seen[: len(weighing.case.now)])
        wear = WEAR**2 if weighing.case.earlier else 0.0
        change = np.ones((len(build), 1))
        change[:now] += wear
        c = self.calibrated
        own_line = c.line if c.families is None else c.families.within
        with_rows = np.concatenate(
            [(build * change * variance).T, own_line @ problem.line.T, c.covariance @ problem.common.T]
        )
        gain = np.linalg.solve(weighing.covariance, with_rows.T).T
        left = _blocks(np.diag(variance * (1.0 + wear)), own_line, c.covariance) - gain @ with_rows.T
        whole = np.concatenate([np.zeros(n), self._family(problem, weighing), np.zeros(len(c.mean))])
        out = []
        for f in found:
            own = effect(weighing, f)
            rest = weighing.surprise - beside(weighing, f.cause.id) - own
            out.append(_Estimate(whole + gain @ rest, left, -gain @ own))
        return out

    def _family(self, problem: EngineRuns, weighing: Weighing) -> FloatArray:
        """Line of the engine's family beside the average one: what the weighing took off the residuals."""
        families = self.calibrated.families
        if families is None:
            return np.zeros(LINE)
        taken = problem.residual - problem.common @ self.calibrated.mean - weighing.surprise
        weights = np.linalg.lstsq((families.lines @ problem.line.T).T, taken, rcond=None)[0]
        return np.asarray(weights @ families.lines)

    def _moved(self, weighing: Weighing, line: Line, found: Sequence[Sized]) -> list[FloatArray]:
        """What each cause of its mean size adds to the outputs along the line, one solve for all."""
        modules = [f for f in found if f.cause.kind == "module"]
        out = {f.cause.id: _misread(weighing, f) * f.mean for f in found if f.cause.kind == "reading"}
        if modules:
            changed = [line.factors + _departure(f.cause, f.mean)[:, None] for f in modules]
            solved = self._solved(line.condition, np.concatenate(changed, axis=1))
            logs = np.array([np.log(np.asarray(getattr(solved, o), dtype=float)) for o in READ])
            parts = np.split(logs, len(modules), axis=1)
            out |= {f.cause.id: p - line.model for f, p in zip(modules, parts, strict=True)}
        return [out[f.cause.id] for f in found]

    def _margin(
        self, x: LimitAsked, logs: FloatArray, spread: _Spread, found: Sized, when: str, ledger: Ledger
    ) -> Figure | None:
        """A margin against a limit; None where the line does not reach the rating."""
        value, by_logs = _read_off(x, logs)
        if not math.isfinite(value):
            return None
        sign = 1.0 if x.limit.bound == "min" else -1.0
        how = self._how(x, value, found, when, ledger)
        shown = self.basis.shown(RATED_QUANTITIES[x.limit.quantity])  # type: ignore[index]
        return figure(sign * (value - x.value), shown, how, spread.of(by_logs), difference=True)

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
        line[i, :, NAMES.index(name)] = features[1:].T  # its level is build
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
    """What a unit of a wrong reading adds to the outputs as read: a straight line over speed."""
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
    set_by = x.limit.quantity == "power_at_rated_mgt"
    set_, target = (
        (mgt, inner(x.rating.measured_gas_temperature)) if set_by else (power, inner(x.rating.power))
    )
    at = _place(set_, math.log(target))
    if at is None:
        return math.nan, np.zeros_like(logs)
    here = np.vander([at], _DEGREE + 1)[0] @ _FIT
    rate = [float(np.polyval(np.polyder(_FIT @ y), at)) for y in logs]
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


def _place(y: FloatArray, target: float) -> float | None:
    """Where the quartic through y has a value; None outside the line."""
    if not np.all(np.isfinite(y)) or not y.min() <= target <= y.max():
        return None
    at = float(np.interp(target, y, _PLACES))
    fitted = _FIT @ y
    for _ in range(4):
        at -= (float(np.polyval(fitted, at)) - target) / float(np.polyval(np.polyder(fitted), at))
    return at
