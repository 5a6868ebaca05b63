"""A fixed small slice of the proof tests/prove/reduction.py."""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parent.parent / "prove"))
import reduction

LEARNT, ASKED = 40, 80


@pytest.fixture(scope="module")
def errors() -> tuple[reduction.Errors, reduction.Errors, reduction.Errors]:
    trial = reduction.Trial(lambda done, total: None, LEARNT + ASKED)
    return trial.errors(ASKED, 52_000, reduction.INSIDE, trial.learn(LEARNT, 51_000))


@pytest.mark.parametrize("which", [0, 1, 2], ids=["model", "wide prior", "approved"])
def test_errors_are_as_large_as_stated_and_no_larger(
    errors: tuple[reduction.Errors, reduction.Errors, reduction.Errors], which: int
) -> None:
    e = errors[which]
    z = e.error / (e.half_width / 1.96)
    # Of 80 standard normal values the mean lies within 4 / sqrt(80), the deviation within 4 / sqrt(160) of 1.
    assert abs(z.mean()) < 4.0 / np.sqrt(ASKED)
    assert abs(z.std() - 1.0) < 4.0 / np.sqrt(2.0 * ASKED)
    # Binomial, 80 trials at 95 %: 69 or fewer inside has a probability below 1e-3.
    assert e.coverage * ASKED >= 70


def test_bias_is_small_against_what_one_run_can_tell(
    errors: tuple[reduction.Errors, reduction.Errors, reduction.Errors],
) -> None:
    model = errors[0]
    assert abs(model.bias) < 1e-3 + 4.0 * model.standard_error
    assert model.stated < 0.3 * float(model.half_width.mean())
