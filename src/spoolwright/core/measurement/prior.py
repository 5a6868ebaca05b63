"""A stated prior: what is held about the true values before this measurement, in printable form."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, TypeAlias

import numpy as np

from spoolwright.core.measurement.channel import FloatArray
from spoolwright.errors import InputError

Family: TypeAlias = Literal["normal", "lognormal", "gamma", "rectangular"]
_PARAMETERS = {
    "normal": ("mean", "standard deviation"),
    "lognormal": ("mean of the logarithm", "standard deviation of the logarithm"),
    "gamma": ("shape", "scale"),
    "rectangular": ("lower end", "upper end"),
}


@dataclass(frozen=True)
class Prior:
    """A probability distribution of the true values, with where it comes from.

    Parameters
    ----------
    family : {"normal", "lognormal", "gamma", "rectangular"}
        Kind of distribution [-].
    first : float
        Mean, mean of the logarithm, shape, or lower end [inner].
    second : float
        Standard deviation, standard deviation of the logarithm, scale, or upper end [inner].
    source : str
        Where it comes from, for the page: which engines, how many, until when [-].

    Raises
    ------
    InputError
        When the family is unknown, the parameters make no distribution, or no source is named.

    References
    ----------
    JCGM 106:2012, 6.2 and A.4.

    Examples
    --------
    >>> print(Prior("normal", 0.02, 0.015, "212 overhauled engines, 2019 to 2024"))
    normal, mean 0.02, standard deviation 0.015 (212 overhauled engines, 2019 to 2024)
    """

    family: Family
    first: float
    second: float
    source: str

    def __post_init__(self) -> None:
        if self.family not in _PARAMETERS:
            raise InputError(
                f"prior family '{self.family}' is not known.", mend=f"Use one of: {', '.join(_PARAMETERS)}."
            )
        sound = np.isfinite(self.first) and np.isfinite(self.second)
        positive = self.second > (self.first if self.family == "rectangular" else 0.0)
        if not (sound and positive and (self.family != "gamma" or self.first > 0)):
            raise InputError(
                f"a {self.family} prior cannot have {self._parameters()}.",
                mend="Widths, shapes and scales are positive, ends in rising order.",
            )
        if not self.source.strip():
            raise InputError(
                "a prior has no source.", mend="Say what it rests on; it is printed with the result."
            )

    def __str__(self) -> str:
        return f"{self.family}, {self._parameters()} ({self.source})"

    def _parameters(self) -> str:
        names = _PARAMETERS.get(self.family, ("first", "second"))
        return f"{names[0]} {self.first:g}, {names[1]} {self.second:g}"

    def probability_below(self, values: FloatArray) -> FloatArray:
        """Distribution function.

        Parameters
        ----------
        values : array
            True values [inner].

        Returns
        -------
        array
            Probability of a smaller true value [-].
        """
        return self._tail(np.asarray(values, dtype=float), upper=False)

    def probability_above(self, values: FloatArray) -> FloatArray:
        """Complement of the distribution function, with all its digits.

        Parameters
        ----------
        values : array
            True values [inner].

        Returns
        -------
        array
            Probability of a larger true value [-].
        """
        return self._tail(np.asarray(values, dtype=float), upper=True)

    def quantiles(self, probabilities: FloatArray) -> FloatArray:
        """Inverse of the distribution function.

        Parameters
        ----------
        probabilities : array
            Probabilities [-].

        Returns
        -------
        array
            True values [inner].
        """
        return self._quantile(np.asarray(probabilities, dtype=float), upper=False)

    def upper_quantiles(self, probabilities: FloatArray) -> FloatArray:
        """Inverse of the complement of the distribution function.

        Parameters
        ----------
        probabilities : array
            Probabilities of a larger true value [-].

        Returns
        -------
        array
            True values [inner].
        """
        return self._quantile(np.asarray(probabilities, dtype=float), upper=True)

    def _tail(self, values: FloatArray, upper: bool) -> FloatArray:
        from scipy.special import gammainc, gammaincc, ndtr

        sign = -1.0 if upper else 1.0
        if self.family == "rectangular":
            part = np.clip((values - self.first) / (self.second - self.first), 0.0, 1.0)
            return 1.0 - part if upper else part
        if self.family == "gamma":
            scaled = np.maximum(values, 0.0) / self.second
            return np.asarray((gammaincc if upper else gammainc)(self.first, scaled), dtype=float)
        if self.family == "lognormal":
            with np.errstate(divide="ignore"):
                values = np.log(np.maximum(values, 0.0))
        return np.asarray(ndtr(sign * (values - self.first) / self.second), dtype=float)

    def _quantile(self, probabilities: FloatArray, upper: bool) -> FloatArray:
        from scipy.special import gammainccinv, gammaincinv, ndtri

        sign = -1.0 if upper else 1.0
        if self.family == "rectangular":
            start = self.second if upper else self.first
            return start + sign * probabilities * (self.second - self.first)
        if self.family == "gamma":
            inverse = gammainccinv if upper else gammaincinv
            return np.asarray(self.second * inverse(self.first, probabilities), dtype=float)
        values = np.asarray(self.first + sign * self.second * ndtri(probabilities), dtype=float)
        return np.exp(values) if self.family == "lognormal" else values
