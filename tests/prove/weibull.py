"""Reliability: lives with suspensions and survival curves against general libraries

Random Weibull lives with random suspensions, drawn as in tests/reference/test_reliability.py. Oracles: the
packages `reliability` (Fit_Weibull_2P) and `lifelines` (KaplanMeierFitter).
"""

from __future__ import annotations

import sys
import warnings
from collections.abc import Callable
from importlib import import_module
from pathlib import Path
from typing import Any

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "reference"))
from test_reliability import random_set

from spoolwright.core.reliability.survival import product_limit
from spoolwright.core.reliability.weibull import LifeData, weibull_fit

SETS = 200
DIGITS = 5e-5
CLAIM = """
On 200 random censored sets Weibull shape and scale agree with the package `reliability` to 4 digits
(relative 5e-5), or the likelihood found here is higher where they do not; the likelihood is nowhere worse.
Product-limit survival and its interval agree with `lifelines` to 1e-9.
"""
Report = Callable[[int, int], None]


def run(progress: Report) -> dict[str, Any]:
    """Every set, none dropped."""
    apart, better, worse, worst = 0, 0, 0, 0.0
    rng = np.random.default_rng(5301)
    for n in range(SETS):
        difference, gain = _fit(*random_set(rng))
        worst = max(worst, difference)
        worse += gain < -1e-9
        better += difference > DIGITS and gain > 0.0
        apart += difference > DIGITS and gain <= 0.0
        progress(n + 1, 2 * SETS)
    curve = 0.0
    rng = np.random.default_rng(5302)
    for n in range(SETS):
        curve = max(curve, _curve(*random_set(rng)))
        progress(SETS + n + 1, 2 * SETS)
    measured = {
        "largest relative difference of shape or scale": f"{worst:.1e}",
        "sets beyond 4 digits where the likelihood here is higher": f"{better} of {SETS}",
        "sets beyond 4 digits otherwise": f"{apart} of {SETS}",
        "sets with a worse likelihood": f"{worse} of {SETS}",
        "largest difference of survival or its interval": f"{curve:.1e}",
    }
    holds = apart == 0 and worse == 0 and curve <= 1e-9
    return {"claim": " ".join(CLAIM.split()), "measured": measured, "cases": 2 * SETS, "holds": holds}


def _fit(failures: np.ndarray, suspensions: np.ndarray) -> tuple[float, float]:
    """Largest relative difference of shape and scale; likelihood here above the library's, relative."""
    mine = weibull_fit(LifeData.of(failures, suspensions))
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        other = import_module("reliability.Fitters").Fit_Weibull_2P(
            failures=failures, right_censored=suspensions if suspensions.size else None,
            show_probability_plot=False, print_results=False,
        )  # fmt: skip
    difference = max(abs(mine.shape / other.beta - 1.0), abs(mine.scale / other.alpha - 1.0))
    return difference, (mine.log_likelihood - other.loglik) / abs(other.loglik)


def _curve(failures: np.ndarray, suspensions: np.ndarray) -> float:
    """Largest difference of survival or its interval; ages rounded, so that some tie."""
    from lifelines import KaplanMeierFitter

    failures, suspensions = np.round(failures) + 1.0, np.round(suspensions) + 1.0
    mine = product_limit(failures, suspensions)
    fitter = KaplanMeierFitter().fit(
        np.concatenate([failures, suspensions]),
        np.concatenate([np.ones(failures.size), np.zeros(suspensions.size)]),
    )
    theirs = fitter.survival_function_.loc[mine.ages].to_numpy()[:, 0]
    band = fitter.confidence_interval_.loc[mine.ages].to_numpy()
    inner = (mine.survival > 0.0) & (mine.survival < 1.0)
    low, high = mine.interval()
    gaps = [mine.survival - theirs, (low - band[:, 0])[inner], (high - band[:, 1])[inner]]
    return max(float(np.abs(g).max(initial=0.0)) for g in gaps)
