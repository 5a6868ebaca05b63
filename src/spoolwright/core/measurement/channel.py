"""What is known about a channel's systematic error: its parts, each with the source it comes from.

A part is either independent (it belongs to one channel alone) or shared: parts of the same named source are
one and the same error seen by several channels (one pressure standard, one reference junction).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal, TypeAlias

import numpy as np
from numpy.typing import NDArray

from spoolwright.errors import InputError

if TYPE_CHECKING:
    from numpy.random import Generator

FloatArray: TypeAlias = NDArray[np.float64]
Distribution: TypeAlias = Literal["normal", "rectangular", "triangular"]
_DISTRIBUTIONS = ("normal", "rectangular", "triangular")


@dataclass(frozen=True)
class ErrorSource:
    """One independent cause of error with its distribution, in units of its own standard uncertainty.

    Parameters
    ----------
    name : str
        What it is called on a page [-].
    distribution : {"normal", "rectangular", "triangular"}
        Shape. A normal source with finite degrees of freedom is sampled as Student's t [-].
    degrees_of_freedom : float
        How well its standard uncertainty is known; infinite when taken as exact [-].

    Raises
    ------
    InputError
        When the distribution is not one of the three or the degrees of freedom are not positive.

    References
    ----------
    JCGM 100:2008, 4.3 and G.4.2; JCGM 101:2008, 6.4.2, 6.4.5, 6.4.7, 6.4.9.
    """

    name: str
    distribution: Distribution = "normal"
    degrees_of_freedom: float = math.inf

    def __post_init__(self) -> None:
        if self.distribution not in _DISTRIBUTIONS:
            raise InputError(
                f"distribution '{self.distribution}' is not known.",
                mend=f"Use one of: {', '.join(_DISTRIBUTIONS)}.",
                where=f"error source {self.name}",
            )
        if not self.degrees_of_freedom > 0:
            raise InputError(
                f"degrees of freedom {self.degrees_of_freedom} must be positive.",
                mend="Leave them out when the standard uncertainty is taken as exact.",
                where=f"error source {self.name}",
            )

    def sample(self, generator: Generator, trials: int) -> FloatArray:
        """Draws of the standardised error.

        Parameters
        ----------
        generator : numpy.random.Generator
            Source of random numbers; its state moves on [-].
        trials : int
            How many [-].

        Returns
        -------
        array, shape (trials,)
            Mean 0; standard deviation 1, save Student's t, whose scale is 1 [-].
        """
        if self.distribution == "rectangular":
            return generator.uniform(-math.sqrt(3.0), math.sqrt(3.0), trials)
        if self.distribution == "triangular":
            return generator.triangular(-math.sqrt(6.0), 0.0, math.sqrt(6.0), trials)
        if math.isinf(self.degrees_of_freedom):
            return generator.standard_normal(trials)
        return generator.standard_t(self.degrees_of_freedom, trials)


@dataclass(frozen=True)
class SystematicPart:
    """One systematic part of a channel's uncertainty.

    Parameters
    ----------
    channel : str
        Channel it belongs to [-].
    source : str
        Calibration standard or cause [-].
    kind : {"shared", "independent"}
        Shared: every part of that source is the same error. Independent: the name is a label only [-].
    absolute : float
        Standard uncertainty of an offset error [inner].
    relative : float
        Standard uncertainty of a gain error as a fraction of the reading [-].
    distribution : {"normal", "rectangular", "triangular"}
        Shape of the error's distribution [-].
    degrees_of_freedom : float
        Of the standard uncertainty; infinite when taken as exact [-].

    Raises
    ------
    InputError
        When an uncertainty is negative or not a number, or both are zero.

    Notes
    -----
    Offset and gain error of one source are independent of each other: a part that states both has the
    standard uncertainty sqrt(absolute² + (relative · reading)²). A gain error keeps its sign: with one source
    it moves a positive and a negative reading apart.
    """

    channel: str
    source: str
    kind: Literal["shared", "independent"] = "shared"
    absolute: float = 0.0
    relative: float = 0.0
    distribution: Distribution = "normal"
    degrees_of_freedom: float = math.inf

    def __post_init__(self) -> None:
        where = f"channel {self.channel}, source {self.source}"
        if not (0 <= self.absolute < math.inf and 0 <= self.relative < math.inf):
            raise InputError(
                f"standard uncertainty (absolute {self.absolute}, relative {self.relative}) must be finite "
                "and not negative.",
                mend="State it as one standard uncertainty, not as a ± pair.",
                where=where,
            )
        if self.absolute == 0 and self.relative == 0:
            raise InputError(
                "neither an absolute nor a relative standard uncertainty is given.",
                mend="Give one of them, or leave the part out.",
                where=where,
            )
        if self.kind not in ("shared", "independent"):
            raise InputError(
                f"kind '{self.kind}' is not known.", mend="Use shared or independent.", where=where
            )


def standard_uncertainty_from_half_width(half_width: float, distribution: Distribution) -> float:
    """Standard uncertainty of an error known to lie within plus or minus a half-width.

    Parameters
    ----------
    half_width : float
        Largest possible error. For "normal" it is read as the 95 % half-width [inner].
    distribution : {"normal", "rectangular", "triangular"}
        Shape of the error's distribution [-].

    Returns
    -------
    float
        Standard uncertainty [inner].

    References
    ----------
    JCGM 100:2008, 4.3.4 (normal, 1.96 rounded as printed there), 4.3.7 (rectangular), 4.3.9 (triangular).

    Examples
    --------
    >>> round(standard_uncertainty_from_half_width(1.5, "rectangular"), 4)
    0.866
    """
    divisor = {"normal": 1.96, "rectangular": math.sqrt(3.0), "triangular": math.sqrt(6.0)}
    return half_width / divisor[distribution]
