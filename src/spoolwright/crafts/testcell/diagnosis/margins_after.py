"""Margins at the ratings as the engine is and as it would be with a cause put right, by the model.

The engine's own build, its line and what is not known of the model are estimated from the runs once the
effects of an explanation's causes are taken off; they stay, the cause goes. What is not known of the effects
is estimated with them: it is in the runs, and goes with its cause. Where several explanations have the cause,
a margin is the mean over them, and how far they are apart is part of its uncertainty.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from spoolwright.core.diagnosis.calibrated import Calibrated
from spoolwright.core.diagnosis.comparison import FACTORS
from spoolwright.core.diagnosis.diagnosing import WEAR, Weighing
from spoolwright.core.diagnosis.expected import runs_of
from spoolwright.core.diagnosis.problem import EngineRuns
from spoolwright.core.diagnosis.spreads import BUILD
from spoolwright.core.diagnosis.terms import LINE
from spoolwright.core.diagnosis.weighing import Explanation, Sized
from spoolwright.core.numerics import FloatArray
from spoolwright.crafts.testcell.diagnosis.model import MarginAfter
from spoolwright.crafts.testcell.diagnosis.rated_line import READ, SPEEDS, Line, average_line, read_off
from spoolwright.crafts.testcell.diagnosis.speaking import effect, signature
from spoolwright.crafts.testcell.forecast.run_to_come import LimitAsked, condition_at
from spoolwright.crafts.testcell.ledger import Ledger, figure
from spoolwright.crafts.testcell.model import Figure, Input
from spoolwright.crafts.testcell.performance.basis import ReductionBasis, inner
from spoolwright.crafts.testcell.performance.rated import RATED_QUANTITIES
from spoolwright.crafts.typefile.lookup import source_text

ASKED = ("power_at_rated_mgt", "mgt_at_rated_power", "sfc_at_rated_power")
"""Rated quantities whose margins are told."""
_UNITS = {"power_at_rated_mgt": "W", "mgt_at_rated_power": "K", "sfc_at_rated_power": "kg/J"}
_COUNTS, _MOST = 0.05, 6
"""Explanations with a cause count that are at least this part as probable as the likeliest, and so many."""
_COVER_90 = 3.2897072539
"""Width of a normal 90 % interval in standard deviations."""


@dataclass(frozen=True)
class _Estimate:
    """What an engine's runs say under one explanation, its causes taken off.

    `mean` and `uncertain` are of the unknowns of a line and, after them, of the errors of each cause's effect
    at its mean size; `turned` is, for each cause, what they lose when it takes the whole of its mean size:
    what a cause explains, they need not.
    """

    causes: tuple[Sized, ...]
    mean: FloatArray
    uncertain: FloatArray
    turned: tuple[FloatArray, ...]


@dataclass(frozen=True)
class _State:
    """Outputs along a line in a state of the engine: logarithms, what a unit of every unknown and error adds,
    and what one standard deviation of the size of each cause adds."""

    logs: FloatArray
    columns: FloatArray
    sizes: tuple[FloatArray, ...]

    def uncertainty(self, by_logs: FloatArray, uncertain: FloatArray) -> float:
        """Standard uncertainty of a quantity with given derivatives along the line."""
        slope = np.einsum("ks,ksu->u", by_logs, self.columns)
        variance = float(slope @ uncertain @ slope)
        variance += sum(float(np.sum(by_logs * size)) ** 2 for size in self.sizes)
        return math.sqrt(max(variance, 0.0))


def _width(found: Sized) -> float:
    return abs(found.high - found.low) / (_COVER_90 * abs(found.mean))


def _line_of(x: LimitAsked) -> float:
    """Ratings of the same output speed share a line."""
    return inner(x.rating.power_turbine_speed)


class MarginTeller:
    """Tells margins for one type and calibration; lines are computed once for each set of outputs."""

    def __init__(self, basis: ReductionBasis, calibrated: Calibrated, limits: Sequence[LimitAsked]) -> None:
        self.basis, self.calibrated = basis, calibrated
        self.limits = [x for x in limits if x.limit.quantity in ASKED]
        self._lines: dict[tuple[float, tuple[str, ...]], Line] = {}

    def _line(self, x: LimitAsked, outputs: tuple[str, ...]) -> Line:
        key = _line_of(x), outputs
        if key not in self._lines:
            model = self.basis.model
            condition = condition_at(self.basis, model, x.rating)
            self._lines[key] = average_line(model, self.calibrated, condition, outputs)
        return self._lines[key]

    def margins(
        self, weighing: Weighing, found: Sequence[Sized], ledger: Ledger
    ) -> dict[str, tuple[MarginAfter, ...]]:
        """Margins of every limit at a rating, now and after each cause is put right, by the cause's id."""
        problem = runs_of(self.basis.model, weighing.seen, self.calibrated)
        before = self._before(weighing, problem), self._middle(problem, weighing)
        known: dict[tuple[str, ...], _Estimate] = {}
        out = {}
        for f in found:
            weighed = _with_cause(weighing, f.cause.id)
            for e, _ in weighed:
                if e.ids not in known:
                    known[e.ids] = _estimate(weighing, e.causes, *before)
            estimates = [(known[e.ids], weight) for e, weight in weighed]
            out[f.cause.id] = tuple(self._rows(weighing, f, estimates, ledger))
        return out

    def _rows(
        self, weighing: Weighing, f: Sized, estimates: Sequence[tuple[_Estimate, float]], ledger: Ledger
    ) -> Iterator[MarginAfter]:
        states: dict[float, list[tuple[_State, _State]]] = {}
        weights = np.array([weight for _, weight in estimates])
        uncertain = [e.uncertain for e, _ in estimates]
        for x in self.limits:
            if _line_of(x) not in states:
                line = self._line(x, weighing.seen[0].outputs)
                states[_line_of(x)] = [_states(weighing, line, e, f.cause.id) for e, _ in estimates]
            now, after = (
                _mixed(x, list(zip(each, uncertain, strict=True)), weights)
                for each in zip(*states[_line_of(x)], strict=True)
            )
            if math.isfinite(now[0]) and math.isfinite(after[0]):
                yield MarginAfter(
                    rating=x.rating.id,
                    quantity=x.limit.quantity,
                    now=self._margin(x, *now, f, "as it is", ledger),
                    after=self._margin(x, *after, f, "with it put right", ledger),
                    limit=x.limit.id,
                )

    def _middle(self, problem: EngineRuns, weighing: Weighing) -> FloatArray:
        """The unknowns before the runs."""
        family = self._family(problem, weighing)
        return np.concatenate([np.zeros(len(FACTORS)), family, np.zeros(len(self.calibrated.mean))])

    def _before(self, weighing: Weighing, problem: EngineRuns) -> tuple[FloatArray, FloatArray]:
        """Covariance of the unknowns before the runs, and with the residuals, as the weighing has them."""
        c, n = self.calibrated, len(FACTORS)
        scatter = (c.multipliers[:n] * BUILD) ** 2
        wear = WEAR**2 if weighing.case.earlier else 0.0
        now = np.arange(len(weighing.surprise)) < sum(
            x.vector.size for x in weighing.seen[: len(weighing.case.now)]
        )
        build = problem.columns[:, :n] / np.where(BUILD > 0.0, BUILD, 1.0)
        line = c.line if c.families is None else c.families.within
        cross = np.concatenate(
            [
                (build * scatter).T * (c.caution + wear * now),
                c.caution * line @ problem.line.T,
                c.caution * c.covariance @ problem.common.T,
            ]
        )
        prior = _blocks(np.diag(scatter * (c.caution + wear)), c.caution * line, c.caution * c.covariance)
        return prior, cross

    def _family(self, problem: EngineRuns, weighing: Weighing) -> FloatArray:
        """Line of the engine's family beside the average one: what the weighing took off the residuals."""
        families = self.calibrated.families
        if families is None:
            return np.zeros(LINE)
        taken = problem.residual - problem.common @ self.calibrated.mean - weighing.surprise
        weights = np.linalg.lstsq((families.lines @ problem.line.T).T, taken, rcond=None)[0]
        return np.asarray(weights @ families.lines)

    def _margin(
        self, x: LimitAsked, value: float, uncertainty: float, found: Sized, when: str, ledger: Ledger
    ) -> Figure:
        """A margin against a limit."""
        sign = 1.0 if x.limit.bound == "min" else -1.0
        how = self._how(x, value, found, when, ledger)
        shown = self.basis.shown(RATED_QUANTITIES[x.limit.quantity])  # type: ignore[index]
        return figure(sign * (value - x.value), shown, how, uncertainty, difference=True)

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


