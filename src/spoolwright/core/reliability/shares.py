"""Shares of a count, with the exact binomial interval."""

from __future__ import annotations

from dataclasses import dataclass

from spoolwright.errors import RangeError


@dataclass(frozen=True)
class BinomialShare:
    """A share of a count.

    Parameters
    ----------
    found, of : int
        So many of so many [-].
    low, high : float
        Interval of the share [-].
    """

    found: int
    of: int
    low: float
    high: float

    @property
    def value(self) -> float:
        """Found over count; zero where nothing was looked at [-]."""
        return self.found / self.of if self.of else 0.0


def binomial_share(found: int, of: int, coverage: float = 0.95) -> BinomialShare:
    """A share with its exact interval.

    Parameters
    ----------
    found, of : int
        So many of so many [-].
    coverage : float
        Of the interval, both sides alike [-].

    Returns
    -------
    BinomialShare
        With an interval of 0 to 1 where nothing was looked at [-].

    Raises
    ------
    RangeError
        More were found than looked at, or a number is below zero.

    Notes
    -----
    Covers at least what is stated for every true share; more for small counts.

    References
    ----------
    C. J. Clopper, E. S. Pearson, Biometrika 26 (1934) 404-413.

    Examples
    --------
    >>> binomial_share(0, 10).low, round(binomial_share(0, 10).high, 4)
    (0.0, 0.3085)
    """
    from scipy.stats import beta

    if not 0 <= found <= of or not 0.0 < coverage < 1.0:
        raise RangeError(
            f"{found} of {of} is no share.", mend="Count what was found among what was looked at."
        )
    tail = (1.0 - coverage) / 2.0
    low = float(beta.ppf(tail, found, of - found + 1)) if found else 0.0
    high = float(beta.ppf(1.0 - tail, found + 1, of - found)) if found < of else 1.0
    return BinomialShare(found, of, low, high)
