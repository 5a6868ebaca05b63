"""A stated prior: what is held about the true values before this measurement, in printable form."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Literal, TypeAlias

import numpy as np

from spoolwright.core.measurement.channel import FloatArray
from spoolwright.errors import InputError

Family: TypeAlias = Literal["normal", "gamma", "rectangular"]
_PARAMETERS = {
    "normal": ("mean", "standard deviation"),
    "gamma": ("shape", "scale"),
    "rectangular": ("lower end", "upper end"),
}


@dataclass(frozen=True)
class Prior:
    """A probability distribution of the true values, with where it comes from.

    Parameters
    ----------
    family : {"normal", "gamma", "rectangular"}
        Kind of distribution [-].
    first : float
        Mean, shape, or lower end [inner].
    second : float
        Standard deviation, scale, or upper end [inner].
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

    def density(self, values: FloatArray) -> FloatArray:
        """Probability density.

        Parameters
        ----------
        values : array
            True values [inner].

        Returns
        -------
        array
            Density [1/inner].
        """
        return np.asarray(self._frozen().pdf(values), dtype=float)

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
        return np.asarray(self._frozen().cdf(values), dtype=float)

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
        return np.asarray(self._frozen().ppf(probabilities), dtype=float)

    def _frozen(self) -> Any:
        from scipy import stats

        if self.family == "normal":
            return stats.norm(self.first, self.second)
        if self.family == "gamma":
            return stats.gamma(self.first, scale=self.second)
        return stats.uniform(self.first, self.second - self.first)
