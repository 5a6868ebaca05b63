"""Input quantities of a reduction as dual numbers: channel means of points, and what no channel gives."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from spoolwright.core.measurement.channel import Distribution, ErrorSource, FloatArray
from spoolwright.core.numerics import Dual, Number
from spoolwright.core.reduction.estimate import SCATTER, ErrorBasis
from spoolwright.core.reduction.point import PointData
from spoolwright.errors import InputError


@dataclass(frozen=True)
class Known:
    """A number that stands on the run sheet or in the type file.

    Parameters
    ----------
    value : float
        Best value [inner unit].
    uncertainty : float
        Standard uncertainty [inner unit].
    source : str
        Name of the error; the same name means the same error [-].
    """

    value: float
    uncertainty: float = 0.0
    source: str = ""


@dataclass
class _Columns:
    """Independent errors in order of appearance."""

    sources: list[ErrorSource] = field(default_factory=list)
    causes: list[str] = field(default_factory=list)
    known: dict[str, int] = field(default_factory=dict)

    def own(self, source: ErrorSource, cause: str) -> int:
        self.sources.append(source)
        self.causes.append(cause)
        return len(self.sources) - 1

    def shared(self, source: ErrorSource, cause: str) -> int:
        if source.name not in self.known:
            self.known[source.name] = self.own(source, cause)
        return self.known[source.name]


@dataclass(frozen=True)
class PointInputs:
    """Input quantities over n points.

    Parameters
    ----------
    basis : ErrorBasis
        The k errors they are made of [-].
    quantities : dict
        Name to a `Dual` over the points: values (n,), contributions (k, n); to plain arrays over Monte Carlo
        trials of one point [inner unit].
    """

    basis: ErrorBasis
    quantities: dict[str, Number]

    def __getitem__(self, name: str) -> Number:
        return self.quantities[name]

    def __contains__(self, name: str) -> bool:
        return name in self.quantities

    def trials(self, point: int, generator: np.random.Generator, trials: int) -> PointInputs:
        """Values that the quantities of one point take in Monte Carlo trials.

        Parameters
        ----------
        point : int
            Which point [-].
        generator : numpy.random.Generator
            Source of random numbers; its state moves on [-].
        trials : int
            How many [-].

        Returns
        -------
        PointInputs
            Quantities as arrays of shape (trials,) [inner unit].

        References
        ----------
        JCGM 101:2008, 6.4.
        """
        loadings = np.array([q.d[:, point] for q in self.quantities.values()])
        active = np.flatnonzero(np.any(loadings != 0.0, axis=0))
        errors = np.array([self.basis.sources[i].sample(generator, trials) for i in active])
        drawn = {
            name: q.v[point] + loadings[n, active] @ errors
            for n, (name, q) in enumerate(self.quantities.items())
        }
        return PointInputs(self.basis, drawn)


def point_inputs(
    points: Sequence[PointData],
    known: Mapping[str, Sequence[Known]] | None = None,
    extra: Sequence[tuple[ErrorSource, str]] = (),
) -> PointInputs:
    """Put channel means and known numbers of several points together, with all they have in common.

    Parameters
    ----------
    points : sequence of n PointData
        Points; a channel that any of them lacks is left out [-].
    known : mapping
        Name to one `Known` a point, for what no channel gives [inner unit].
    extra : sequence of (ErrorSource, cause)
        Errors that later steps add (of a model); they stand at the end of the basis [-].

    Returns
    -------
    PointInputs
        Quantities as dual numbers [inner unit].

    Raises
    ------
    InputError
        When there is no point.

    References
    ----------
    JCGM 100:2008, F.1.2.3: correlation through common influence quantities.
    """
    if not points:
        raise InputError("no point to reduce.", mend="Give at least one hold.")
    names = [c for c in points[0].channels if all(c in p.channels for p in points)]
    columns = _Columns()
    entries: dict[str, list[tuple[int, int, float]]] = {name: [] for name in names}
    for i, point in enumerate(points):
        _channel_entries(i, point, names, columns, entries)
    values = {name: [p.channels[name].mean for p in points] for name in names}
    for name, numbers in (known or {}).items():
        values[name] = [k.value for k in numbers]
        entries[name] = [
            (columns.shared(ErrorSource(k.source or name), k.source or name), i, k.uncertainty)
            for i, k in enumerate(numbers)
            if k.uncertainty > 0.0
        ]
    for source, cause in extra:
        columns.own(source, cause)
    basis = ErrorBasis(tuple(columns.sources), tuple(columns.causes))
    quantities = {name: _dual(values[name], entries[name], basis.size) for name in values}
    return PointInputs(basis, quantities)


def _channel_entries(
    i: int,
    point: PointData,
    names: list[str],
    columns: _Columns,
    entries: dict[str, list[tuple[int, int, float]]],
) -> None:
    loadings = _scatter_loadings(point)
    order = list(point.channels)
    own = {
        j: columns.own(
            ErrorSource(f"scatter of {name} at {point.id}", "normal", _freedom(point, name)), SCATTER
        )
        for j, name in enumerate(order)
        if name in names and point.channels[name].random > 0.0
    }
    for name in names:
        row = loadings[order.index(name)]
        entries[name] += [(column, i, float(row[j])) for j, column in own.items() if row[j] != 0.0]
        for part in point.channels[name].systematic:
            source = ErrorSource(part.source, _distribution(part.distribution), part.degrees_of_freedom)
            entries[name].append((columns.shared(source, part.source), i, part.uncertainty))


def _scatter_loadings(point: PointData) -> FloatArray:
    random = np.array([c.random for c in point.channels.values()])
    if point.random_correlation is None:
        return np.diag(random)
    eigenvalues, vectors = np.linalg.eigh(point.random_correlation)
    # The symmetric root keeps every error closest to the channel it is named after.
    root = vectors @ np.diag(np.sqrt(np.clip(eigenvalues, 0.0, None))) @ vectors.T
    loadings: FloatArray = random[:, np.newaxis] * root
    return loadings


def _freedom(point: PointData, name: str) -> float:
    nu = point.channels[name].random_degrees_of_freedom
    return nu if nu > 0.0 else 1.0


def _distribution(name: str) -> Distribution:
    if name == "rectangular":
        return "rectangular"
    return "triangular" if name == "triangular" else "normal"


def _dual(values: Sequence[float], entries: list[tuple[int, int, float]], size: int) -> Dual:
    d = np.zeros((size, len(values)))
    for column, i, contribution in entries:
        d[column, i] += contribution
    return Dual(np.asarray(values, dtype=float), d)


def with_error(number: Dual, column: int, contribution: FloatArray | float) -> Dual:
    """Add the contribution of one more error to a dual number.

    Parameters
    ----------
    number : Dual
        Quantity over n points [inner unit].
    column : int
        Index of the error in the basis [-].
    contribution : float or array, shape (n,)
        Signed standard uncertainty it gives [inner unit].

    Returns
    -------
    Dual
        Same value, one contribution more [inner unit].
    """
    d = np.array(np.broadcast_to(number.d, (np.shape(number.d)[0], *np.shape(number.v))), dtype=float)
    d[column] += contribution
    return Dual(number.v, d)
