"""What is expected of runs before any cause is thought of: mean and covariance of their residuals."""

from __future__ import annotations

from collections.abc import Sequence

from spoolwright.core.cycle.model import EngineModel
from spoolwright.core.diagnosis.calibrated import Calibrated
from spoolwright.core.diagnosis.comparison import Compared, compared
from spoolwright.core.diagnosis.observation import Observation
from spoolwright.core.diagnosis.problem import EngineRuns, engine_runs
from spoolwright.core.numerics import FloatArray


def compared_calibrated(
    model: EngineModel, observations: Sequence[Observation], calibrated: Calibrated
) -> list[Compared]:
    """Runs against the model as the data sheet has it; `surprise` takes off what the calibration expects.

    Parameters
    ----------
    model : EngineModel
        Model of the type, as the data sheet has it [-].
    observations : sequence of Observation
        Runs [-].
    calibrated : Calibrated
        What the shop's runs taught [-].

    Returns
    -------
    list of Compared
        One a run [-].
    """
    return compared(model, observations)


def surprise(problem: EngineRuns, calibrated: Calibrated) -> tuple[FloatArray, FloatArray]:
    """Residuals less what is expected of the average engine, and the covariance of that difference.

    Parameters
    ----------
    problem : EngineRuns
        Runs of one engine [-].
    calibrated : Calibrated
        What the shop's runs taught [-].

    Returns
    -------
    array, shape (N,)
        Surprise [-].
    array, shape (N, N)
        Covariance within a family: readings, instruments, build, and what is not known of the model,
        one standard error on the safe side, see `Calibrated.caution` [-].
    """
    columns = problem.columns * calibrated.multipliers[problem.spread]
    line = calibrated.line if calibrated.families is None else calibrated.families.within
    model = problem.common @ calibrated.covariance @ problem.common.T
    covariance = problem.scatter + columns @ columns.T + problem.line @ line @ problem.line.T + model
    return problem.residual - problem.common @ calibrated.mean, covariance * calibrated.caution


def runs_of(model: EngineModel, seen: Sequence[Compared], calibrated: Calibrated) -> EngineRuns:
    """Runs of one engine as a linear problem.

    Parameters
    ----------
    model : EngineModel
        Model of the type [-].
    seen : sequence of Compared
        Runs compared with the data sheet's model [-].
    calibrated : Calibrated
        What the shop's runs taught [-].

    Returns
    -------
    EngineRuns
        The problem [-].
    """
    return engine_runs(model, seen)