def _with_cause(weighing: Weighing, cause: str) -> list[tuple[Explanation, float]]:
    """Explanations that have a cause, with their weights among each other; the improbable ones left out."""
    own = [e for e in weighing.explanations if cause in e.ids]
    kept = [e for e in own[:_MOST] if e.probability >= _COUNTS * own[0].probability]
    total = sum(e.probability for e in kept)
    return [(e, e.probability / total if total else 1.0 / len(kept)) for e in kept]


def _estimate(
    weighing: Weighing,
    causes: tuple[Sized, ...],
    before: tuple[FloatArray, FloatArray],
    middle: FloatArray,
) -> _Estimate:
    """The unknowns with the effects of causes taken off the residuals, and their covariance."""
    prior, cross = before
    effects = [effect(weighing, f) for f in causes]
    errors = np.concatenate([signature(weighing, f.cause.id).errors * f.mean for f in causes])
    both = np.concatenate([cross, errors])
    gain = np.linalg.solve(weighing.covariance + errors.T @ errors, both.T).T
    left = _blocks(prior, np.eye(len(errors))) - gain @ both.T
    start = np.concatenate([middle, np.zeros(len(errors))])
    rest = weighing.surprise - np.sum(effects, axis=0)
    return _Estimate(causes, start + gain @ rest, left, tuple(-gain @ x for x in effects))


