"""Physical rules: what a finding does to a module's condition, with the uncertainty of each coefficient.

A rule turns the excess of a finding over its nominal value into a change of one condition factor. Its
coefficient is known only in part; stages of a module share most of that ignorance. Coefficients of stages
that were never seen follow from those that were by the rule's own correlation.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final, TypeAlias

import numpy as np

from spoolwright.core.numerics import FloatArray
from spoolwright.errors import InputError

ADDED: Final = ("leak", "vane_offset")
"""Condition factors to which a change is added; all others are multiplied by the exponential of it."""

Key: TypeAlias = tuple[str, int]
"""A rule's name and the stage; stage 0 where a rule knows none."""


@dataclass(frozen=True)
class Rule:
    """One physical rule with its coefficient.

    Parameters
    ----------
    name : str
        Its name in rules files [-].
    cause : str
        The kind of finding it starts from, see `published.CAUSES` [-].
    module : str
        Module to which it applies; empty where the cause itself names it [-].
    factor : str
        The condition factor that it changes [-].
    mean : float
        Change of the factor for each unit of the finding's excess: per cent of a multiplying factor, per cent
        of inlet flow of the leak, degrees of the vanes [% per unit, deg per unit].
    standard_deviation : float
        Of the coefficient before any build was compared [as mean].
    low, high : float
        Range of the finding's excess in which the rule is stated to hold [unit of the finding].
    source : str
        Where it was taken from, and how far that was verified [-].
    shared : float
        Part of the variance that all stages have in common [-].
    text : str
        The rule in a sentence [-].
    """

    name: str
    cause: str
    module: str
    factor: str
    mean: float
    standard_deviation: float
    low: float
    high: float
    source: str
    shared: float = 1.0
    text: str = ""

    def prior_covariance(self, stages: Sequence[int]) -> FloatArray:
        """Covariance of the coefficient at several stages before any build was compared, shape (n, n)."""
        s = np.asarray(stages)
        same = (s[:, None] == s[None, :]).astype(float)
        return np.asarray(self.standard_deviation**2 * (self.shared + (1.0 - self.shared) * same))


@dataclass(frozen=True)
class Coefficients:
    """Joint normal distribution of coefficients.

    Parameters
    ----------
    keys : tuple of (str, int)
        Rule and stage of each [-].
    mean : array, shape (n,)
        Best values [as `Rule.mean`].
    covariance : array, shape (n, n)
        Their covariance [square of that].
    """

    keys: tuple[Key, ...]
    mean: FloatArray
    covariance: FloatArray

    @property
    def standard_deviation(self) -> FloatArray:
        """Standard deviation of each, shape (n,)."""
        return np.asarray(np.sqrt(np.diag(self.covariance)))


_NOTHING = Coefficients((), np.zeros(0), np.zeros((0, 0)))


@dataclass(frozen=True)
class RuleBook:
    """The rules in force and what the shop's own builds have taught of them.

    Parameters
    ----------
    rules : tuple of Rule
        Rules, names unique [-].
    learnt : Coefficients
        Coefficients after learning; empty before [-].
    builds : int
        Number of builds learnt from [-].
    scatter_scale : float
        Factor on the build scatter that the builds showed; 1 before learning [-].
    type_id : str
        Type they were learnt for; empty fits any [-].
    """

    rules: tuple[Rule, ...]
    learnt: Coefficients = _NOTHING
    builds: int = 0
    scatter_scale: float = 1.0
    type_id: str = ""

    def named(self, name: str) -> Rule:
        """The rule of a name.

        Parameters
        ----------
        name : str
            Name of a rule [-].

        Returns
        -------
        Rule
            The rule [-].

        Raises
        ------
        InputError
            No rule has this name.
        """
        for rule in self.rules:
            if rule.name == name:
                return rule
        known = ", ".join(r.name for r in self.rules)
        raise InputError(f"there is no rule '{name}'.", mend=f"Use one of: {known}.")

    def of(self, cause: str, module: str) -> tuple[Rule, ...]:
        """Rules that start from a kind of finding in a module.

        Parameters
        ----------
        cause, module : str
            Kind of finding and module [-].

        Returns
        -------
        tuple of Rule
            In the book's order [-].
        """
        return tuple(r for r in self.rules if r.cause == cause and r.module in ("", module))

    def prior(self, keys: Sequence[Key]) -> Coefficients:
        """Coefficients before any build was compared.

        Parameters
        ----------
        keys : sequence of (str, int)
            Rules and stages [-].

        Returns
        -------
        Coefficients
            Different rules are independent; stages of one rule share `Rule.shared` of the variance [-].
        """
        mean = np.array([self.named(name).mean for name, _ in keys])
        covariance = np.zeros((len(keys), len(keys)))
        for rule in self.rules:
            at = [i for i, (name, _) in enumerate(keys) if name == rule.name]
            if at:
                covariance[np.ix_(at, at)] = rule.prior_covariance([keys[i][1] for i in at])
        return Coefficients(tuple(keys), mean, covariance)

    def coefficients(self, keys: Sequence[Key]) -> Coefficients:
        """Coefficients as known now: as learnt, and for stages never seen as the learnt ones imply.

        Parameters
        ----------
        keys : sequence of (str, int)
            Rules and stages [-].

        Returns
        -------
        Coefficients
            Prior where nothing was learnt [-].

        Notes
        -----
        With joint prior covariance C of the wanted (w) and learnt (l) coefficients and gain G = C_wl / C_ll,
        the mean is m_w + G (learnt - m_l), the covariance C_ww - G C_lw + G V G', V being what was learnt.

        References
        ----------
        Any text on the multivariate normal distribution: conditional and total expectation.
        """
        seen = self.learnt.keys
        if not seen:
            return self.prior(keys)
        both = self.prior((*keys, *seen))
        n = len(keys)
        cross, known = both.covariance[:n, n:], both.covariance[n:, n:]
        gain = np.linalg.solve(known, cross.T).T
        mean = both.mean[:n] + gain @ (self.learnt.mean - both.mean[n:])
        covariance = both.covariance[:n, :n] - gain @ cross.T + gain @ self.learnt.covariance @ gain.T
        return Coefficients(tuple(keys), mean, 0.5 * (covariance + covariance.T))

    def with_model_errors(self, standard_deviations: Mapping[str, float]) -> RuleBook:
        """The book with the model's own errors stated otherwise, as a calibration found them.

        Parameters
        ----------
        standard_deviations : mapping
            Name of a rule of cause "model" to its standard deviation [-].

        Returns
        -------
        RuleBook
            A new book [-].
        """
        known = dict(standard_deviations)
        rules = (replace(r, standard_deviation=known.get(r.name, r.standard_deviation)) for r in self.rules)
        return replace(self, rules=tuple(rules))
