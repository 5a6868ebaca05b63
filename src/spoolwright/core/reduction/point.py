"""A performance point as it passes from finding the holds to reducing them. Frozen records."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]


@dataclass(frozen=True)
class Systematic:
    """One systematic part of a channel's error.

    Parameters
    ----------
    source : str
        Calibration standard or cause. The same name on another channel, point or run means the same error
        there [-].
    uncertainty : float
        Standard uncertainty; negative where the shared error moves this channel the other way [inner unit].
    degrees_of_freedom : float
        Degrees of freedom of `uncertainty`; infinite when it is taken as known [-].
    distribution : str
        "normal", "rectangular" or "triangular", as the type file says [-].
    """

    source: str
    uncertainty: float
    degrees_of_freedom: float = math.inf
    distribution: str = "normal"


@dataclass(frozen=True)
class ChannelMean:
    """A channel's mean over a point's averaging window, and what is known of its error.

    Parameters
    ----------
    channel : str
        Channel identifier of the type file [-].
    mean : float
        Mean, with signed corrections applied [inner unit].
    random : float
        Standard uncertainty of the mean from scatter, autocorrelation allowed for [inner unit].
    effective_samples : float
        Independent samples the mean is worth [-].
    random_degrees_of_freedom : float
        Degrees of freedom of `random` [-].
    drift : float
        Change over the window, fitted straight line [inner unit].
    systematic : tuple of Systematic
        Systematic parts by source [-].
    as_recorded : float or None
        Mean of the values as recorded, where a person signed a correction of them [inner unit].
    findings : tuple of str
        Ids of findings on the data that bar this mean from being judged [-].
    """

    channel: str
    mean: float
    random: float
    effective_samples: float
    random_degrees_of_freedom: float = math.inf
    drift: float = 0.0
    systematic: tuple[Systematic, ...] = ()
    as_recorded: float | None = None
    findings: tuple[str, ...] = ()

    @property
    def systematic_uncertainty(self) -> float:
        """Root sum of squares of the systematic parts."""
        return math.sqrt(sum(s.uncertainty**2 for s in self.systematic))

    @property
    def uncertainty(self) -> float:
        """Standard uncertainty of the mean, random and systematic together."""
        return math.hypot(self.random, self.systematic_uncertainty)


@dataclass(frozen=True)
class Criterion:
    """One stabilisation criterion of the type file, as this hold met it or did not.

    Parameters
    ----------
    channel : str
        Channel identifier [-].
    drift : float
        Change over the criterion's window [inner unit, a difference].
    allowed : float
        Largest change that counts as steady [inner unit, a difference].
    met : bool
        Whether the hold is steady by this criterion [-].
    """

    channel: str
    drift: float
    allowed: float
    met: bool


@dataclass(frozen=True)
class PointData:
    """A hold taken as a performance point.

    Parameters
    ----------
    id : str
        Name of the point, unique within the visit [-].
    run : str
        Run the point belongs to [-].
    from_s, to_s : float
        Averaging window, seconds from the start of the recording [s].
    block : int
        Rises by one at every adjustment, counted over the whole visit; blocks are never mixed [-].
    channels : dict
        Channel identifier to `ChannelMean`; a channel that was not recorded is absent [-].
    schedule_item, rating : str or None
        What of the schedule the hold shows, and at which rating [-].
    criteria : tuple of Criterion
        Stabilisation criteria [-].
    random_correlation : array or None, shape (n, n)
        Correlation of the channels' scatter, in the order of `channels`; None means none [-].
    why_not : tuple of str
        What, besides the criteria, keeps the hold from being a steady point [-].
    """

    id: str
    run: str
    from_s: float
    to_s: float
    block: int
    channels: dict[str, ChannelMean]
    schedule_item: str | None = None
    rating: str | None = None
    criteria: tuple[Criterion, ...] = ()
    random_correlation: FloatArray | None = field(default=None, compare=False)
    why_not: tuple[str, ...] = ()

    @property
    def steady(self) -> bool:
        """Whether every stabilisation criterion is met and nothing else speaks against it."""
        return not self.why_not and all(c.met for c in self.criteria)
