"""Uncertainty budget of a list of channels: shared and independent systematic errors, random parts."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from spoolwright.core.measurement.channel import ErrorSource, FloatArray, SystematicPart
from spoolwright.core.measurement.quantities import InputQuantities
from spoolwright.errors import InputError


@dataclass(frozen=True)
class SystematicBudget:
    """Systematic errors of channels as offsets and gains of independent sources.

    Parameters
    ----------
    channels : tuple of n str
        Channel identifiers, in the order of every array [-].
    sources : tuple of k ErrorSource
        Independent errors [-].
    offset : array, shape (n, k)
        Standard uncertainty of the offset that a source gives a channel [inner].
    gain : array, shape (n, k)
        Standard uncertainty of the gain error that a source gives a channel [-].
    """

    channels: tuple[str, ...]
    sources: tuple[ErrorSource, ...]
    offset: FloatArray
    gain: FloatArray

    def components(self, readings: FloatArray) -> FloatArray:
        """What each source contributes at given readings.

        Parameters
        ----------
        readings : array, shape (..., n)
            Readings; leading axes are points of the run [inner].

        Returns
        -------
        array, shape (..., n, k)
            Signed standard uncertainties [inner].
        """
        values = np.asarray(readings, dtype=float)[..., np.newaxis]
        contributions: FloatArray = self.offset + self.gain * values
        return contributions

    def _flat_components(self, readings: FloatArray) -> FloatArray:
        return self.components(readings).reshape(np.size(readings), len(self.sources))

    def covariance(self, readings: FloatArray) -> FloatArray:
        """Covariance of the systematic parts, between channels and between points.

        Parameters
        ----------
        readings : array, shape (..., n)
            Readings; leading axes are points of the run [inner].

        Returns
        -------
        array, shape (N, N), N the number of readings
            Covariance of the readings in their flattened order [inner²].
        """
        flat = self._flat_components(readings)
        covariance: FloatArray = flat @ flat.T
        return covariance

    def quantities(
        self,
        readings: FloatArray,
        random: FloatArray,
        random_degrees_of_freedom: FloatArray | float = math.inf,
    ) -> InputQuantities:
        """The readings as input quantities of a measurement model: systematic and random parts together.

        Parameters
        ----------
        readings : array, shape (..., n)
            Means of the hold or holds [inner].
        random : array, shape (..., n)
            Standard uncertainties of those means from their scatter [inner].
        random_degrees_of_freedom : array or float
            Of the random parts [-].

        Returns
        -------
        InputQuantities
            One quantity a reading in flattened order; the systematic sources first, then a random one each
            [inner].

        Notes
        -----
        Random parts are taken as independent between channels and between points.

        Examples
        --------
        >>> parts = [SystematicPart("p2", "pressure standard", absolute=30.0),
        ...          SystematicPart("p3", "pressure standard", absolute=40.0)]
        >>> q = systematic_budget(parts, ["p2", "p3"]).quantities(np.array([1e5, 9e5]), np.array([10.0, 0.0]))
        >>> q.covariance.tolist()
        [[1000.0, 1200.0], [1200.0, 1600.0]]
        """
        values = np.asarray(readings, dtype=float)
        scatter = np.broadcast_to(np.asarray(random, dtype=float), values.shape).ravel()
        freedom = np.broadcast_to(np.asarray(random_degrees_of_freedom, dtype=float), values.shape).ravel()
        names = np.broadcast_to(np.array(self.channels, dtype=object), values.shape).ravel()
        own = tuple(
            ErrorSource(f"scatter of {name}", "normal", float(nu))
            for name, nu in zip(names, freedom, strict=True)
        )
        systematic = self._flat_components(values)
        return InputQuantities(values.ravel(), np.hstack([systematic, np.diag(scatter)]), self.sources + own)


def systematic_budget(parts: Sequence[SystematicPart], channels: Sequence[str]) -> SystematicBudget:
    """Put the systematic parts of channels together.

    Parameters
    ----------
    parts : sequence of SystematicPart
        Parts of any channels; those of channels not asked for are left aside [-].
    channels : sequence of str
        Channels wanted, in order [-].

    Returns
    -------
    SystematicBudget
        A channel without parts has no systematic uncertainty [-].

    Raises
    ------
    InputError
        When parts of one shared source disagree about its distribution or degrees of freedom, a channel
        states the same shared source twice, or the list names a channel twice.

    References
    ----------
    JCGM 100:2008, 5.2.4 and F.1.2.3: a common standard makes estimates correlated.
    """
    row = {name: i for i, name in enumerate(channels)}
    if len(row) != len(channels):
        raise InputError("a channel is listed twice.", mend="List each channel once.")
    columns: dict[tuple[str, ...], ErrorSource] = {}
    entries: list[tuple[int, tuple[str, ...], float, float]] = []
    for part in parts:
        if part.channel not in row:
            continue
        for effect, offset, gain in (("offset", part.absolute, 0.0), ("gain", 0.0, part.relative)):
            if offset == 0 and gain == 0:
                continue
            key = _column(part, effect, len(entries))
            _register(columns, key, part)
            entries.append((row[part.channel], key, offset, gain))
    order = {key: j for j, key in enumerate(columns)}
    offsets = np.zeros((len(row), len(order)))
    gains = np.zeros_like(offsets)
    for i, key, offset, gain in entries:
        if offsets[i, order[key]] or gains[i, order[key]]:
            raise InputError(
                f"channel '{channels[i]}' states the shared source '{key[1]}' twice.",
                mend="Combine the two parts into one, or name their sources apart.",
            )
        offsets[i, order[key]], gains[i, order[key]] = offset, gain
    return SystematicBudget(tuple(channels), tuple(columns.values()), offsets, gains)


def _column(part: SystematicPart, effect: str, serial: int) -> tuple[str, ...]:
    if part.kind == "shared":
        return (effect, part.source)
    return (effect, part.source, part.channel, str(serial))


def _register(
    columns: dict[tuple[str, ...], ErrorSource], key: tuple[str, ...], part: SystematicPart
) -> None:
    owner = "" if part.kind == "shared" else f" of {part.channel}"
    source = ErrorSource(f"{part.source}{owner}, {key[0]}", part.distribution, part.degrees_of_freedom)
    known = columns.setdefault(key, source)
    if known != source:
        raise InputError(
            f"source '{part.source}' is {known.distribution} with {known.degrees_of_freedom:g} degrees of "
            f"freedom for one channel and {source.distribution} with {source.degrees_of_freedom:g} "
            f"for '{part.channel}'.",
            mend="A shared error is one error: state it alike for every channel, or name the sources apart.",
        )