def _mixed(
    x: LimitAsked, each: Sequence[tuple[_State, FloatArray]], weights: FloatArray
) -> tuple[float, float]:
    """A rated quantity and its standard uncertainty over explanations."""
    read = [(read_off(x.limit.quantity or "", x.rating, s.logs), s, u) for s, u in each]
    values = np.array([value for (value, _), _, _ in read])
    if not np.all(np.isfinite(values)):
        return math.nan, math.nan
    spreads = np.array([s.uncertainty(by_logs, u) for (_, by_logs), s, u in read])
    mean = float(weights @ values)
    return mean, math.sqrt(float(weights @ (spreads**2 + (values - mean) ** 2)))


def _states(weighing: Weighing, line: Line, e: _Estimate, cause: str) -> tuple[_State, _State]:
    """An engine along a line as it is, and with a cause put right; what else is wrong with it stays."""
    moved = [_moved(weighing, line, f) for f in e.causes]
    stays = [f.cause.id != cause for f in e.causes]
    out = []
    for present in ([True] * len(moved), stays):
        columns = [errors * here for (_, errors), here in zip(moved, present, strict=True)]
        all_columns = np.concatenate([line.unknown, *columns], axis=2)
        logs = line.logs + all_columns @ e.mean
        logs = logs + sum(effect * here for (effect, _), here in zip(moved, present, strict=True))
        sizes = [
            (effect * here + all_columns @ turned) * _width(f)
            for f, (effect, _), here, turned in zip(e.causes, moved, present, e.turned, strict=True)
        ]
        out.append(_State(logs, all_columns, tuple(sizes)))
    return out[0], out[1]


def _moved(weighing: Weighing, line: Line, found: Sized) -> tuple[FloatArray, FloatArray]:
    """What a cause of its mean size adds along the line, (3, S), and what is not known of it, (3, S, m)."""
    if found.cause.kind == "reading":
        moved = _misread(weighing, found) * found.mean
        return moved, np.zeros((*moved.shape, 0))
    s = line.effects[found.cause.id]
    return line.of(s.at(found.mean)), np.moveaxis(line.of(s.errors * found.mean), 0, 2)


def _blocks(*blocks: FloatArray) -> FloatArray:
    from scipy.linalg import block_diag

    return np.asarray(block_diag(*blocks), dtype=float)


def _misread(weighing: Weighing, found: Sized) -> FloatArray:
    """What a unit of a wrong reading adds to the outputs as read: a straight line over speed."""
    slope = signature(weighing, found.cause.id).slope
    out = np.zeros((len(READ), SPEEDS.size))
    speeds: dict[str, list[FloatArray]] = {o: [] for o in READ}
    values: dict[str, list[FloatArray]] = {o: [] for o in READ}
    start = 0
    for c in weighing.seen[: len(weighing.case.now)]:
        rows = slope[start : start + c.vector.size].reshape(c.residual.shape)
        start += c.vector.size
        for i, o in enumerate(c.outputs):
            if o in speeds:
                speeds[o].append(c.speed)
                values[o].append(rows[i])
    for i, o in enumerate(READ):
        if speeds[o]:
            x, y = np.concatenate(speeds[o]), np.concatenate(values[o])
            degree = 1 if np.ptp(x) > 0.01 else 0
            out[i] = np.polyval(np.polyfit(x, y, degree), np.log(SPEEDS))
    return out
