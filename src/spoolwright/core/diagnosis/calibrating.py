"""From runs of engines of good build to a calibration."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from spoolwright.core.cycle.model import EngineModel
from spoolwright.core.diagnosis.calibrated import Calibrated
from spoolwright.core.diagnosis.families import found_families
from spoolwright.core.diagnosis.learning import learnt
from spoolwright.core.diagnosis.observation import Observation
from spoolwright.core.diagnosis.problem import EngineRuns
from spoolwright.core.diagnosis.redundancy import learnt_twins


def calibration(
    model: EngineModel,
    groups: Sequence[Sequence[Observation]],
    type_id: str = "",
    progress: Callable[[float], None] = lambda _: None,
) -> tuple[Calibrated, list[EngineRuns]]:
    """Calibrate a type's model on runs of engines of good build.

    Parameters
    ----------
    model : EngineModel
        Model of the type, as the data sheet has it [-].
    groups : sequence of sequences of Observation
        Runs by engine and state [-].
    type_id : str
        Type they belong to [-].
    progress : callable
        Told the share done [-].

    Returns
    -------
    Calibrated
        Without cross-validated errors of the model [-].
    list of EngineRuns
        The runs at the shape learnt, one an engine [-].
    """
    found, multipliers, line, problems = learnt(model, groups, progress)
    families = found_families(problems, multipliers, line, found)
    calibrated = Calibrated(
        type_id,
        found.mean,
        found.covariance,
        multipliers,
        line,
        sum(len(g) for g in groups),
        len(groups),
        families=families if len(families.shares) > 1 else None,
        twins=learnt_twins([o for g in groups for o in g]),
    )
    return calibrated, problems
