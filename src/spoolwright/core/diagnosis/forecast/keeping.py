"""Rule books as plain lists and numbers, the form in which a shop keeps what it learnt."""

from __future__ import annotations

from dataclasses import replace
from typing import Any, Final

import numpy as np

from spoolwright.core.diagnosis.forecast.published import published_rules
from spoolwright.core.diagnosis.forecast.rules import Coefficients, RuleBook
from spoolwright.errors import InputError

FORMAT: Final = "spoolwright-rules-1"


def rules_to_dict(book: RuleBook) -> dict[str, Any]:
    """A rule book as plain types, ready for JSON.

    Parameters
    ----------
    book : RuleBook
        Rules and what was learnt [-].

    Returns
    -------
    dict
        Coefficients with mean, standard deviation, prior and source for people; covariance for the program
        [-].
    """
    learnt, prior = book.learnt, book.prior(book.learnt.keys)
    rows = []
    for i, (name, stage) in enumerate(learnt.keys):
        rule = book.named(name)
        rows.append(
            {
                "rule": name,
                "stage": stage,
                "mean": float(learnt.mean[i]),
                "standard_deviation": float(learnt.standard_deviation[i]),
                "prior_mean": float(prior.mean[i]),
                "prior_standard_deviation": float(prior.standard_deviation[i]),
                "text": rule.text,
                "source": rule.source,
            }
        )
    return {
        "format": FORMAT,
        "type_id": book.type_id,
        "builds": book.builds,
        "scatter_scale": book.scatter_scale,
        "coefficients": rows,
        "covariance": learnt.covariance.tolist(),
    }


def rules_from_dict(given: Any) -> RuleBook:
    """Read what `rules_to_dict` wrote.

    Parameters
    ----------
    given : dict
        Parsed JSON [-].

    Returns
    -------
    RuleBook
        The published rules with what was learnt [-].

    Raises
    ------
    InputError
        When it is no rules file of this version, or names a rule that is not known.
    """
    book = published_rules()
    try:
        if not isinstance(given, dict) or given.get("format") != FORMAT:
            raise ValueError("it has another format")
        rows = given["coefficients"]
        keys = tuple((book.named(str(r["rule"])).name, int(r["stage"])) for r in rows)
        mean = np.array([float(r["mean"]) for r in rows])
        covariance = np.array(given["covariance"], dtype=float).reshape(len(rows), len(rows))
        scale, builds = float(given["scatter_scale"]), int(given["builds"])
        _check(keys, mean, covariance, scale, builds)
    except (LookupError, TypeError, ValueError, ArithmeticError, InputError) as error:
        told = f"{error} is missing" if isinstance(error, KeyError) else str(error)
        raise InputError(
            f"this is not a rules file of this version ({told[:200]}).",
            mend="Give the file that `spoolwright forecast-learn` wrote.",
        ) from error
    return replace(
        book,
        learnt=Coefficients(keys, mean, covariance),
        builds=builds,
        scatter_scale=scale,
        type_id=str(given.get("type_id", "")),
    )


def _check(
    keys: tuple[tuple[str, int], ...],
    mean: np.ndarray,
    covariance: np.ndarray,
    scale: float,
    builds: int,
) -> None:
    if len(set(keys)) != len(keys):
        raise ValueError("a coefficient stands in it twice")
    if not (
        np.isfinite(mean).all() and np.isfinite(covariance).all() and 0.0 < scale < 100.0 and builds >= 0
    ):
        raise ValueError("a number is not finite or out of range")
    if len(keys) and (
        np.abs(covariance - covariance.T).max() > 1e-9 * np.abs(covariance).max()
        or np.linalg.eigvalsh(covariance).min() <= 0.0
    ):
        raise ValueError("its covariance is none")
