"""Expected information against what is learnt when the data come.

A truth is drawn from the posterior, data are drawn from the truth, and old and
new data are weighed together by the diagnosis itself, which knows nothing of how the expectation was made.
"""

from __future__ import annotations

import numpy as np
import pytest
from weighed_run import WeighedRun, weighed_run

from spoolwright.core.diagnosis.further import Further, Planner
from spoolwright.core.diagnosis.information import entropy, measured, paired_noise
from spoolwright.core.diagnosis.sampling import Cloud, cloud_of
from spoolwright.core.diagnosis.signatures import Signature
from spoolwright.core.diagnosis.weighing import Explanation, weighed, whitened
from spoolwright.core.numerics import FloatArray

DRAWS = 40


def modules(e: Explanation) -> frozenset[str]:
    return frozenset(s.cause.id for s in e.causes if s.cause.kind == "module") or frozenset(e.ids)


def left_unknown(explanations: list[Explanation]) -> float:
    share: dict[frozenset[str], float] = {}
    for e in explanations:
        share[modules(e)] = share.get(modules(e), 0.0) + e.probability
    return float(entropy(np.array(list(share.values()))))


def joined(run: WeighedRun, cloud: Cloud, new: Further) -> tuple[FloatArray, list[Signature]]:
    """Covariance and signatures of the data that were seen and the new ones."""
    seen = run.weighing.covariance
    covariance = np.block([[seen, new.with_seen.T], [new.with_seen, new.own]])
    covariance[np.diag_indices(len(covariance))] *= 1.0 + 1e-12
    signatures = []
    for c, s in enumerate(run.weighing.signatures):
        errors = new.effects.errors[np.flatnonzero(cloud.owner == c)[:-1]]
        signatures.append(
            Signature(
                np.concatenate([s.slope, new.effects.slopes[c]]),
                np.concatenate([s.curvature, new.effects.curvatures[c]]),
                np.concatenate([s.errors, errors], axis=1),
            )
        )
    return covariance, signatures


@pytest.mark.parametrize("name", ["repeat", "calibration"])
def test_what_is_expected_is_learnt_on_average(name: str) -> None:
    run = weighed_run("compressor_fouling", 4.0)
    weighing, cloud = run.weighing, cloud_of(run.weighing)
    planner = Planner(run.weigher, weighing)
    new = planner.repeated() if name == "repeat" else planner.calibration("p2", 0.3)
    numbers = {k: i for i, k in enumerate(dict.fromkeys(modules(e) for e in cloud.explanations))}
    groups = np.array([numbers[modules(e)] for e in cloud.explanations])[cloud.of]
    noise = paired_noise(2048, new.own.shape[0], 1)
    expected = measured(cloud.weights, groups, planner.means(cloud, new), noise).information

    covariance, signatures = joined(run, cloud, new)
    carried = np.linalg.solve(weighing.covariance, new.with_seen.T).T
    lower = np.linalg.cholesky(new.own - carried @ new.with_seen.T)
    before, after = planner.before.of(cloud), new.effects.of(cloud)
    random = np.random.default_rng(3)
    left = []
    for k in random.choice(len(cloud.weights), size=DRAWS, p=cloud.weights):
        mean = after[k] + carried @ (weighing.surprise - before[k])
        y = mean + lower @ random.standard_normal(len(lower))
        white = whitened(np.concatenate([weighing.surprise, y]), covariance, signatures)
        left.append(left_unknown(weighed(white, weighing.causes, run.weigher.shares)))
    realised = left_unknown(list(weighing.explanations)) - np.mean(left)
    assert realised == pytest.approx(expected, abs=4.0 * np.std(left) / np.sqrt(DRAWS) + 0.02)
